"""A slab under a cover: its papers speak of looks, of its room, of blankets, and of no car in a house."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.events import crew_events
from handover.documents.message import compose_message
from handover.documents.pages import care_sheet_html
from handover.documents.templating import languages
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.practice.rules import practice
from handover.schedule.milestones import refusals
from handover.schedule.model import (
    REPEATED_FROST,
    Blanket,
    Caution,
    Figure,
    MilestoneKind,
    Protection,
    Room,
)
from handover.schedule.tasks import BLANKETS_OFF, plan_tasks

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule


@pytest.mark.parametrize("language", languages())
def test_stripes_of_a_sheet_are_hours_to_look(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    """Nothing is watered under plastic; and where no frost is near, no look says "look only"."""
    covered = replace(schedule, curing_method="plastic sheet")
    record = job.model_copy(update={"curing": job.curing.model_copy(update={"method": "plastic sheet"})})
    say = load_translations(language).say
    page = care_sheet_html(Wording(record, covered, language=language))
    assert say("chart.weather.read-looks") in page
    assert say("chart.weather.read") not in page
    assert {"en": "look only", "es": "solo mire"}[language] not in page


@pytest.mark.parametrize("language", languages())
def test_the_message_says_how_warm_the_room_is_kept(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    warm = replace(
        schedule, cautions=(*schedule.cautions, Caution("room-heat", (Figure("room_air", 10.0, "degC"),)))
    )
    words = Wording(job, warm, language=language)
    (line,) = CareSheet(words, {}).room
    message = message_from_bytes(compose_message(words, {}), policy=policy.default)
    plain = message.get_body(("plain",))
    assert plain is not None
    assert line.replace("\N{NO-BREAK SPACE}", " ") in plain.get_content()


@pytest.mark.parametrize("exposure", ["indoors", "roofed", "outdoors"])
@pytest.mark.parametrize(("use", "has_cars"), [("house slab", False), ("garage floor", True)])
def test_no_car_is_parked_on_the_floor_of_a_house(
    job: JobRecord, use: str, has_cars: bool, exposure: str
) -> None:
    """Common practice: a garage has a use of its own; a house without walls yet has no cars either."""
    where = {"use": use, "exposure": exposure}
    record = job.model_copy(update={"slab": job.slab.model_copy(update=where), "assumed": ()})
    kinds = [each.kind for each in refusals(record, practice())]
    assert (MilestoneKind.LIGHT_VEHICLES not in kinds) == has_cars


@pytest.mark.parametrize("language", languages())
def test_under_blankets_frost_alone_is_no_reason_to_call(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """It freezes each night; what harms the slab is a blanket that lies off."""
    bare = Blanket(0.0, -3.0, None, schedule.placement_end, None)
    frost = Protection((bare,), 0.35, 0.35, None, largest_drop_k=28.0, drop_k=None, edges=3.0)
    words = replace(schedule, curing_method="insulating blanket", protection=frost)
    record = job.model_copy(update={"curing": job.curing.model_copy(update={"method": "insulating blanket"})})
    say = load_translations(language).say
    page = care_sheet_html(Wording(record, words, language=language))
    assert say("sheet.call-frost-covered") in page
    assert f"<li>{say('sheet.call-frost')}" not in page


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    ("state", "key"),
    [("unknown", "saw-room.unknown"), ("heated", "saw-room.warmest"), ("stated", None), (None, None)],
)
def test_the_saw_names_the_room_for_which_its_hours_hold(
    job: JobRecord, schedule: CureSchedule, language: str, state: Any, key: str | None
) -> None:
    """Seen: a trial cut at five in a room that may be heated, and a set at one at night where it is not."""
    room = None if state is None else Room(state, schedule.weather.air_c)
    wording = Wording(job, replace(schedule, room=room), language=language)
    [event] = [each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS]
    for each in ("saw-room.unknown", "saw-room.warmest"):
        assert (wording.say(each) in event.description) == (each == key)
    owner = [wording.say("saw-room.owner") in line for line in CareSheet(wording, {}).crew]
    assert any(owner) == (key is not None)


@pytest.mark.parametrize(("later", "is_past"), [(timedelta(hours=1), False), (timedelta(days=2), True)])
def test_a_frost_that_blankets_keep_off_is_not_dated_in_the_past(
    job: JobRecord, schedule: CureSchedule, later: timedelta, is_past: bool
) -> None:
    """Seen: "5:30 pm: frost if the blankets are off", of an evening two days before the issue."""
    night = schedule.placement_end + timedelta(hours=10)
    bare = Blanket(0.0, -3.0, None, night)
    frost = Protection(
        (bare,), 0.35, 0.35, night + timedelta(days=5), largest_drop_k=28.0, drop_k=None, edges=3.0
    )
    issued = schedule.placement_end + later
    words = Wording(job, replace(schedule, protection=frost, risks=(), issued_at=issued, tasks=()))
    title = words.say(words.variant("crew.frost-covered.title"))
    [row] = [each for each in CrewSheet(words).rows("dangers") if each.what == f"{title}."]
    assert (row.when == words.say("crew.now")) == is_past


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("by_crew", [True, False])
def test_the_owner_does_not_take_off_the_blankets_that_the_crew_lifts(
    job: JobRecord, schedule: CureSchedule, language: str, by_crew: bool
) -> None:
    """Seen: "Take off the covers" for the owner and "Blankets off" for the crew, both at two o'clock."""
    ends = next(each for each in schedule.milestones if each.kind == MilestoneKind.CURING_ENDS)
    governing = replace(ends.because.governing, rule=REPEATED_FROST)
    early = replace(ends, because=replace(ends.because, governing=governing))
    others = (each for each in schedule.milestones if each.kind != MilestoneKind.CURING_ENDS)
    dry = replace(schedule, milestones=(*others, early), curing_method="sprinkler", tasks=())
    [task, *_] = plan_tasks(dry, job)
    assert ends.not_before is not None
    lift = replace(task, kind=BLANKETS_OFF, by="crew" if by_crew else "owner", start=ends.not_before)
    wording = Wording(job, replace(dry, tasks=(lift,)), language=language)
    title = wording.dates.title(MilestoneKind.CURING_ENDS)
    assert title == wording.say(f"milestone.curing-ends--{'crew-' if by_crew else ''}dry.title")
    [row] = [each for each in CareSheet(wording, {}).main if each.title == title]
    assert ({"en": "The crew lifts", "es": "La cuadrilla levanta"}[language] in row.sentence) == by_crew


@pytest.mark.parametrize("language", languages())
def test_nobody_leaves_blankets_on_before_they_lie(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "Leave the blankets on" at 3:00, where the crew lays them from 4:30 on."""
    hour = timedelta(hours=1)
    record = job.model_copy(update={"curing": job.curing.model_copy(update={"method": "insulating blanket"})})
    dates = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.FIRST_WATER)
    blanketed = replace(schedule, curing_method="insulating blanket", watering=(), milestones=dates)
    for laid, is_ahead in ((schedule.issued_at + hour, True), (schedule.issued_at - hour, False)):
        wording = Wording(record, replace(blanketed, blankets_on=laid), language=language)
        part = CareSheet(wording, {}).job_now
        stays = wording.say("your-part.insulating-blanket")
        assert part.title == (wording.say("your-part.blankets-come") if is_ahead else stays)
        assert (wording.speak.moment(laid).text in part.when) is is_ahead
        assert wording.say("your-part.insulating-blanket-text") in part.sentence
