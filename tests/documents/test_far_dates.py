"""What an owner reads of a date far off or not known: when to ask again, what may bring it sooner."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.schedule.mild_month import first_mild_month
from handover.schedule.model import Figure, Gate, Milestone, MilestoneKind, Reason
from handover.weather.location import Location

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

ZONE = ZoneInfo("America/Chicago")
OCTOBER = datetime(2026, 10, 6, 9, 30, tzinfo=ZONE)
MINNEAPOLIS = Location(44.98, -93.27, "America/Chicago")
UTQIAGVIK = Location(71.29, -156.79, "America/Anchorage")
INVERCARGILL = Location(-46.41, 168.35, "Pacific/Auckland")


def waits_for(rule: str) -> Milestone:
    """Return a sealer without a date that waits for a condition."""
    figures = (Figure("needed", 8.0, "h"), Figure("counted_above", 10.0, "degC"))
    return Milestone(
        MilestoneKind.SEAL,
        None,
        None,
        Reason(Gate(rule, None, None, "a rule", "common practice", figures), ()),
        "typical",
        0.9,
    )


@pytest.mark.parametrize(
    ("place", "placed", "month"),
    [
        # NOAA normals 1991-2020, from memory: Minneapolis 8 degC in April and 15 in May; Utqiagvik 5 in July.
        (MINNEAPOLIS, OCTOBER, datetime(2027, 5, 1, tzinfo=ZONE)),
        (UTQIAGVIK, OCTOBER, None),
        # New Zealand's MetService, from memory: Invercargill 11 degC and more from November to March.
        (INVERCARGILL, OCTOBER - timedelta(days=153), datetime(2026, 11, 1, tzinfo=ZONE)),
        (Location(None, None), OCTOBER, None),
    ],
)
def test_the_month_to_ask_again_is_one_that_is_warm_enough(
    place: Location, placed: datetime, month: datetime | None
) -> None:
    assert first_mild_month(waits_for("seal.mild-days"), placed, place) == month


@pytest.mark.parametrize(
    ("language", "expected"),
    [
        ("en", "It is likely too cold for a sealer until May 2027. Ask us then."),
        ("es", "demasiado frío para un sellador hasta mayo de 2027. Pregúntenos entonces."),
    ],
)
@pytest.mark.parametrize("rule", ["seal.mild-days", "seal.after-curing"])
def test_a_sealer_without_a_date_says_when_to_ask(
    job: JobRecord, schedule: CureSchedule, language: str, expected: str, rule: str
) -> None:
    site = job.site.model_copy(update={"latitude": 44.98, "longitude": -93.27})
    others = (each for each in schedule.milestones if each.kind != MilestoneKind.SEAL)
    late = replace(schedule, placement_end=OCTOBER, milestones=(*others, waits_for(rule)))
    words = Wording(job.model_copy(update={"site": site}), late, language=language)
    said = words.milestone(late.milestones[-1]).sentence
    assert (expected in said) == (rule == "seal.mild-days")
    assert (said == words.say("milestone.seal.unknown-wet")) == (rule == "seal.after-curing")


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_six_months_of_trucks_name_the_test_that_may_shorten_them(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    trucks = next(each for each in schedule.milestones if each.kind == MilestoneKind.HEAVY_VEHICLES)
    governing = replace(trucks.because.governing, rule="heavy-vehicles.house-drive")
    fixed = replace(trucks, because=Reason(governing, ()))
    others = (each for each in schedule.milestones if each.kind != MilestoneKind.HEAVY_VEHICLES)
    words = Wording(job, replace(schedule, milestones=(*others, fixed)), language=language)
    say = load_translations(language).say
    row = next(each for each in CareSheet(words, {}).main if each.kind == MilestoneKind.HEAVY_VEHICLES)
    assert say("milestone.words.house-drive") in row.sentence
    assert {"en": "ask us for a test", "es": "una prueba"}[language] in row.sentence
