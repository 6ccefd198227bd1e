"""The papers of a few random jobs agree; `make agreement` tries three hundred."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from datetime import date, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import tinyhtml5  # type: ignore[import-untyped]

sys.path.insert(0, str(Path(__file__).parent))

from joined import day_findings
from judge import findings, is_watering
from random_jobs import random_job
from second_hand import (
    NODE,
    Papers,
    all_days,
    days_in,
    hours_in,
    page_visits,
    ranges_in,
    read_papers,
    words,
)

from handover.service.issuing import issue
from handover.service.settings import Settings

pytestmark = pytest.mark.skipif(
    shutil.which("node") is None or not (NODE / "node_modules" / "ical.js").is_dir(),
    reason="ical.js reads no calendar here",
)
TOO_LONG = "sheet has too many pages"  # a length, no contradiction
JUNE = date(2026, 6, 1)


def papers_of(number: int, folder: Path) -> Papers:
    job = random_job(number)
    (folder / "job.toml").write_text(job.record, encoding="utf-8")
    (folder / "weather.csv").write_text(job.weather, encoding="utf-8")
    settings = Settings(rules=job.rules, firm_language=job.firm_language)
    issued = issue(folder / "job.toml", folder / "weather.csv", as_of=job.as_of, settings=settings)
    return read_papers(issued.files, job.zone)


@pytest.mark.usefixtures("few_members")
@pytest.mark.parametrize("number", [2, 18, 20])
def test_papers_agree(number: int, tmp_path: Path) -> None:
    papers = papers_of(number, tmp_path)
    assert [each for each in findings(random_job(number), papers) if each[0] != TOO_LONG] == []
    # ... and each reader has something to compare.
    uses = ("walk on", "caminar", "light work", "trabajo ligero", "park a car", "estacionar")
    title = next(each.title for each in papers.owner if any(use in each.title.lower() for use in uses))
    moved = [replace(each, start=JUNE) if each.title == title else each for each in papers.owner]
    kinds = {kind for kind, _ in findings(random_job(number), replace(papers, owner=moved))} - {TOO_LONG}
    assert kinds == {"calendar and page differ"}
    without = replace(papers, owner=[each for each in papers.owner if each.title == title])
    kinds = {kind for kind, _ in findings(random_job(number), without)} - {TOO_LONG}
    assert kinds == {"visit of the page alone"}


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("9:30 at night, Wednesday, August 12", [date(2026, 8, 12)]),
        ("Thu Feb 11, 2027*", [date(2027, 2, 11)]),
        ("Thursday, February 11", [date(2027, 2, 11)]),
        ("Mar 29 sept a vie 2 oct", [date(2026, 9, 29), date(2026, 10, 2)]),
        ("jueves 13 de agosto de 2026", [date(2026, 8, 13)]),
        ("Call 512-555-0188", []),
    ],
)
def test_days_are_read_as_people_read_them(text: str, days: list[date]) -> None:
    assert days_in(text, JUNE) == days


def test_hours_are_read_as_people_read_them() -> None:
    assert hours_in("12:30 in the morning") == [time(0, 30)]
    assert hours_in("las 12:00 del mediodía") == [time(12)]
    assert ranges_in("6:30 to 8:00 am") == [(time(6, 30), time(8))]
    assert ranges_in("11:30 a.m. a 1:00 p.m.") == [(time(11, 30), time(13))]
    assert all_days([date(2026, 9, 29), date(2026, 10, 2)])[1:3] == [date(2026, 9, 30), date(2026, 10, 1)]


_ROW = (
    '<table class="watering"><tr><th>{days}</th><td><span class="visit">7:30 to 8:00 am</span></td></tr>'
    '<tr class="below"><td class="ticks">{boxes}</td></tr>'
    '<tr><th>Sat Feb 28</th><td><span class="visit">7:30 to 8:00 am</span></td></tr></table>'
)
"""A row of days as the page has it, the boxes below it, and a row of one day."""


@pytest.mark.parametrize(
    ("days", "boxes", "read"),
    [
        ("Wed Feb 11 to Sat Feb 14 Day 2 to Day 5, every day", "", {11, 12, 13, 14}),
        ("Wed Feb 11 to Sat Feb 14 Day 2 to Day 5, on the days below", "Wed Feb 11|Sat Feb 14", {11, 14}),
        ("Mié 11 feb a sáb 14 feb Día 2 a día 5, en los días de abajo", "Mié 11 feb|Sáb 14 feb", {11, 14}),
        # Days without boxes are no days, and a box outside the span, or beside "every day", is a day more.
        ("Wed Feb 11 to Sat Feb 14 Day 2 to Day 5, on the days below", "", set()),
        ("Wed Feb 11 to Thu Feb 12 Day 2 to Day 3, every day", "Wed Feb 11|Sat Feb 14", {11, 12, 14}),
    ],
)
def test_days_of_a_row_are_those_that_a_reader_goes_by(days: str, boxes: str, read: set[int]) -> None:
    ticks = "".join(f'<span class="tick">{each}</span>' for each in boxes.split("|") if each)
    page = tinyhtml5.parse(_ROW.format(days=days, boxes=ticks), namespace_html_elements=False)
    visits = page_visits(page, date(2026, 2, 1), ZoneInfo("UTC"))
    assert {start.day for start, _ in visits} == {*read, 28}


@pytest.mark.usefixtures("few_members")
def test_a_look_on_another_day_than_the_page_has_is_found(tmp_path: Path) -> None:
    """Job 013 has plastic, with looks on days that are not one after another."""
    job, papers = random_job(13), papers_of(13, tmp_path)
    assert "on the days below" in words(papers.page)
    assert "visit" not in " ".join(kind for kind, _ in findings(job, papers))
    look = max(filter(is_watering, papers.owner), key=lambda each: str(each.start))
    later = replace(look, start=look.start + timedelta(days=1), end=look.end + timedelta(days=1))
    moved = [later if each == look else each for each in papers.owner]
    kinds = {kind for kind, _ in findings(job, replace(papers, owner=moved))}
    assert {"visit of the page alone", "visit of the calendar alone"} <= kinds


_CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//test//EN
BEGIN:VEVENT
UID:one@example.net
DTSTAMP:20990101T000000Z
DTSTART:20990228T073000Z
DTEND:20990228T080000Z
SUMMARY:Water the slab
CATEGORIES:Watering
END:VEVENT
END:VCALENDAR
"""
"""One visit in a joined calendar, years ahead of any job."""


@pytest.mark.parametrize(
    ("head", "found"),
    [
        ("Sat Feb 28, 2099", []),
        ("Fri Feb 27, 2099", ["2099-02-27", "2099-02-28"]),
        ("Fri Feb 27, 2099 to Sat Feb 28, 2099", ["2099-02-27"]),
    ],
)
def test_a_day_of_the_joined_page_alone_is_found(head: str, found: list[str]) -> None:
    job = replace(random_job(0), zone=ZoneInfo("UTC"))
    visit = '<td><span class="visit">7:30 to 8:00 am</span></td>'
    page = f'<table class="watering"><tr><th>{head}</th>{visit}</tr></table>'
    joined = {"page.html": page.encode(), "owner.ics": _CALENDAR.replace("\n", "\r\n").encode()}
    assert [day for _, day in day_findings(job, joined)] == found
