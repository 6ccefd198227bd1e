"""The crew sheet: one page for every job, the most urgent first, with the values of the crew's calendar."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest

from handover.documents import crew_sheet
from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import DAY_KINDS, CrewSheet
from handover.documents.events import crew_events
from handover.documents.pages import crew_sheet_html, sheet_pdf
from handover.documents.wording import Wording
from handover.schedule.loading import OF_RISK, Material, materials_to_load
from handover.schedule.model import Alert, Figure, Risk
from handover.service.summary import plan_summary

if TYPE_CHECKING:
    from handover.documents.pages import Paper
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LONG = "The Bartholomew Featherstonehaugh-Cholmondeley memorial WORKSHOP and boathouse by the lower mill pond"


def risk(code: str, schedule: CureSchedule, hours: float = 0.0) -> Risk:
    start = schedule.placement_start + timedelta(hours=hours)
    figures = {
        "frost": (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -9.0, "degC")),
        "rain-on-fresh": (Figure("rain", 4.0, "mm"),),
    }
    drying = (Figure("peak", 1.4, "kg/m2/h"), Figure("limit", 1.0, "kg/m2/h"))
    return Risk(
        code,
        start,
        start + timedelta(hours=2),
        start + timedelta(hours=1),
        figures.get(code, drying),
    )


def before_the_pour(schedule: CureSchedule, *risks: Risk, **parts: Any) -> CureSchedule:
    return replace(schedule, issued_at=schedule.placement_start - timedelta(hours=2), risks=risks, **parts)


@pytest.mark.parametrize(("code", "thing"), OF_RISK.items())
def test_a_measure_that_is_worthwhile_is_loaded_until_its_hours_are_over(
    schedule: CureSchedule, code: str, thing: str
) -> None:
    dangerous = before_the_pour(schedule, risk(code, schedule))
    assert Material(thing) in materials_to_load(dangerous)  # type: ignore[arg-type]
    over = replace(dangerous, issued_at=schedule.placement_start + timedelta(hours=3))
    assert Material(thing) not in materials_to_load(over)  # type: ignore[arg-type]


def test_each_visit_of_the_calendar_is_on_the_sheet_and_in_the_plan(
    job: JobRecord, schedule: CureSchedule
) -> None:
    wording = Wording(job, before_the_pour(schedule))
    visits = [each for each in crew_events(wording) if each.kind not in DAY_KINDS]
    rows = CrewSheet(wording).rows("visits")
    assert len(rows) == len(visits) > 0
    for event, row in zip(visits, rows, strict=True):
        assert event.title.startswith(row.what.removesuffix("."))
    plan = plan_summary(wording)
    listed = " ".join(what for _, what in (*plan.dates, *plan.visits))
    assert all(listed.count(each.what.removesuffix(".")) == 1 for each in rows)  # each once


def test_what_the_owner_reads_is_as_the_care_sheet_prints_it(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    printed = {each.title: each.when.lower() for each in CareSheet(wording, {}).main}
    told = {each.what.removesuffix("."): each.when.lower() for each in CrewSheet(wording).rows("owner")[1:]}
    assert told
    assert told.items() <= printed.items()


def crowded(schedule: CureSchedule) -> CureSchedule:
    """Dangers at every hour, a week of frosts, and warnings."""
    start = schedule.placement_start
    alerts = tuple(Alert("wind", LONG, start, start + timedelta(hours=9), LONG) for _ in range(5))
    dangers = [risk(code, schedule, 3.0 * hour) for hour in range(6) for code in OF_RISK]
    nights = [risk("frost", schedule, 20.0 + 24.0 * night) for night in range(7)]
    weather = replace(schedule.weather, alerts=alerts)
    return before_the_pour(schedule, *dangers, *nights, weather=weather)


def crowd(job: JobRecord) -> JobRecord:
    site = job.site.model_copy(update={"name": LONG, "address": f"{LONG}, {LONG}"})
    item = job.walkthrough[0].model_copy(update={"item": LONG, "ok": False, "note": LONG})
    return job.model_copy(update={"site": site, "walkthrough": (item,) * 20})


@pytest.mark.parametrize(
    ("language", "paper", "units"), [("en", "letter", "us"), ("es", "letter", "us"), ("es", "a4", "si")]
)
def test_it_is_one_page_whatever_the_job_brings(
    job: JobRecord, schedule: CureSchedule, language: str, paper: Paper, units: Any
) -> None:
    wording = Wording(crowd(job), crowded(schedule), language=language, units=units)
    assert CrewSheet(wording).left_out
    with pikepdf.open(io.BytesIO(sheet_pdf(crew_sheet_html(wording, paper=paper)))) as pdf:
        assert len(pdf.pages) == 1


def test_both_papers_have_the_same_text(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(crowd(job), crowded(schedule))
    letter, a4 = (crew_sheet_html(wording, paper=paper) for paper in ("letter", "a4"))
    assert letter.partition("<body>")[2] == a4.partition("<body>")[2]


def test_what_does_not_fit_is_left_out_by_rank(
    job: JobRecord, schedule: CureSchedule, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With less and less room, no line stays while a more urgent one goes."""
    wording = Wording(job, crowded(schedule))
    counts = []
    for room in (60.0, 40.0, 25.0, 12.0):
        monkeypatch.setattr(crew_sheet, "PAGE_LINES", room)
        sheet = CrewSheet(wording)
        kept = {(each.code, row.when, row.what) for each in sheet.sections for row in each.rows}
        ranks = {(each.code, row.when, row.what): row.rank for each in sheet.whole for row in each.rows}
        most = max((ranks[each] for each in kept), default=0)
        assert all(each in kept for each, rank in ranks.items() if rank < most)
        counts.append(len(kept))
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] < counts[0]
