"""What the crew sheet tells the crew to load: all that its own lines ask for."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.crew_visits import crew_visits
from handover.documents.events import crew_events, owner_events
from handover.documents.wording import Wording
from handover.schedule.loading import Material, materials_to_load
from handover.schedule.model import (
    BetweenCover,
    Blanket,
    Caution,
    Figure,
    MilestoneKind,
    Protection,
    Risk,
    SurfaceChoice,
)
from handover.schedule.model import SurfaceTask as Surface

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

Kind = MilestoneKind
COLD = (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -9.0, "degC"))

THINGS = ("plastic", "burlap", "blankets", "respirator", "shroud", "vacuum", "tent", "windbreak", "boards")
"""Words for what a crew brings, as its lines have them."""


def asked_for(sheet: CrewSheet) -> set[str]:
    """Return the things that the lines of a sheet name; of the ways at the surface those of the usual one."""
    surface = [
        row for row in sheet.rows("surface") if not row.what.startswith(sheet.say("surface.or", way=""))
    ]
    rows = [*surface, *sheet.rows("dangers"), *sheet.rows("visits")]
    text = " ".join(each.text for each in rows).lower()
    return {each for each in THINGS if re.search(rf"\b{each}", text)}


def protected(schedule: CureSchedule, **more: Any) -> CureSchedule:
    """Return a schedule of a slab that freezes in its first night, and the blanket that is enough."""
    night = schedule.placement_end.replace(hour=23)
    tried = (Blanket(0.0, -4.0, None, night), Blanket(0.35, 3.0, night + timedelta(days=3), None))
    needed = Protection(tried, 0.35, 0.0, night + timedelta(days=3), 28.0, 10.0, 3.0, **more)
    frost = Risk("frost", night, night + timedelta(hours=6), night, COLD)
    return replace(schedule, protection=needed, risks=(frost,), tasks=())


def blanketed(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule of a slab that blankets cure for three days, and plastic until curing ends."""
    off = schedule.placement_end + timedelta(days=3)
    [strip] = (each for each in schedule.milestones if each.kind == Kind.STRIP_EDGE_FORMS)
    lifted = replace(strip, kind=Kind.PROTECTION_ENDS, likely=off, not_before=off)
    cured = replace(schedule, curing_method="insulating blanket", milestones=(*schedule.milestones, lifted))
    return replace(protected(cured), risks=())


def in_frost(schedule: CureSchedule) -> CureSchedule:
    weather = schedule.weather
    return replace(schedule, weather=replace(weather, air_c=np.full(len(weather.air_c), -3.0)), tasks=())


def sheeted(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule with a sheet over the top until its first water, and burlap between the waterings."""
    last, until = schedule.placement_end, schedule.placement_end + timedelta(hours=9)
    way = SurfaceChoice("sheet-overnight", last, last + timedelta(hours=1), 1.0, 0.0)
    task = Surface("damp", last, None, until, until, True, (way,), (), "a rule", "common practice")
    return replace(schedule, surface=task, between=BetweenCover("wet burlap", 3.0, 0.0), tasks=())


CASES: dict[str, Callable[[CureSchedule], CureSchedule]] = {
    "cover against frost": protected,
    "blankets": blanketed,
    "saw in frost": in_frost,
    "sheet, then burlap": sheeted,
    "bare frost": lambda each: protected(each, bare_freezes_from=each.placement_end + timedelta(hours=1)),
}


@pytest.mark.parametrize("case", CASES)
def test_what_the_lines_of_the_sheet_ask_for_is_loaded(
    job: JobRecord, schedule: CureSchedule, case: str
) -> None:
    issued = replace(schedule, issued_at=schedule.placement_end + timedelta(hours=2))
    unwalked = job.model_copy(update={"walkthrough": ()})  # its notes are in the words of a person
    sheet = CrewSheet(Wording(unwalked, CASES[case](issued)))
    asked = asked_for(sheet)
    assert asked
    assert not {each for each in asked if each not in sheet.load.lower()}


def test_plastic_and_weights_come_with_blankets(job: JobRecord, schedule: CureSchedule) -> None:
    loaded = materials_to_load(protected(schedule), job)
    assert Material("plastic-over-blankets") in loaded
    assert Material("plastic-over-blankets") not in materials_to_load(schedule, job)


def test_plastic_follows_the_blankets_where_curing_goes_on(job: JobRecord, schedule: CureSchedule) -> None:
    """The crew that lifts them lays it, and brings it on that day too."""
    cured = blanketed(schedule)
    wording = Wording(job, cured)
    [lifted] = (row for row in CrewSheet(wording).rows("visits") if row.kind == "blankets-off")
    assert wording.say("event.blankets-off.after") in lifted.detail
    later = replace(cured, issued_at=schedule.placement_end + timedelta(days=2), tasks=())
    assert Material("plastic-after-blankets") in materials_to_load(later, job)
    ends = schedule.placement_end + timedelta(days=3)
    short = tuple(
        replace(each, not_before=ends) if each.kind == Kind.CURING_ENDS else each for each in cured.milestones
    )
    wording = Wording(job, replace(cured, milestones=short))
    [lifted] = (row for row in CrewSheet(wording).rows("visits") if row.kind == "blankets-off")
    assert wording.say("event.blankets-off.after") not in lifted.detail


@pytest.mark.parametrize(("hours", "is_needed"), [(-3, True), (1, True), (30, False)])
def test_a_tent_is_loaded_until_blankets_lie(
    job: JobRecord, schedule: CureSchedule, hours: int, is_needed: bool
) -> None:
    """The hour from which the top may freeze may be past: it still has no cover."""
    bare = schedule.placement_end + timedelta(hours=1)
    issued = replace(schedule, issued_at=bare + timedelta(hours=hours))
    cold = protected(issued, bare_freezes_from=bare)
    loaded = materials_to_load(cold, job)
    assert (Material("vented-heat") in loaded) == is_needed
    assert (Material("windbreak") in loaded) == is_needed
    wording = Wording(job, cold)
    title = wording.say("crew.bare-frost.title")
    rows = [each for each in CrewSheet(wording).rows("dangers") if each.what.startswith(title)]
    assert len(rows) == is_needed
    if hours == 1:
        assert rows[0].when == wording.say("crew.now")


def test_lights_come_with_blankets_that_are_laid_after_dusk(job: JobRecord, schedule: CureSchedule) -> None:
    """The sun of July is down at ten at night, by the almanac; the joints of this slab are not sawn."""
    night = schedule.placement_end.replace(hour=22)
    unsawn = tuple(each for each in schedule.milestones if each.kind != Kind.SAW_JOINTS)
    bare = replace(schedule, milestones=unsawn, finished=night, joints=None, watering=(), tasks=())
    assert Material("lights") not in materials_to_load(bare, job)
    assert Material("lights") in materials_to_load(protected(bare), job)


def test_the_rim_of_a_pond_is_built_and_loaded_until_its_first_water(
    job: JobRecord, schedule: CureSchedule
) -> None:
    first = schedule.watering[0].visits[0].start
    for before, is_due in ((timedelta(hours=1), True), (-timedelta(hours=1), False)):
        pond = replace(schedule, curing_method="ponding", issued_at=first - before, tasks=())
        wording = Wording(job, pond)
        said = [row for row in CrewSheet(wording).rows("visits") if row.kind == "build-rim"]
        assert bool(said) == is_due
        assert (wording.say("sheet.crew-rim") in crew_visits(wording)) == is_due
        [built] = (each for each in crew_events(wording) if each.kind == "build-rim")
        assert built.end <= first
        assert (Material("pond-rim") in materials_to_load(pond, job)) == is_due
    hose = replace(schedule, issued_at=first - timedelta(hours=1), tasks=())
    assert Material("pond-rim") not in materials_to_load(hose, job)


@pytest.mark.parametrize(
    ("air_c", "colour", "exposure", "white"),
    [
        (38.0, None, "outdoors", True),
        (38.0, "black", "outdoors", False),
        (38.0, None, "indoors", False),
        (20.0, None, "outdoors", False),
    ],
)
def test_plastic_without_a_colour_is_white_in_hot_air(
    job: JobRecord, schedule: CureSchedule, air_c: float, colour: str | None, exposure: str, white: bool
) -> None:
    """White takes up a third of the sun, black nearly all: handbooks of solar absorptivity."""
    parts = {
        "curing": job.curing.model_copy(update={"method": "plastic sheet", "colour": colour}),
        "slab": job.slab.model_copy(update={"exposure": exposure}),
    }
    record = job.model_copy(update=parts)
    weather = replace(schedule.weather, air_c=np.full_like(schedule.weather.air_c, air_c))
    warm = replace(sheeted(schedule), weather=weather, curing_method="plastic sheet")
    loaded = materials_to_load(warm, record)
    assert Material("white-plastic" if white else "plastic") in loaded
    assert Material("plastic" if white else "white-plastic") not in loaded
    for language, word in (("en", "must be white"), ("es", "debe ser blanco")):
        assert (word in CareSheet(Wording(record, warm, language=language), {}).how) == white


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_pond_that_may_freeze_runs_off(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    """Water that stands there cannot be left out."""
    cold = Caution("cold-weather", (Figure("forecast_air", 1.0, "degC"),))
    for method, answer in (("ponding", "drain"), ("sprinkler", "cover")):
        wet = replace(schedule, curing_method=method, cautions=(cold,), tasks=())
        wording = Wording(job, wet, language=language)
        waterings = [each for each in owner_events(wording) if each.kind == "watering"]
        assert waterings
        assert all(wording.say(f"if-frost.{answer}") in each.description for each in waterings)
