"""Where the papers of one job contradict each other, or ask for what nobody can do."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

import icalendar
import second_hand as read
from promises import broken_promises

if TYPE_CHECKING:
    from collections.abc import Iterator

    from random_jobs import RandomJob
    from second_hand import Event, Papers

MOST_VISITS = 3
MOST_PAGES = 4
LEAST_FILL = 0.5
"""The least share of the height of a page, but the last, that has text."""
NIGHT = (time(22), time(4))
"""From when until when nobody works, unless the papers call it night work; crews of slabs begin at four."""
DRY = {"plastic sheet", "curing compound", "insulating blanket"}
"""Methods under which nobody waters each day."""
_CREW = ("The crew", "El equipo", "La cuadrilla")
"""A job of the crew protects the slab at its hour, whoever else is there."""
_DRY_TITLES = ("do not water", "no water", "sin riego", "no regar")
"""What the title of a cover says that replaces the water."""
_IF_DRY = ("only if it is dry", "if it is dry underneath", "solo si está seco", "si debajo está seco")
_NIGHT_WORK = ("night work", "trabajo nocturno")
_WATERING = {"Watering", "Riego"}
_COVERS = ("burlap", "plastic", "arpillera", "plástico")
_WORDS_OF = {
    "en": {"the", "and", "with", "until", "from", "water", "slab"},
    "es": {"el", "la", "los", "con", "hasta", "desde", "losa", "agua"},
}
"""Words of one language that the other does not have."""


def findings(job: RandomJob, papers: Papers) -> Iterator[tuple[str, str]]:
    """Yield what is wrong: a short kind, and where it was seen."""
    near = job.as_of.astimezone(job.zone).date()
    yield from _titles(papers, near)
    yield from _visits(job, papers, near)
    yield from _first(job, papers, near)
    yield from _covers(job, papers, near)
    if papers.pages > MOST_PAGES:
        yield "sheet has too many pages", str(papers.pages)
    if (count := papers.crew_sheet.count("\f")) > 1:
        yield "crew sheet has too many pages", str(count)
    for number, fill in enumerate(papers.fills[:-1], 1):
        if fill < LEAST_FILL:
            yield "page less than half full", f"page {number}: {fill:.2f}"
    yield from _crew_at_night(job, papers)
    yield from _language(job, papers)
    yield from _kind_of_slab(job, papers)
    yield from _past_as_future(job, papers, near)
    yield from broken_promises(papers, near)
    first, _, others = papers.sheet.partition("\f")
    for heading in ("The crew comes back", "La cuadrilla vuelve"):
        if heading in others and heading not in first:
            yield "first page spills over", heading
    for word in papers.outside:
        yield "text outside the page", word
    if not job.phone and any(each in papers.sheet for each in ("Call:", "Para llamar ")):
        yield "asks to call without a number", ""


def _language(job: RandomJob, papers: Papers) -> Iterator[tuple[str, str]]:
    """The owner's papers are in their language, those of the crew in that of the firm."""
    firm = job.firm_language or "en"
    texts = (
        ("care sheet", papers.sheet, job.language),
        ("letter", papers.letter, job.language),
        ("owner's calendar", " ".join(each.text for each in papers.owner), job.language),
        ("crew's calendar", " ".join(each.text for each in papers.crew), firm),
        ("crew sheet", papers.crew_sheet, firm),
    )
    for name, text, language in texts:
        others = _WORDS_OF["es" if language == "en" else "en"]
        if found := others & {*text.lower().split()}:
            yield f"{name} in two languages", " ".join(sorted(found))


def _kind_of_slab(job: RandomJob, papers: Papers) -> Iterator[tuple[str, str]]:
    """What a building, pipes, color and a hose call for."""
    sheet = " ".join(papers.sheet.lower().split())
    if job.indoors and any(each in sheet for each in ("if it rains", "si llueve")):
        yield "rain on a slab in a building", ""
    if job.heated and not any(each in sheet for each in ("heating", "calefacción")):
        yield "pipes without a word on when to heat", ""
    visits = sorted((each for each in papers.owner if is_watering(each)), key=lambda each: str(each.start))
    if job.no_cover and job.method in {"sprinkler", "soaker hose", "hose by hand"}:
        for each in visits:
            if any(cover in each.text.lower() for cover in _COVERS):
                yield "cover on a slab that it would mark", f"{each.start} {each.title}"
    for each in visits[1:] if job.method == "hose by hand" else ():
        if each.end - each.start > timedelta(hours=1):  # type: ignore[operator]
            yield "an hour and more with a hose in the hand", f"{each.start} {each.title}"


def _past_as_future(job: RandomJob, papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """What is over is not the first job, unless it is asked about; what began may go on."""
    title, days, hours, _ = read.first_box(papers.page, near)
    if not days or not hours or title.endswith("?"):
        return
    box = read.words(next(read.by_class(papers.page, "now"), None)).lower()
    at = datetime.combine(days[0], hours[0], job.zone)
    if at < job.as_of - timedelta(hours=1) and not any(
        each in box for each in ("now", "until", "ahora", "hasta")
    ):
        yield "first job in the past", f"{title}, {at:%a %b %d %H:%M}"


def _titles(papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """One title, one date: page, sheet, letter, calendar."""
    page = read.page_dates(papers.page, near)
    letter = read.letter_dates(papers.letter, near)
    for title, moment in page.items():
        on_sheet = read.sheet_date(papers.sheet, title, near)
        if on_sheet is None:
            yield "date is not on the sheet", title
        elif on_sheet != moment:
            yield "sheet and page differ", f"{title}: {_said(on_sheet)}, {_said(moment)}"
        in_letter = letter.get(title)
        if in_letter is not None and (in_letter[0] != moment[0] or (moment[1] and in_letter[1] != moment[1])):
            yield "letter and page differ", f"{title}: {_said(in_letter)}, {_said(moment)}"
        for event in papers.owner:
            if event.title.startswith(title) and not _is_at(event, moment):
                yield "calendar and page differ", f"{title}: {event.start}, {_said(moment)}"


def _is_at(event: Event, moment: read.Moment) -> bool:
    """Return whether an event begins when a date says; one without an hour begins on its day."""
    if isinstance(event.start, datetime):
        return event.start.date() == moment[0] and (moment[1] is None or event.start.time() == moment[1])
    return event.start == moment[0]


def _said(moment: read.Moment) -> str:
    return f"{moment[0]} {moment[1] or ''}".strip()


def is_watering(event: Event) -> bool:
    """Return whether an event is a visit to water or to look at a slab."""
    return bool(_WATERING & {*event.categories}) and isinstance(event.start, datetime)


def _crew_at_night(job: RandomJob, papers: Papers) -> Iterator[tuple[str, str]]:
    """Nobody comes at night, unless the calendar says that it is night work.

    Work that goes on by day is begun when the crew comes; what follows the last pass finds it there.
    """
    for event in papers.crew:
        if not isinstance(event.start, datetime) or not isinstance(event.end, datetime):
            continue
        by_day = NIGHT[1] <= event.start.time() < NIGHT[0]
        goes_on = event.end - event.start > timedelta(hours=6)
        follows = event.start <= job.finished + timedelta(minutes=45)
        is_told = any(each in event.text.lower() for each in _NIGHT_WORK)
        if not (by_day or goes_on or follows or is_told):
            yield "crew at night without a word", f"{event.start:%a %H:%M} {event.title}"


def _timer(job: RandomJob, papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """With a timer: one look a day, at hours when somebody is there, not before the first run of its day."""
    runs: dict[date, datetime] = {}
    for start, _ in sorted(read.timer_runs(papers.page, near, job.zone)):
        runs.setdefault(start.date(), start)
    windows = [_window(each) for each in job.presence or ["05:00-22:30"]]
    spans = sorted(
        (each.start, each.end)
        for each in papers.owner
        if is_watering(each) and isinstance(each.start, datetime) and isinstance(each.end, datetime)
    )
    for number, (start, end) in enumerate(spans):
        if not any(_is_within(start, end, each) for each in windows):
            yield "look at a timer while nobody is there", f"{start:%a %b %d %H:%M}"
        if number > 0 and start <= runs.get(start.date(), job.as_of):
            yield "look before the timer has run", f"{start:%a %b %d %H:%M}"
    for day, count in Counter(start.date() for start, _ in spans[1:]).items():
        if count > 1:
            yield "two looks at a timer in one day", str(day)
    if runs and not spans:
        yield "timer without a look", str(min(runs))


def _visits(job: RandomJob, papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """The table and the calendar have the same visits, at hours when somebody is there, few enough."""
    page = read.page_visits(papers.page, near, job.zone)
    calendar = {(each.start, each.end) for each in papers.owner if is_watering(each)}
    calendar = {(start, end) for start, end in calendar if isinstance(end, datetime) and end > job.as_of}
    # A timer has one event to set it and one look a day; its runs are in the table alone.
    for start, end in sorted(set() if job.timer else page ^ calendar):
        where = "page" if (start, end) in page else "calendar"
        yield f"visit of the {where} alone", f"{start:%a %b %d %H:%M} to {end:%H:%M}"
    if job.timer:
        yield from _timer(job, papers, near)
    windows = [_window(each) for each in job.presence or []]
    for start, end in sorted(page):
        if windows and not job.timer and not any(_is_within(start, end, each) for each in windows):
            yield "visit while nobody is there", f"{start:%a %b %d %H:%M} to {end:%H:%M}"
    if not job.timer:
        for day, count in Counter(start.date() for start, _ in page).items():
            if count > MOST_VISITS:
                yield "too many visits a day", f"{day}: {count}"
    looks = job.method == "plastic sheet" and any(
        each in " ".join(papers.sheet.lower().split()) for each in _IF_DRY
    )
    if page and job.method in DRY and not looks:
        yield f"watering table under {job.method}", str(len(page))


def _window(text: str) -> tuple[int, int]:
    """Return a window of presence in minutes of the day."""
    start, end = ((int(each[:2]) * 60 + int(each[3:])) for each in text.split("-"))
    return start, end


def _is_within(start: datetime, end: datetime, window: tuple[int, int]) -> bool:
    first = start.hour * 60 + start.minute
    return window[0] <= first and first + (end - start) / timedelta(minutes=1) <= window[1]


def _first(job: RandomJob, papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """The first job is one job: in the box, in its link, in the letter, in the calendar."""
    title, days, hours, link = read.first_box(papers.page, near)
    if title not in read.sheet_box(papers.sheet):
        yield "first job differs between sheet and page", title
    if not days or not hours:
        return
    at = datetime.combine(days[0], hours[0], job.zone)
    box = f"{title}, {at:%a %b %d %H:%M}"
    if any(each in title for each in _CREW):
        if all(each.start != at for each in papers.crew):
            yield "the crew's first job is not in its calendar", box
        return
    yield from _same_in_calendar(job, papers, title, at)
    if link is not None:
        event = next(iter(icalendar.Calendar.from_ical(link.decode()).walk("VEVENT")))
        begins = event.decoded("dtstart")
        if isinstance(begins, datetime) and begins.astimezone(job.zone) != at:
            yield "link of the first job opens another hour", f"{box}; {begins.astimezone(job.zone):%a %H:%M}"
    to_come = (each for each in papers.owner if isinstance(each.end, datetime) and each.end > job.as_of)
    first = min((each.start for each in to_come if is_watering(each)), default=None)
    waters = any(each in title.lower() for each in ("water", "regar"))
    waters &= not any(each in title.lower() for each in _DRY_TITLES) and not title.endswith("?")
    if isinstance(first, datetime) and waters and first != at:
        yield "first water differs between box and calendar", f"{box}; {first:%a %b %d %H:%M}"
    windows = [_window(each) for each in job.presence or []]
    if windows and not any(a <= at.hour * 60 + at.minute < b for a, b in windows):
        yield "first job while nobody is there", box
    if not windows and not time(6) <= at.time() <= time(22):
        yield "first job at night", box


def _same_in_calendar(job: RandomJob, papers: Papers, title: str, at: datetime) -> Iterator[tuple[str, str]]:
    """The first event to come with the title of the box is at its hour."""
    earliest = job.as_of - timedelta(minutes=30)
    same = (each.start for each in papers.owner if each.title.startswith(title))
    begins = min((each for each in same if isinstance(each, datetime) and each >= earliest), default=at)
    if begins != at:
        yield "first job differs between box and calendar", f"{title}, {at:%a %H:%M}; {begins:%a %H:%M}"


def _covers(job: RandomJob, papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """No wheels on a cover that is still there."""
    dates = read.page_dates(papers.page, near)
    off = [day for title, (day, _) in dates.items() if _lifts(title)]
    wheels = [day for title, (day, _) in dates.items() if _is_for_wheels(title)]
    if off and wheels and min(wheels) < max(off) and job.method in {"plastic sheet", "insulating blanket"}:
        yield "wheels before the cover is off", f"{min(wheels)} before {max(off)}"
    order = [dates[title][0] for title in dates if _is_load(title)]
    if order != sorted(order):
        yield "loads out of order", str(order)


def _lifts(title: str) -> bool:
    return any(word in title.lower() for word in ("take off", "lift", "quitar", "retirar", "stop covering"))


def _is_for_wheels(title: str) -> bool:
    return any(word in title.lower() for word in ("car ", "truck", "auto", "camión"))


def _is_load(title: str) -> bool:
    return _is_for_wheels(title) or any(
        word in title.lower() for word in ("walk", "caminar", "light work", "trabajo ligero")
    )
