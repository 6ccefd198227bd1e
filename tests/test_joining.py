"""The joined papers of several slabs: what each slab's own papers say, each date and each reminder once."""

from __future__ import annotations

import io
import json
import re
import shutil
import tomllib
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes
from email.policy import default
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, NamedTuple

import pikepdf
import pytest
import tomli_w
from icalendar import Calendar
from page import ValidationProfile, validate_pdf_bytes

from handover.archive.store import Archive
from handover.cli import main
from handover.documents.care_sheet import CareSheet
from handover.documents.events import owner_events
from handover.documents.joined_sheet import JoinedSheet
from handover.documents.pages import joined_files, joined_sheet_html, render_joined_page
from handover.documents.pdf import render_pdf
from handover.documents.wording import Wording
from handover.practice.rules import general_rules
from handover.schedule.model import Change, MilestoneKind, Visit, WaterHours
from handover.schedule.shared_visits import plan_together
from handover.service.archiving import issued_folders
from handover.service.joining import (
    EarlierPapers,
    IssuedSlab,
    issue_of,
    join_slabs,
    old_issues,
    project_slabs,
    read_issued_slab,
)
from handover.service.privacy import _NameRemover, _record_without_owner
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from handover.documents.joined_slabs import ProjectSlabs
    from handover.documents.joined_watering import JoinedVisit
    from handover.schedule.model import CureSchedule

SAMPLE = Path(__file__).parents[1] / "sample_jobs" / "summer-garage"

SAME_DAY = datetime.fromisoformat("2026-07-14T13:20:00-04:00")
"""Garage floor and driveway are just placed; nothing is watered yet."""

FOUR_DAYS_LATER = datetime.fromisoformat("2026-07-18T13:20:00-04:00")
"""The apron is just placed; the two others are being watered."""

EIGHT_DAYS_LATER = datetime.fromisoformat("2026-07-23T10:00:00-04:00")
"""Garage floor and driveway are cured; the apron is being watered."""

SETS = {
    **dict.fromkeys(("garage", "driveway", "path", "patio"), SAME_DAY),
    "apron": FOUR_DAYS_LATER,
}
"""The invented slabs of one project, and when each was issued."""


def garage() -> dict[str, Any]:
    record = tomllib.loads((SAMPLE / "job.toml").read_text("utf-8"))
    record["site"]["project"] = "118 Alder Lane"
    return record


def driveway(day: str = "2026-07-14") -> dict[str, Any]:
    """Return a driveway, placed after the garage floor."""
    record = garage()
    hours = {"start": "07:50", "end": "08:55", "finished": "12:10"}
    return record | {
        "id": "driveway",
        "site": record["site"] | {"name": "Alder Lane driveway"},
        "slab": {
            "use": "driveway",
            "length": "42 ft",
            "width": "16 ft",
            "thickness": "5 in",
            "on": "gravel",
            "joints": "early-entry",
            "finish": "broomed",
        },
        "placement": {key: datetime.fromisoformat(f"{day}T{hour}") for key, hour in hours.items()},
        "mix": {"specified_strength": "4000 psi", "air": 0.06, "water_cementitious": 0.45},
        "ticket": [],
        "walkthrough": [],
    }


def apron() -> dict[str, Any]:
    """Return an apron in front of the garage, four days later: it has the use of the driveway."""
    record = driveway("2026-07-18")
    slab = record["slab"] | {"length": "16 ft", "width": "5 ft"}
    return record | {"id": "apron", "site": record["site"] | {"name": "Alder Lane apron"}, "slab": slab}


def path() -> dict[str, Any]:
    """Return a walk under curing compound: nobody waters it."""
    record = driveway()
    return record | {
        "id": "path",
        "site": record["site"] | {"name": "Alder Lane path"},
        "slab": record["slab"] | {"use": "walk", "width": "4 ft"},
        "curing": {"method": "curing compound"},
    }


def patio() -> dict[str, Any]:
    """Return a patio that a timer waters."""
    record = driveway()
    return record | {
        "id": "patio",
        "site": record["site"] | {"name": "Alder Lane patio"},
        "slab": record["slab"] | {"use": "patio"},
        "curing": {"method": "soaker hose", "timer": True},
    }


MAKERS: dict[str, Callable[[], dict[str, Any]]] = {
    "garage": garage,
    "driveway": driveway,
    "path": path,
    "patio": patio,
    "apron": apron,
}


@pytest.fixture(scope="session")
def sets(once: Callable[..., Path], without_pdf_engine: Callable[..., Any]) -> Path:
    """Issue the slabs of the project; return the folder in which each has a folder. Nobody writes there."""

    def issue(folder: Path) -> None:
        with without_pdf_engine():
            for name, at in SETS.items():
                record = folder / f"{name}.toml"
                record.write_text(tomli_w.dumps(MAKERS[name]()), "utf-8")
                options = ["-w", SAMPLE / "weather.csv", "-o", folder / name, "--as-of", at.isoformat()]
                assert main([str(each) for each in ["issue", record, *options]]) == 0, name

    return once("join", issue)


@pytest.fixture
def read(sets: Path) -> Callable[[str], IssuedSlab]:
    return lambda name: read_issued_slab(sets / name)


class Papers(NamedTuple):
    """The joined papers of some slabs at a time, and the slabs as their own papers have them."""

    project: ProjectSlabs
    sheet: JoinedSheet
    own: dict[str, CareSheet]


@pytest.fixture
def papers(read: Callable[[str], IssuedSlab]) -> Callable[..., Papers]:
    def join(names: str, at: datetime, language: str = "en") -> Papers:
        slabs = [read(each) for each in names.split()]
        settings = Settings(languages=(language,), units="us")
        project = project_slabs(slabs, issue_of(slabs, at), settings, language)
        own = {
            each.job.id: CareSheet(Wording(each.job, each.schedule, language=language), {}) for each in slabs
        }
        return Papers(project, JoinedSheet(project), own)

    return join


THREE = "garage driveway apron"
TIMES = (FOUR_DAYS_LATER, EIGHT_DAYS_LATER)


def events(calendar: bytes) -> list[Any]:
    return list(Calendar.from_ical(calendar).events)


# ---- one story


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("at", TIMES)
@pytest.mark.parametrize("table", ["main", "stays_off"])
def test_every_date_is_that_of_the_own_sheet_of_its_slab(
    papers: Callable[..., Papers], at: datetime, language: str, table: str
) -> None:
    joined = papers(THREE, at, language)
    for number, (job, care) in enumerate(joined.own.items()):
        own = {row.title: (row.day or row.when, row.hour, row.typical) for row in getattr(care, table)}
        rows = ((row.title, row.cells[number]) for row in getattr(joined.sheet, table))
        together = {title: (cell.day, cell.hour, cell.typical) for title, cell in rows if cell is not None}
        assert together == own, job


def test_a_date_of_several_slabs_is_printed_once_with_their_names(papers: Callable[..., Papers]) -> None:
    joined = papers(THREE, FOUR_DAYS_LATER)
    ends = next(row for row in joined.sheet.main if row.title == "Stop watering")
    assert ends.cells[0] is not None
    assert ends.cells[1] is not None
    assert ends.cells[0].day == ends.cells[1].day
    assert [each.slab for each in ends.groups] == [
        "Garage and driveway",
        "Apron",
    ]


def visits_of(schedule: CureSchedule, at: datetime) -> dict[date, tuple[Visit, ...]]:
    """Return the visits that are ahead, by day."""
    days = {day.date: tuple(each for each in day.visits if each.start > at) for day in schedule.watering}
    return {day: ahead for day, ahead in days.items() if ahead}


@pytest.mark.parametrize("at", [SAME_DAY, *TIMES])
def test_a_visit_planned_together_keeps_the_limits_of_its_slab(
    papers: Callable[..., Papers], read: Callable[[str], IssuedSlab], at: datetime
) -> None:
    joined = papers(THREE, at) if at != SAME_DAY else papers("garage driveway", at)
    longest = general_rules().duration("project.together")
    for slab in joined.project.slabs:
        own = next(each.schedule for each in map(read, THREE.split()) if each.job.id == slab.job)
        hours = {day.date: day.water_hours for day in own.watering}
        together, alone = (visits_of(each, at) for each in (slab.words.schedule, own))
        assert {day: len(each) for day, each in together.items()} == {
            day: len(each) for day, each in alone.items()
        }
        first = next(visit for day in own.watering for visit in day.visits)
        for day, moved in together.items():
            for new, old in zip(moved, alone[day], strict=True):
                assert any(each.start <= new.start and new.end <= each.end for each in hours[day])
                assert abs(new.start - old.start) <= longest or len(moved) == 1
                assert new.duration >= old.duration
                assert new.litres >= old.litres - 1e-6
                assert old != first or new == old


@pytest.mark.parametrize("at", TIMES)
def test_every_watering_to_come_is_in_the_table_once_with_the_hours_of_its_slab(
    papers: Callable[..., Papers], at: datetime
) -> None:
    joined = papers(THREE, at)
    for slab in joined.project.slabs:
        own = [each for day in slab.words.visits.days for each in day.visits if each.end > at]
        together = [each for each in visits(joined) if slab.job in each.jobs.split()]
        assert len(together) == len(own) > 0 or (at == EIGHT_DAYS_LATER and slab.job != "apron")
        for mine, ours in zip(own, together, strict=True):
            assert ours.start <= mine.start < mine.end <= ours.end
            alone = (mine.start, mine.end) == (ours.start, ours.end)
            assert alone or f"{slab.heading}: {mine.short_span}" in ours.slabs


def test_a_slab_is_watered_as_often_a_day_with_the_others_as_by_itself(papers: Callable[..., Papers]) -> None:
    """The driveway lies under burlap: by itself it has two visits a day."""
    joined = papers(THREE, FOUR_DAYS_LATER)
    driveway = next(each for each in joined.project.slabs if each.job == "driveway")
    ahead = visits_of(driveway.words.schedule, FOUR_DAYS_LATER)
    assert len(ahead) > 2
    hours = [each for each in visits(joined) if "driveway" in each.jobs.split()]
    assert Counter(each.start.date() for each in hours) == {day: len(each) for day, each in ahead.items()}
    assert all("garage" in each.jobs for each in hours)
    starts = [day[0].start for day in ahead.values()]
    assert all(later - before <= timedelta(days=1) for before, later in pairwise(starts))


def test_slabs_that_are_wet_on_a_day_are_watered_at_one_half_hour(
    read: Callable[[str], IssuedSlab],
) -> None:
    """Three slabs whose own hours differ by less than two hours; one of them must get no water at noon."""
    own = read("garage")
    day = next(each for each in own.schedule.watering[2:] if each.visits)
    midnight = datetime.combine(day.date, time(), own.job.zone)

    def slab(*starts: float, length: float = 0.5, hours: tuple[float, float] = (6.0, 21.0)) -> CureSchedule:
        begins = [midnight + timedelta(hours=each) for each in starts]
        visits = tuple(Visit(each, each + timedelta(hours=length), 100.0) for each in begins)
        opens, closes = (midnight + timedelta(hours=each) for each in hours)
        whole = replace(day, visits=visits, water_hours=(WaterHours(opens, closes),))
        before = replace(own.schedule.watering[0], visits=own.schedule.watering[0].visits)
        return replace(own.schedule, watering=(before, whole), risks=(), protection=None)

    schedules = [
        slab(7.0, 12.0, 18.0),
        slab(8.5, 17.5, length=1.0),
        slab(13.0, 19.0, hours=(12.5, 21.0)),
    ]
    planned = plan_together([own.job] * 3, schedules, midnight)
    hours = [
        [
            ((each.start - midnight) / timedelta(hours=1), each.duration, each.litres)
            for each in one.watering[1].visits
        ]
        for one in planned
    ]
    one_hour, half = timedelta(hours=1), timedelta(hours=0.5)
    assert hours == [
        [(7.0, one_hour, 200.0), (13.0, half, 100.0), (18.0, one_hour, 200.0)],
        [(7.0, one_hour, 100.0), (18.0, one_hour, 100.0)],
        [(13.0, half, 100.0), (18.0, one_hour, 200.0)],
    ]


def visits(joined: Papers) -> list[JoinedVisit]:
    """Return the visits of the table, in order; those of a row of several days once for each."""
    return [
        replace(each, start=each.start + timedelta(days=later), end=each.end + timedelta(days=later))
        for row in joined.sheet.watering.days
        for later in range((row.until - row.on).days + 1)
        for each in row.visits
    ]


def test_visits_that_meet_are_one_row_that_names_both(papers: Callable[..., Papers]) -> None:
    joined = papers("garage driveway", SAME_DAY)
    both = [each for each in visits(joined) if " " in each.jobs]
    assert both
    assert {each.slabs for each in both} == {("Garage floor and driveway",)}
    spans = [(each.start, each.end) for each in visits(joined)]
    assert all(end < start for (_, end), (start, _) in pairwise(spans))


@pytest.mark.parametrize(("step", "key"), [(1, "joined.each-day"), (2, "joined.some-days")])
def test_a_row_of_days_says_whether_it_has_each_of_them(
    papers: Callable[..., Papers], step: int, key: str
) -> None:
    """Seen on the sheet of one slab: days from the first to the last, of which every other is left alone."""
    joined = papers("garage driveway", SAME_DAY)
    table = joined.sheet.watering
    day = next(each for each in table.days if each.visits)
    days = [replace(day, on=day.on + timedelta(days=step * each), dates=(), which="") for each in range(3)]
    [row] = table._rows(iter(days))
    assert row.which == joined.project.words.say(key)
    assert list(row.dates) == [each.on for each in days]
    page = render_joined_page(joined.project, b"x").decode()
    for each in table.days:
        listed = f'data-days="{" ".join(one.isoformat() for one in each.dates)}"'
        assert (listed in page) == bool(each.dates)


def test_page_and_sheet_have_each_date_and_each_slab(papers: Callable[..., Papers]) -> None:
    joined = papers(THREE, FOUR_DAYS_LATER)
    for html in (joined_sheet_html(joined.project), render_joined_page(joined.project, b"x").decode()):
        text = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", html))
        for row in joined.sheet.main:
            assert row.title in text
            assert all(cell.day in text and cell.hour in text for cell in row.cells if cell)
            assert not row.same or f"All slabs {row.cells[0].day}" in text  # type: ignore[union-attr]
        for each in joined.sheet.rows:
            assert each.name in text
            assert each.placed in text


def test_who_comes_when_and_what_hurts_are_before_the_dates(papers: Callable[..., Papers]) -> None:
    """Page 1 answers who comes today; the note on a star is where the stars are, on no other page."""
    joined = papers("garage driveway path", SAME_DAY)
    facts = {each for care in joined.own.values() for each in care.front_facts}
    for html in (joined_sheet_html(joined.project), render_joined_page(joined.project, b"x").decode()):
        text = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", html))
        dates = text.index(joined.sheet.say("sheet.glance"))
        assert text.index(joined.sheet.say("sheet.crew")) < dates
        assert joined.sheet.front_facts
        assert all(text.index(each) < dates for each in joined.sheet.front_facts)
        assert "<tfoot" not in html
    assert all(any(each in line for line in joined.sheet.front_facts) for each in facts)


def test_a_caution_of_all_slabs_is_there_once_and_another_names_its_slabs(
    papers: Callable[..., Papers],
) -> None:
    joined = papers("garage driveway path", SAME_DAY)
    titles = [each.title for each in joined.sheet.cautions]
    assert len({*titles}) == len(titles)
    assert "Wet concrete burns skin and eyes" in titles
    own = {row.sentence for care in joined.own.values() for row in care.cautions}
    assert {each.sentence for each in joined.sheet.cautions} == own


# ---- the first job


@pytest.mark.parametrize(
    ("names", "at", "name"),
    [
        ("garage driveway", SAME_DAY, "Garage floor"),
        ("garage driveway path", SAME_DAY, "Garage floor"),
        (THREE, FOUR_DAYS_LATER, "Apron"),
        (THREE, EIGHT_DAYS_LATER, "Apron"),
    ],
)
def test_the_first_job_is_the_earliest_ahead(
    papers: Callable[..., Papers], names: str, at: datetime, name: str
) -> None:
    joined = papers(names, at)
    tasks = [
        (each.start, slab.heading)
        for slab in joined.project.slabs
        for each in owner_events(joined.own[slab.job].wording)
        if each.look in ("water", "protect") and isinstance(each.start, datetime) and each.start > at
    ]
    assert min(tasks)[1] == name
    assert joined.sheet.first.title.startswith(f"{name}: ")
    assert [each.title for each in joined.sheet.rows].count("The job above") == 1


def test_a_slab_that_is_cured_says_so_and_its_dates_are_past(papers: Callable[..., Papers]) -> None:
    joined = papers(THREE, EIGHT_DAYS_LATER)
    assert [each.title for each in joined.sheet.rows[:2]] == ["Curing is done"] * 2
    walk = next(row for row in joined.sheet.main if row.title == "Walk on it")
    assert all(cell is not None and cell.reached for cell in walk.cells)
    ends = next(row for row in joined.sheet.main if row.title == "Stop watering")
    assert [cell and cell.reached for cell in ends.cells] == [True, True, False]


def test_slabs_without_a_task_share_the_box_when_they_say_the_same(papers: Callable[..., Papers]) -> None:
    joined = papers(THREE, EIGHT_DAYS_LATER + timedelta(days=14))
    assert joined.sheet.first.title.endswith(": Curing is done")
    assert [slab.job for slab in joined.sheet.first.slabs] == [*joined.own]
    assert len(joined.sheet.first.sentences) == len(joined.sheet.first.whens) == 1


def test_a_slab_under_compound_is_left_alone_while_another_is_watered(
    papers: Callable[..., Papers],
) -> None:
    joined = papers("garage path", SAME_DAY)
    assert joined.sheet.rows[1].title == "Leave the coat alone"
    assert [slab.job for slab in joined.sheet.watering.slabs] == ["2026-07-14-alder-garage"]
    assert joined.sheet.without_days


def test_what_is_not_for_all_slabs_names_its_own(papers: Callable[..., Papers]) -> None:
    """One slab is watered by a timer, one is under compound: no line says what both would obey."""
    joined = papers("patio path", SAME_DAY)
    days = joined.sheet.watering.days
    lines = (
        *joined.sheet.intro[:1],
        *joined.sheet.last_words,
        *joined.sheet.without_days,
        *(note for day in days for note in day.notes),
    )
    assert [each for each in lines if not each.startswith(("Patio: ", "Walk: "))] == []
    runs = [each.runs for each in joined.own["patio"].wording.visits.days if each.runs]
    assert runs
    assert all(any(run in note for day in days for note in day.notes) for run in runs)
    assert all(note in joined_sheet_html(joined.project) for day in days for note in day.notes)


def test_where_nothing_is_watered_there_is_no_table(papers: Callable[..., Papers]) -> None:
    joined = papers("path", SAME_DAY)
    assert '<table class="watering' not in joined_sheet_html(joined.project)
    assert joined.sheet.first.title == "Walk: Leave the coat alone"


# ---- the calendars


@pytest.fixture
def joined_set(read: Callable[[str], IssuedSlab], without_pdf_engine: Any) -> Callable[..., Any]:
    def join(names: str, at: datetime, earlier: dict[str, bytes] | None = None) -> Any:
        slabs = [read(each) for each in names.split()]
        with without_pdf_engine():
            before = EarlierPapers(json.loads(earlier["slabs.json"]), earlier) if earlier else None
            return join_slabs(slabs, issue_of(slabs, at, before), Settings(), before).files

    return join


def end_of(event: Any) -> datetime:
    """Return the end of an event; of a whole day, midnight in UTC, which is near enough."""
    end = event.decoded("dtend")
    return end if isinstance(end, datetime) else datetime.combine(end, time(), UTC)


def is_on(event: Any, when: datetime) -> bool:
    """Return whether an event begins within half a day of an instant."""
    start = event.decoded("dtstart")
    return isinstance(start, datetime) and abs(start - when) < timedelta(hours=12)


def times(event: Any) -> tuple[Any, Any]:
    return event.decoded("dtstart"), event.decoded("dtend")


@pytest.mark.parametrize("at", TIMES)
@pytest.mark.parametrize("calendar", ["owner.ics", "crew.ics"])
def test_every_reminder_of_a_slab_that_is_ahead_is_in_the_calendar_once(
    joined_set: Callable[..., Any], sets: Path, at: datetime, calendar: str
) -> None:
    together = events(joined_set(THREE, at)[calendar])
    count = 0
    for name in ("garage", "driveway", "apron"):
        for own in events((sets / name / calendar).read_bytes()):
            start, end = times(own)
            if end <= (at if isinstance(end, datetime) else at.date()):
                continue
            words = str(own["summary"]).removesuffix(f", Alder Lane {name}")
            if words.startswith("Water the slab"):  # at the hours that are planned together
                same_day = [each for each in together if names(each, name) and is_on(each, start)]
                assert any("Water" in str(each["summary"]) for each in same_day), (name, words, start)
                count += 1
                continue
            found = [each for each in together if holds(each, name, words, (start, end))]
            assert len(found) == 1, (name, words, start)
            count += 1
    asked = [each for each in together if "Look whether the joints were cut" in str(each["summary"])]
    assert count + len(asked) >= len(together) > 0  # that is asked once their hours are over


def test_time_and_water_of_a_visit_to_several_slabs_are_said_to_be_for_each(
    joined_set: Callable[..., Any],
) -> None:
    """One hose does one slab after the other: half the water would reach each if they were for all."""
    said = {
        (
            sum(names(event, each) for each in THREE.split()) > 1 and "gallons" in str(event["description"]),
            "for each slab" in str(event["description"]),
        )
        for event in events(joined_set(THREE, FOUR_DAYS_LATER)["owner.ics"])
    }
    assert said == {(True, True), (False, False)}


def names(event: Any, name: str) -> bool:
    """Return whether the title of an event has the name of a slab."""
    return name in str(event["summary"]).casefold()


def holds(event: Any, name: str, words: str, span: tuple[Any, Any]) -> bool:
    """Return whether an event is that of a slab: at its time, with its words in the title or in the text."""
    start, end = times(event)
    if isinstance(start, datetime) != isinstance(span[0], datetime) or not names(event, name):
        return False
    said = words in f"{event['summary']}\n{event['description']}"
    return bool(said and start <= span[0] and span[1] <= end)


@pytest.mark.parametrize("calendar", ["owner.ics", "crew.ics"])
def test_no_two_events_at_one_time_have_the_same_words(joined_set: Callable[..., Any], calendar: str) -> None:
    for names, at in (("garage driveway path", SAME_DAY), (THREE, FOUR_DAYS_LATER)):
        together = events(joined_set(names, at)[calendar])
        said = [(times(each), str(each["summary"]).partition(": ")[2]) for each in together]
        assert len({*said}) == len(said)
        uids = [str(each["uid"]) for each in together]
        assert len({*uids}) == len(uids)


def test_an_event_keeps_its_uid_and_has_none_of_a_single_slab(
    joined_set: Callable[..., Any], sets: Path
) -> None:
    first = joined_set("garage driveway", SAME_DAY)
    later = joined_set(THREE, FOUR_DAYS_LATER, first)
    one, two = ({str(each["uid"]): each for each in events(each["owner.ics"])} for each in (first, later))
    ahead = {uid for uid, each in one.items() if end_of(each) > FOUR_DAYS_LATER}
    assert len(ahead) > 10
    assert {(two[uid]["status"], int(two[uid]["sequence"])) for uid in ahead} == {("CONFIRMED", 2)}
    single = {str(each["uid"]) for name in SETS for each in events((sets / name / "owner.ics").read_bytes())}
    assert not single & (one.keys() | two.keys())


def test_a_reminder_that_goes_is_cancelled_in_the_next_issue(joined_set: Callable[..., Any]) -> None:
    first = joined_set(THREE, FOUR_DAYS_LATER)
    without = joined_set("garage driveway", FOUR_DAYS_LATER, first)
    cancelled = [each for each in events(without["owner.ics"]) if each.get("status") == "CANCELLED"]
    assert cancelled
    assert all(names(each, "apron") for each in cancelled)


# ---- whether they belong together


@pytest.fixture
def refused(sets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """Give the findings when garage floor and a changed set of the driveway are joined."""

    def join(at: datetime = SAME_DAY, **changes: dict[str, Any]) -> str:
        other = tmp_path / "other"
        (other / "inputs").mkdir(parents=True)
        (other / "schedule.json").write_bytes((sets / "driveway" / "schedule.json").read_bytes())
        record = driveway()
        for table, values in changes.items():
            record[table] = {k: v for k, v in (record[table] | values).items() if v is not None}
        (other / "inputs" / "driveway.toml").write_text(tomli_w.dumps(record), "utf-8")
        options = ["-o", tmp_path / "joined", "--as-of", at.isoformat()]
        status = main([str(each) for each in ["join", sets / "garage", other, *options]])
        assert status == 2
        assert not (tmp_path / "joined").exists()
        return capsys.readouterr().err

    return join


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"owner": {"name": "Lee Park"}}, "owner.name"),
        ({"owner": {"email": "lee@example.com"}}, "owner.email"),
        ({"owner": {"language": "es"}}, "owner.language"),
        ({"contractor": {"name": "Blue Heron Concrete"}}, "contractor.name"),
        ({"site": {"project": "4 Mill Road"}}, "site.project"),
        ({"site": {"project": None}}, "site.project"),
        ({"site": {"latitude": 36.12}}, "site"),
        ({"site": {"timezone": "America/Chicago", "latitude": None, "longitude": None}}, "site.timezone"),
        ({"site": {"name": "Alder Lane garage"}, "slab": {"use": "garage floor"}}, "site.name"),
    ],
)
def test_slabs_that_do_not_belong_together_are_refused(
    refused: Callable[..., str], changes: dict[str, Any], field: str
) -> None:
    said = refused(**changes)
    assert re.search(rf"other\b.*\s{field}\s", said), said


def test_all_findings_come_at_once(refused: Callable[..., str]) -> None:
    said = refused(owner={"name": "Lee Park", "language": "es"}, site={"project": "4 Mill Road"})
    assert all(field in said for field in ("owner.name", "owner.language", "site.project"))


def test_a_time_before_the_issue_of_a_slab_is_refused(refused: Callable[..., str]) -> None:
    assert "--as-of" in refused(at=SAME_DAY.replace(hour=12))


@pytest.mark.parametrize(
    ("names", "at", "old"),
    [
        ("garage driveway", SAME_DAY, []),
        (THREE, FOUR_DAYS_LATER, ["garage", "driveway"]),
        (THREE, EIGHT_DAYS_LATER, ["apron"]),
    ],
)
def test_a_slab_that_cures_by_an_old_forecast_is_a_caution(
    read: Callable[[str], IssuedSlab], names: str, at: datetime, old: list[str]
) -> None:
    found = old_issues([read(each) for each in names.split()], at)
    assert [Path(str(each.file)).name for each in found if each.severity == "caution"] == old


def test_one_slab_or_one_slab_twice_is_refused(
    sets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for names, said in ((["garage"], "only one slab"), (["garage", "garage"], "a second time")):
        folders = [str(sets / each) for each in names]
        options = ["-o", str(tmp_path / "joined"), "--as-of", SAME_DAY.isoformat()]
        assert main(["join", *folders, *options]) == 2
        assert said in capsys.readouterr().err


def test_a_folder_that_was_not_issued_is_refused(
    sets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["join", str(sets / "garage"), str(tmp_path), "-o", str(tmp_path / "joined")]) == 2
    assert "schedule.json" in capsys.readouterr().err


# ---- the set


@pytest.fixture
def join_command(
    sets: Path, tmp_path: Path, without_pdf_engine: Any, capsys: pytest.CaptureFixture[str]
) -> Callable[..., dict[str, bytes]]:
    def join(names: str, at: datetime, *options: str) -> dict[str, bytes]:
        folders = [str(sets / each) for each in names.split()]
        with without_pdf_engine():
            arguments = [
                "join",
                *folders,
                "-o",
                str(tmp_path / "joined"),
                "--as-of",
                at.isoformat(),
                *options,
            ]
            assert main(arguments) == 0, capsys.readouterr().err
        return {each.name: each.read_bytes() for each in (tmp_path / "joined").iterdir()}

    return join


def test_the_set_names_its_issue_and_a_later_one_replaces_it(
    join_command: Callable[..., dict[str, bytes]], tmp_path: Path
) -> None:
    first = join_command("garage driveway", SAME_DAY)
    assert {*first} == {
        "care-sheet.pdf",
        "care-page.html",
        "owner.ics",
        "crew.ics",
        "message.eml",
        "slabs.json",
    }
    assert join_command("driveway garage", SAME_DAY) == first
    (tmp_path / "joined" / "photo.jpg").write_bytes(b"photo")
    second = join_command(THREE, FOUR_DAYS_LATER)
    issue = json.loads(second["slabs.json"])
    assert issue["revision"] == 2
    assert [each["job"] for each in issue["slabs"]] == ["2026-07-14-alder-garage", "driveway", "apron"]
    assert second["photo.jpg"] == b"photo"


def test_what_moved_since_the_last_papers_is_on_the_sheet(
    read: Callable[[str], IssuedSlab],
) -> None:
    """A later issue of the driveway, as `reissue` makes it: its schedule has the change."""
    slabs = [read("garage"), read("driveway")]
    before = EarlierPapers(issue_of(slabs, SAME_DAY), {})
    moved = Change(
        MilestoneKind.LIGHT_VEHICLES,
        (datetime.fromisoformat("2026-07-22T08:00:00-04:00"),),
        (datetime.fromisoformat("2026-07-23T08:00:00-04:00"),),
        ("cooler",),
        "day",
    )
    again = replace(slabs[1], schedule=replace(slabs[1].schedule, revision=2, changes=(moved,)))
    later, at = [slabs[0], again], SAME_DAY + timedelta(days=1)
    issue = issue_of(later, at, before)
    sheet = JoinedSheet(project_slabs(later, issue, Settings(), "en", before))
    assert issue["revision"] == 2
    (line,) = sheet.changes
    assert line.startswith("Driveway: ")
    assert "Wednesday, July 22" in line
    assert "Thursday, July 23" in line
    assert line in joined_sheet_html(sheet.project)
    assert JoinedSheet(project_slabs(later, issue, Settings(), "en", None)).changes == ()


def test_the_message_says_what_is_next_and_has_the_joined_papers(
    join_command: Callable[..., dict[str, bytes]], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    files = join_command(THREE, FOUR_DAYS_LATER)
    message = message_from_bytes(files["message.eml"], policy=default)
    text = message.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert (
        "Apron: Start watering. Not before 6:00 in the evening, Saturday, July 18." in text
    )  # after the rain
    assert "Stop watering: Garage and driveway, Wednesday, July 22; Apron" in text
    assert "already" not in text
    # In the order of the letter of one slab: the owner's part, the dates in order of time, the papers.
    order = ("First job: Apron", "The dates that matter most", "Walk on it", "Stop watering")
    at = [
        text.index(each) for each in (*order, "for all slabs", "With this letter come", "Wet concrete burns")
    ]
    assert at == sorted(at)
    assert [part.get_filename() for part in message.iter_attachments()] == [  # type: ignore[attr-defined]
        "care-sheet.pdf",
        "care-page.html",
        "owner.ics",
    ]
    capsys.readouterr()
    server = tmp_path / "settings.toml"
    server.write_text('mail = { host = "smtp.example.com", user = "office@example.com" }', "utf-8")
    assert main(["--settings", str(server), "send", "--dry-run", str(tmp_path / "joined")]) == 0
    assert "dana.whitlock@example.net" in capsys.readouterr().out


def test_two_languages_have_two_sheets(join_command: Callable[..., dict[str, bytes]]) -> None:
    files = join_command("garage driveway", SAME_DAY, "--language", "en,es")
    assert {"care-sheet.en.pdf", "care-sheet.es.pdf", "owner.en.ics", "owner.es.ics"} <= files.keys()
    assert b"Sus losas nuevas" in files["care-page.es.html"]


def test_joined_papers_do_not_replace_those_of_one_slab_or_of_another_project(
    join_command: Callable[..., dict[str, bytes]], sets: Path, tmp_path: Path
) -> None:
    join_command("garage driveway", SAME_DAY)
    options = ["-w", str(SAMPLE / "weather.csv"), "-o", str(tmp_path / "joined")]
    assert main(["issue", str(sets / "garage.toml"), *options, "--as-of", SAME_DAY.isoformat()]) == 2
    manifest = tmp_path / "joined" / "slabs.json"
    other = json.loads(manifest.read_bytes()) | {"project": "4 Mill Road"}
    folders = [str(sets / each) for each in ("garage", "driveway")]
    options = ["-o", str(tmp_path / "joined"), "--as-of", FOUR_DAYS_LATER.isoformat()]
    for damaged in (other, {"project": "118 Alder Lane"}):
        manifest.write_text(json.dumps(damaged), "utf-8")
        assert main(["join", *folders, *options]) == 2
        assert json.loads(manifest.read_bytes()) == damaged


def test_the_archive_keeps_the_joined_papers_with_each_of_their_slabs(
    join_command: Callable[..., dict[str, bytes]], sets: Path, tmp_path: Path
) -> None:
    files = join_command("garage driveway", SAME_DAY)
    for each in ("garage", "driveway"):
        shutil.copytree(sets / each, tmp_path / "out" / each)
    shutil.move(tmp_path / "joined", tmp_path / "out" / "all")
    assert [each.name for each in issued_folders(tmp_path / "out")] == ["driveway", "garage", "all"]
    command = ["archive", str(tmp_path / "out"), "--to", str(tmp_path / "archive")]
    assert main(command) == 0
    archive = Archive(tmp_path / "archive")
    for job in ("2026-07-14-alder-garage", "driveway"):
        bag = archive.bag(job)
        assert {name: bag.read(f"data/joined/0001/{name}") for name in files} == files
    before = archive.bag("driveway").payload
    assert main(command) == 0  # once more adds nothing
    assert archive.bag("driveway").payload == before
    assert main(["verify", str(tmp_path / "archive")]) == 0
    # An owner who asks to be forgotten is so in these papers as well.
    assert main(["forget", "driveway", "--in", str(tmp_path / "archive"), "--yes"]) == 0
    assert not [path for path in archive.bag("driveway").payload if "joined" in path]


def test_joined_papers_without_their_slabs_are_not_archived(
    join_command: Callable[..., dict[str, bytes]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    join_command("garage driveway", SAME_DAY)
    assert main(["archive", str(tmp_path / "joined"), "--to", str(tmp_path / "archive")]) == 1
    said = capsys.readouterr().err
    assert "is of revision 1 of driveway, which is not in the archive" in said
    assert "2026-07-14-alder-garage" in said


def test_the_time_of_issue_may_be_on_the_clock_of_the_site(
    sets: Path, tmp_path: Path, without_pdf_engine: Any
) -> None:
    folders = [str(sets / each) for each in ("garage", "driveway")]
    with without_pdf_engine():
        options = ["-o", str(tmp_path / "joined"), "--as-of", "2026-07-14 13:20"]
        assert main(["join", *folders, *options]) == 0
    assert json.loads((tmp_path / "joined" / "slabs.json").read_bytes())["issued_at"] == SAME_DAY.isoformat()


def test_the_name_of_the_project_goes_when_the_owner_is_forgotten() -> None:
    record = garage()
    data = tomli_w.dumps(record).encode()

    entry = SimpleNamespace(owner="Dana Whitlock", street="118 Alder Lane", more={})
    names = _NameRemover(entry, [record])  # type: ignore[arg-type]
    less = tomllib.loads(_record_without_owner(data, record, names).decode())
    assert "project" not in less["site"]


# ---- on paper


@pytest.fixture(scope="session")
def printed(once: Callable[..., Path], sets: Path) -> Callable[[str, str], bytes]:
    """Give the joined sheet of three slabs in a language and on a paper, rendered once."""

    def sheet(language: str, paper: Any) -> bytes:
        def fill(folder: Path) -> None:
            slabs = [read_issued_slab(sets / each) for each in THREE.split()]
            issue = issue_of(slabs, FOUR_DAYS_LATER)
            project = project_slabs(slabs, issue, Settings(), language)
            html = joined_sheet_html(project, paper=paper)
            files = joined_files(project, slabs=json.dumps(issue).encode(), calendar=b"BEGIN:VCALENDAR")
            (folder / "pdf").write_bytes(render_pdf(html, files))

        return (once(f"joined-{language}-{paper}", fill) / "pdf").read_bytes()

    return sheet


PRINTED = [("en", "letter"), ("es", "a4")]


@pytest.mark.parametrize(("language", "paper"), PRINTED)
def test_the_sheet_is_pdf_a_3a_and_pdf_ua_1(
    printed: Callable[[str, str], bytes], language: str, paper: str
) -> None:
    for profile in (ValidationProfile.PDF_A_3A, ValidationProfile.PDF_UA_1):
        report = validate_pdf_bytes(printed(language, paper), profile=profile)
        assert {each.rule_id for each in report.failures} == set()


@pytest.mark.parametrize(("language", "paper"), PRINTED)
def test_the_sheet_is_at_most_two_pages_longer_than_that_of_one_slab(
    printed: Callable[[str, str], bytes], language: str, paper: str
) -> None:
    """Four pages are the sheet of the sample, which is one of the slabs: tests/documents/test_layout.py."""
    with pikepdf.open(io.BytesIO(printed(language, paper))) as pdf:
        assert len(pdf.pages) <= 6
        assert {*pdf.attachments} == {"owner.ics", "slabs.json"}


# ---- a slab that nobody was asked to water


MORNING_AFTER = datetime.fromisoformat("2026-07-15T14:00:00-04:00")
"""The first watering of garage floor and driveway is over."""


@pytest.fixture(scope="session")
def late(
    sets: Path,
    once: Callable[..., Path],
    without_pdf_engine: Callable[..., Any],
    with_few_members: Callable[..., Any],
) -> Path:
    """Return the folder of the driveway, first issued after its first watering. Nobody writes there."""

    def issue(folder: Path) -> None:
        options = ["-w", SAMPLE / "weather.csv", "-o", folder / "late", "--as-of", MORNING_AFTER.isoformat()]
        with without_pdf_engine(), with_few_members():
            assert main([str(each) for each in ["issue", sets / "driveway.toml", *options]]) == 0

    return once("join-late", issue) / "late"


@pytest.fixture
def unasked(late: Path, read: Callable[[str], IssuedSlab]) -> list[IssuedSlab]:
    """Return the garage floor, issued at once, and the driveway, first issued after its first watering."""
    return [read("garage"), read_issued_slab(late)]


@pytest.mark.usefixtures("stand_in_pdf")
@pytest.mark.parametrize(
    ("language", "question"), [("en", "Driveway: Was it watered?"), ("es", "Entrada de autos: ¿Ya se regó?")]
)
def test_a_slab_that_nobody_was_told_to_water_is_asked_for_by_its_name(
    unasked: list[IssuedSlab], language: str, question: str
) -> None:
    issue = issue_of(unasked, MORNING_AFTER)
    whole = join_slabs(unasked, issue, Settings(languages=(language,), units="us"))
    project = project_slabs(unasked, issue, Settings(), language)
    message = message_from_bytes(whole.files["message.eml"], policy=default)
    text = message.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    asked = project.slabs[1].words.visits.missed_water
    assert asked is not None
    assert f"{question} {asked.when}. {asked.sentence}" in " ".join(text.split())
    assert question in joined_sheet_html(project)
    assert question in whole.files["care-page.html"].decode()
    assert JoinedSheet(project).first.slabs == (project.slabs[1],)


@pytest.mark.usefixtures("stand_in_pdf")
def test_papers_that_asked_once_do_not_ask_again_but_a_new_slab_is_asked_for(
    unasked: list[IssuedSlab],
) -> None:
    later = MORNING_AFTER + timedelta(hours=1)
    for before, asked in ((unasked, False), (unasked[:1], True)):
        earlier = EarlierPapers(issue_of(before, MORNING_AFTER), {})
        project = project_slabs(unasked, issue_of(unasked, later, earlier), Settings(), "en", earlier)
        first = JoinedSheet(project).first
        assert any(each.words.visits.missed_water is not None for each in first.slabs) is asked
        assert ("Was it watered?" in first.text) is asked


def test_the_message_says_which_calendars_to_delete(join_command: Callable[..., dict[str, bytes]]) -> None:
    files = join_command("garage driveway", SAME_DAY)
    message = message_from_bytes(files["message.eml"], policy=default)
    text = " ".join(message.get_body(("plain",)).get_content().split())  # type: ignore[union-attr]
    assert "Delete calendars of single slabs" in text
    assert "Delete calendars of single slabs" in files["care-page.html"].decode()


@pytest.mark.parametrize(
    ("sites", "names"),
    [
        (("Alder Lane garage", "Alder Lane driveway"), ["garage", "driveway"]),
        (("Slab 1", "Slab 2"), ["Slab 1", "Slab 2"]),
        (("Garage", "Garage north"), ["Garage", "Garage north"]),
        (("Mill Road", "Alder Lane"), ["Mill Road", "Alder Lane"]),
    ],
)
def test_names_leave_out_the_words_that_all_begin_with(
    read: Callable[[str], IssuedSlab], sites: tuple[str, ...], names: list[str]
) -> None:
    slab = read("driveway")
    slabs = []
    for number, each in enumerate(sites):
        site = slab.job.site.model_copy(update={"name": each})
        slabs.append(replace(slab, job=slab.job.model_copy(update={"id": f"slab-{number}", "site": site})))
    project = project_slabs(slabs, issue_of(slabs, SAME_DAY), Settings(), "en")
    assert [each.name for each in project.slabs] == names
