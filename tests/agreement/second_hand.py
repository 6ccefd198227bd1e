"""What a reader finds on the papers of a set: days, hours and visits, read by other programs than ours.

PDFs by pdftotext, pages by an HTML parser, calendars by ical.js. The words for days and hours are those that
people write, in English and Spanish; they are not taken from the product's catalogs.
"""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tinyhtml5  # type: ignore[import-untyped]

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from xml.etree.ElementTree import Element
    from zoneinfo import ZoneInfo

NODE = Path(__file__).parents[1] / "node"
_ENGLISH = "jan feb mar apr may jun jul aug sep oct nov dec"
_SPANISH = "ene feb mar abr may jun jul ago sep oct nov dic"
MONTHS = {name: number for names in (_ENGLISH, _SPANISH) for number, name in enumerate(names.split(), 1)}
_MONTH = (
    r"\b(?P<month>jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:tember|t)?"
    r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?|ene(?:ro)?|febrero|marzo|abr(?:il)?|mayo|junio|julio"
    r"|ago(?:sto)?|septiembre|octubre|noviembre|dic(?:iembre)?)\b"
)
_YEAR = r"(?:,? (?:de )?(?P<year>20\d\d))?"
_ENGLISH_DAY = re.compile(rf"{_MONTH}\.? (?P<day>\d{{1,2}})\b{_YEAR}", re.IGNORECASE)
_SPANISH_DAY = re.compile(rf"\b(?P<day>\d{{1,2}}) (?:de )?{_MONTH}{_YEAR}", re.IGNORECASE)
_HOUR = re.compile(
    r"(?P<hour>\d{1,2}):(?P<minute>\d\d)"
    r"(?:\s(?P<half>am|pm|a\.m\.|p\.m\.|in the morning|in the afternoon|in the evening|at night|noon|midnight"
    r"|de la mañana|de la tarde|de la noche|de la madrugada|del mediodía|de la medianoche))?"
)
_AFTER_NOON = {"pm", "p.m.", "in the afternoon", "in the evening", "noon", "de la tarde", "del mediodía"}
_NIGHT = {"at night", "de la noche"}
RANGE = re.compile(rf"{_HOUR.pattern} (?:to|a) (?:las? )?{_HOUR.pattern.replace('?P<', '?P<end_')}")

_DAYS_BELOW = ("days below", "días de abajo")
"""What a row of days says that are not one after another."""

Moment = tuple[date, time | None]
Visit = tuple[datetime, datetime]


def days_in(text: str, near: date) -> list[date]:
    """Return the days that a text names; a year that is left out is that in which the day is next.

    Spanish is tried first: its "mar 3 feb" is a Tuesday, no day of March.
    """
    found = []
    for match in [*_SPANISH_DAY.finditer(text)] or [*_ENGLISH_DAY.finditer(text)]:
        named = date(int(match["year"] or near.year), MONTHS[match["month"][:3].lower()], int(match["day"]))
        if not match["year"] and named < near - timedelta(days=60):
            named = named.replace(year=near.year + 1)
        found.append(named)
    return found


def clock(hour: str, minute: str, half: str | None) -> time:
    """Return the hour that is meant; without a half of the day, as it is written."""
    number, word = int(hour), (half or "").lower()
    if word in _AFTER_NOON | _NIGHT and number < 12:
        number += 12
    elif number == 12 and word and word not in _AFTER_NOON:
        number = 0
    return time(number % 24, int(minute))


def hours_in(text: str) -> list[time]:
    """Return the hours that a text names."""
    return [clock(each["hour"], each["minute"], each["half"]) for each in _HOUR.finditer(text)]


def ranges_in(text: str) -> list[tuple[time, time]]:
    """Return the spans of hours that a text names; the first half of the day is that of the second."""
    found = []
    for each in RANGE.finditer(text):
        half, end_half = each["half"] or each["end_half"], each["end_half"]
        found.append(
            (clock(each["hour"], each["minute"], half), clock(each["end_hour"], each["end_minute"], end_half))
        )
    return found


def visit_on(day: date, span: tuple[time, time], zone: ZoneInfo) -> Visit:
    """Return a span of hours on a day as instants; an end that is not after the start is on the next day."""
    start, end = (datetime.combine(day, each, zone) for each in span)
    return start, end if end > start else end + timedelta(days=1)


# ---- each paper


@dataclass(frozen=True)
class Event:
    """An event of a calendar: title, start and end, aware, or a day without an hour; its text."""

    title: str
    start: datetime | date
    end: datetime | date
    categories: tuple[str, ...]
    text: str = ""


@dataclass(frozen=True)
class Papers:
    """The texts of a set, as other programs read them.

    Attributes:
        sheet: Care sheet, line by line as it is laid out.
        pages: How many pages the care sheet has.
        fills: To which share of its height each of them has text, without its foot.
        data: Data sheet, likewise.
        crew_sheet: Crew sheet, likewise.
        crew_plain: Crew sheet, cell by cell, in one line.
        letter: Text of the message.
        page: Tree of the care page.
        owner: Events of the owner's calendar.
        crew: Events of the crew's calendar.
        schedule: schedule.json.
        outside: Words of the PDFs that are not whole on their page.
    """

    sheet: str
    pages: int
    fills: list[float]
    data: str
    crew_sheet: str
    crew_plain: str
    letter: str
    page: Element
    owner: list[Event]
    crew: list[Event]
    schedule: dict[str, Any]
    outside: list[str]


def read_papers(documents: Mapping[str, bytes], zone: ZoneInfo) -> Papers:
    """Read the documents of a set, of one language."""
    [sheet] = [data for name, data in documents.items() if name.startswith("care-sheet")]
    [data] = [data for name, data in documents.items() if name.startswith("data-sheet")]
    [crew_sheet] = [data for name, data in documents.items() if name.startswith("crew-sheet")]
    [page] = [data for name, data in documents.items() if name.startswith("care-page")]
    message = message_from_bytes(
        next(data for name, data in documents.items() if name.startswith("message")), policy=policy.default
    )
    body = message.get_body(("plain",))
    text = pdf_text(sheet)
    return Papers(
        sheet=text,
        pages=text.count("\f"),
        fills=page_fills(sheet),
        data=pdf_text(data),
        crew_sheet=pdf_text(crew_sheet),
        crew_plain=" ".join(pdf_text(crew_sheet, "-nopgbrk").split()),
        letter=str(body.get_content()) if body is not None else "",
        page=tinyhtml5.parse(page, namespace_html_elements=False),
        owner=calendar_events(next(documents[name] for name in documents if name.startswith("owner")), zone),
        crew=calendar_events(next(documents[name] for name in documents if name == "crew.ics"), zone),
        schedule=json.loads(documents["schedule.json"]),
        outside=[*words_outside(sheet), *words_outside(data), *words_outside(crew_sheet)],
    )


def pdf_text(pdf: bytes, order: str = "-layout") -> str:
    """Return the text of a PDF as it is laid out; each page ends with a form feed."""
    ran = subprocess.run(["pdftotext", order, "-", "-"], input=pdf, capture_output=True, check=True)
    return ran.stdout.decode()


_PAGE = re.compile(r'<page width="([\d.]+)" height="([\d.]+)">')
_WORD = re.compile(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>')
MARGIN_PT = 10.0


def words_outside(pdf: bytes) -> list[str]:
    """Return the words of a PDF that come nearer to the edge of the paper than printers print."""
    ran = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    found, width, height = [], 0.0, 0.0
    for line in ran.stdout.decode().splitlines():
        if page := _PAGE.search(line):
            width, height = float(page[1]), float(page[2])
        elif word := _WORD.search(line):
            left, top, right, bottom = (float(word[number]) for number in range(1, 5))
            if min(left, top, width - right, height - bottom) < MARGIN_PT:
                found.append(word[5])
    return found


FOOT_PT = 37.0
"""Height of the foot of a page, with its name and number."""


def page_fills(pdf: bytes) -> list[float]:
    """Return for each page of a PDF down to which share of its height there is text above the foot."""
    ran = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    lowest: list[float] = []
    height = 0.0
    for line in ran.stdout.decode().splitlines():
        if page := _PAGE.search(line):
            height = float(page[2]) - FOOT_PT
            lowest.append(0.0)
        elif (word := _WORD.search(line)) and float(word[4]) <= height:
            lowest[-1] = max(lowest[-1], float(word[4]) / height)
    return lowest


def calendar_events(ics: bytes, zone: ZoneInfo) -> list[Event]:
    """Return the events of a calendar as ical.js reads it."""
    node = shutil.which("node")
    assert node is not None, "ical.js reads calendars with node"
    ran = subprocess.run([node, NODE / "read_calendar.mjs"], input=ics, capture_output=True, check=True)
    found = []
    for each in json.loads(ran.stdout)["events"]:
        for start, end in each["occurrences"]:
            if each["whole_day"]:
                ends: tuple[Any, Any] = (date.fromisoformat(start), date.fromisoformat(end))
            else:
                ends = tuple(datetime.fromisoformat(one).astimezone(zone) for one in (start, end))  # type: ignore[assignment]
            found.append(Event(each["summary"], *ends, tuple(each["categories"]), each["description"] or ""))
    return found


# ---- parts of the page and the sheet


def words(element: Element | None) -> str:
    """Return the text of an element, in one line."""
    return " ".join(" ".join(element.itertext()).split()) if element is not None else ""


def by_class(page: Element, name: str) -> Iterator[Element]:
    """Yield the elements of a class."""
    return (each for each in page.iter() if name in (each.get("class") or "").split())


def page_dates(page: Element, near: date) -> dict[str, Moment]:
    """Return what may happen when, by its title, as the page's table has it."""
    found = {}
    for table in by_class(page, "dates"):
        for row in table.iter("tr"):
            title = words(next(by_class(row, "what"), None))
            cell = row.find("td")
            if not title or cell is None:
                continue
            hours = hours_in(words(next(by_class(cell, "hour"), None)))
            text = words(cell)
            days = days_in(text, near)
            if days:
                found[title] = (days[0], hours[0] if hours else None)
    return found


def page_visits(page: Element, near: date, zone: ZoneInfo) -> set[Visit]:
    """Return the visits of the page's watering table."""
    found = set()
    for table in by_class(page, "watering"):
        rows = [*table.iter("tr")]
        for row, below in zip(rows, [*rows[1:], None], strict=True):
            days = row_days(row, below, near)
            for visit in by_class(row, "visit"):
                for span in ranges_in(words(visit)):
                    found |= {visit_on(day, span, zone) for day in days}
    return found


def row_days(row: Element, below: Element | None, near: date) -> set[date]:
    """Return the days of a row of the watering table.

    A row that says "on the days below" has those days alone that have a box in the row below it. Any other
    row has each day of its span, and a box on a day outside the span is one more day that people go by.
    """
    head = row.find("th")
    if head is None:
        return set()
    boxes = set() if below is None else {*days_in(" ".join(map(words, by_class(below, "tick"))), near)}
    if any(each in words(head) for each in _DAYS_BELOW):
        return boxes
    return {*all_days(days_in(words(head), near)), *boxes}


def timer_runs(page: Element, near: date, zone: ZoneInfo) -> set[Visit]:
    """Return from when to when a timer runs on each day, as the watering table of the page has it."""
    found = set()
    for table in by_class(page, "watering"):
        for row in table.iter("tr"):
            head, cell = row.find("th"), row.find("td")
            days = all_days(days_in(words(head), near)) if head is not None else []
            found |= {visit_on(day, span, zone) for day in days for span in ranges_in(words(cell))[:1]}
    return found


def all_days(named: list[date]) -> list[date]:
    """Return the days of a row: the one that it names, or all from the first to the last."""
    if len(named) < 2:
        return named
    return [named[0] + timedelta(days=number) for number in range((named[1] - named[0]).days + 1)]


def first_box(page: Element, near: date) -> tuple[str, list[date], list[time], bytes | None]:
    """Return the page's first job: its title, the days and hours that it names, the event of its link."""
    box = next(by_class(page, "now"), None)
    if box is None:
        return "", [], [], None
    # "Now, until 2:00": an hour at which something ends is none at which somebody comes.
    when = re.split(r"\b(?:until|hasta)\b", words(next(by_class(box, "when"), None)), flags=re.IGNORECASE)[0]
    spans = ranges_in(when)  # "11:00 to 11:30 pm": the first hour has the half of the second
    link = next((each.get("href") for each in by_class(box, "add")), None)
    event = base64.b64decode(link.partition(",")[2]) if link else None
    title = words(next(iter(box.iter("h2")), None))
    return title, days_in(when, near), [spans[0][0]] if spans else hours_in(when), event


def sheet_box(sheet: str) -> str:
    """Return the text of the left half of the head of the first page, in one line: the first job."""
    lines = sheet.partition("\f")[0][:4000].splitlines()
    return " ".join(" ".join(line[:60] for line in lines).split())


def sheet_date(sheet: str, title: str, near: date) -> Moment | None:
    """Return the day and hour that the first page of the sheet has beside a title, or None."""
    lines = sheet.partition("\f")[0].splitlines()
    for number, line in enumerate(lines):
        if line.strip().startswith(title):
            rest = line.strip()[len(title) :]
            if not rest.strip():
                continue
            column = line.rindex(rest.strip()[:8])
            below = [each[column - 2 :] for each in lines[number + 1 : number + 3]]
            if days := days_in(rest, near):
                hours = hours_in("".join(below[:1]))
                return days[0], hours[0] if hours else None
            # A long day takes two lines; its hour is in the third.
            if days := days_in(" ".join(f"{rest} {''.join(below[:1])}".split()), near):
                hours = hours_in(" ".join(below))
                return days[0], hours[0] if hours else None
    return None


def letter_dates(letter: str, near: date) -> dict[str, Moment]:
    """Return the dates of the letter, by title."""
    found = {}
    for line in letter.splitlines():
        if match := re.match(r"- (.+?): (.+)$", line):
            days, hours = days_in(match[2], near), hours_in(match[2])
            if days:
                found[match[1]] = (days[0], hours[0] if hours else None)
    return found
