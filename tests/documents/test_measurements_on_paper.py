"""Measurements are in the data sheet and in schedule.json, and only if there are any."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html import unescape
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator, ValidationError

from handover.documents.care_sheet import CareSheet
from handover.documents.data_sheet import DataSheet
from handover.documents.pages import care_sheet_html, data_sheet_html
from handover.documents.schedule_json import schedule_json, schedule_schema
from handover.documents.templating import languages
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.schedule.model import Caution, Figure, Measurement, MilestoneKind, StrengthFit, StrengthTest

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

KINDS = (
    "temperature-log",
    "standard-cylinder",
    "field-cylinder",
    "ticket",
    "finishing",
    "scratch",
    "infrared",
)
VERDICTS = ("used", "too-scattered", "too-far")
HEADING = "Measured, and what came of it"


def fit(verdict: str = "used") -> StrengthFit:
    tests = (StrengthTest(72.0, 13.1, 12.9), StrengthTest(672.0, 27.6, 27.2))
    return StrengthFit(
        verdict, 31.0, 0.0108, 5.8, 23.0, 0.032, 0.1, 1.12, 2.0, tests, "a source named here", "from memory"
    )


def measured(at: datetime | None = None) -> tuple[Measurement, ...]:
    strength = (Figure("strength", 13.1, "MPa"),)
    return (
        Measurement("standard-cylinder", "1", at, strength, strength, "curve-fitted", ()),
        Measurement("ticket", "<b>88121</b>", at, (Figure("water_added", 30.0, "L"),), (), "load-weaker",
                    (Figure("strength_lost", 0.061, "1"),)),
    )  # fmt: skip


def outcomes() -> set[str]:
    """Return the codes of outcomes in the source of the room that makes them."""
    room = Path(str(files("handover.schedule")))
    text = "".join(
        (room / f"{name}.py").read_text("utf-8")
        for name in ("delivery_tickets", "cylinders", "temperature_log", "surface_observations")
    )
    return set(re.findall(r'"((?:log|curve|field|load|set|surface)-[a-z-]+|too-young)"', text)) - {
        "log-differs",
        "field-cylinder",
    }


@pytest.mark.parametrize("language", languages())
def test_every_outcome_has_words_and_no_other(language: str) -> None:
    words = load_translations(language).lookup("data.measured")
    assert set(words["outcomes"]) == outcomes()
    assert set(words["kind"]) == set(KINDS)
    assert set(words["verdict"]) == set(VERDICTS)


def test_the_data_sheet_shows_each_with_its_numbers_in_the_readers_units(
    job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    """1900 psi is 13.1 MPa, 7.93 gal are 30 L, by definition of pound, inch and gallon."""
    schedule = schedule_with(measurements=measured(), strength_fit=fit())
    cylinder, ticket = DataSheet(Wording(job, schedule)).measurements
    assert cylinder[0] == "Cylinder 1, standard"
    assert "1,900\N{NO-BREAK SPACE}psi" in cylinder[1]
    assert "7.93 gal" in ticket[1].replace("\N{NO-BREAK SPACE}", " ")
    assert "6.1 %" in ticket[3].replace("\N{NO-BREAK SPACE}", " ").replace("6.1%", "6.1 %")
    html = data_sheet_html(Wording(job, schedule))
    assert HEADING in html
    assert "&lt;b&gt;88121&lt;/b&gt;" in html
    assert "The curve is used" in html


@pytest.mark.parametrize("verdict", VERDICTS)
def test_the_fit_has_its_verdict_and_the_deviation_of_each_test(
    verdict: str, job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    words = DataSheet(Wording(job, schedule_with(strength_fit=fit(verdict)))).fit
    assert words is not None
    assert words.verdict == load_translations("en").say(f"data.measured.verdict.{verdict}")
    assert [row[3].rstrip(" %\N{NO-BREAK SPACE}") for row in words.tests] == ["1.6", "1.5"]


def test_nothing_is_said_where_nothing_was_measured(job: JobRecord, schedule: CureSchedule) -> None:
    assert DataSheet(Wording(job, schedule)).fit is None
    assert HEADING not in data_sheet_html(Wording(job, schedule))


def test_the_owner_is_spared_what_only_the_office_can_use(
    job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    slump = Caution("slump-high", (Figure("slump", 0.2, "m"), Figure("limit", 0.15, "m")))
    caustic = Caution("caustic")
    plain = schedule_with(cautions=(caustic,))
    cautions = schedule_with(cautions=(caustic, slump), measurements=measured(), strength_fit=fit())
    assert care_sheet_html(Wording(job, cautions)) == care_sheet_html(Wording(job, plain))
    assert "slump" in " ".join(notice.text for notice in Wording(job, cautions).cautions)


@pytest.fixture
def document(schedule_with: Callable[..., CureSchedule], schedule: CureSchedule) -> dict[str, Any]:
    full = schedule_with(measurements=measured(schedule.placement_end), strength_fit=fit())
    printed: dict[str, Any] = json.loads(schedule_json(full))
    return printed


def test_it_satisfies_the_schema(document: dict[str, Any]) -> None:
    Draft202012Validator(schedule_schema()).validate(document)
    assert document["strength_fit"]["tests"][0] == {"age_h": 72.0, "measured_mpa": 13.1, "fitted_mpa": 12.9}


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("measurements", 0, "kind"), "guess"),
        (("measurements", 0, "unheard_of"), 1),
        (("measurements", 1, "at"), "2026-07-14T06:40:00"),
        (("strength_fit", "verdict"), "fine"),
        (("strength_fit", "scatter"), "3 %"),
        (("strength_fit", "tests", 0, "unheard_of"), 1),
    ],
)
def test_the_schema_refuses_what_is_no_measurement(
    document: dict[str, Any], place: tuple[str | int, ...], wrong: object
) -> None:
    node: Any = document
    for step in place[:-1]:
        node = node[step]
    node[place[-1]] = wrong
    with pytest.raises(ValidationError):
        Draft202012Validator(schedule_schema()).validate(document)


@pytest.mark.parametrize("language", languages())
def test_weak_cylinders_are_the_printed_reason_for_a_missing_date(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """On the first page beside the date, and among the remarks about the slab; never the cold."""
    dates = tuple(
        replace(each, not_before=None) if each.kind == MilestoneKind.HEAVY_VEHICLES else each
        for each in schedule.milestones
    )
    weak = Caution("not-reached-weak", (Figure("strength_share", 0.48, "1"),))
    bent = replace(schedule, milestones=dates, cautions=(*schedule.cautions, weak))
    words = Wording(job, bent, language=language)
    care = CareSheet(words, {})
    (truck,) = (each for each in care.main if each.kind == MilestoneKind.HEAVY_VEHICLES)
    assert truck.sentence == words.say("milestone.words.unknown-weak")
    (printed,) = (each for each in care.remarks if each.title == words.say("caution.not-reached-weak.title"))
    assert words.percent(0.48) in printed.sentence
    assert printed.sentence in unescape(care_sheet_html(words))
