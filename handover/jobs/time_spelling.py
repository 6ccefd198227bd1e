"""Times of a record as people write them: "8/12/2026 12:10 PM", "12:10 PM", a time of day without its date.

A text with one reading becomes a time; with several it is a fault that shows each of them, ready to paste. A
date in figures is read with a caution in a country that writes the month first: nobody there writes the day
first. Elsewhere it is asked about, because spreadsheets write the month first in every country.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from handover.base.text import quoted_text
from handover.base.time_text import DateOrder, TimeReadings, date_order, read_time_text
from handover.errors import Finding
from handover.jobs.fields import MomentField, is_iso_time
from handover.jobs.missing_date import complete_time
from handover.jobs.record import fields_of, mark_of, tables
from handover.jobs.source_map import Path
from handover.practice.rules import rules_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

Found = tuple[Path, Finding]

_EXPECTED = "year-month-day, and the time of 24 hours or with AM or PM"
_EXAMPLE = datetime(2026, 7, 14, 6, 40)  # noqa: DTZ001 - local, an example
_DATE_IN_ID = re.compile(r"20[0-9]{2}-[01][0-9]-[0-3][0-9]")
_FIRST = (("placement", "start"), ("placement", "end"), ("placement", "finished"))
"""Fields in the order in which a time of day without a date needs the day of the one before."""


def spell_times(
    raw: Mapping[str, Any], country: Callable[[], str | None]
) -> tuple[Mapping[str, Any], list[Found]]:
    """Return the tables of a record with times in place of the texts that have one reading, and findings.

    A text with several readings is left out, with a fault. What is no time at all stays, for the reader of
    its field.

    Args:
        raw: The tables of the TOML or JSON file.
        country: Returns the ISO 3166 code of the site's country, or None; called only where it matters.
    """
    texts = {path: value for path, value in _times(raw) if not is_iso_time(value)}
    if not texts:
        return raw, []
    spelled = copy.deepcopy(dict(raw))
    found: list[Found] = []
    likely: datetime | None = None
    for path in sorted(texts, key=lambda each: _FIRST.index(each) if each in _FIRST else len(_FIRST)):
        value = texts[path]
        readings = TimeReadings({}, (value,)) if isinstance(value, time) else read_time_text(value)
        if readings is None:
            if asked := _ask_for_date(path, str(value), raw, country):
                found.append((path, asked))
                _put(spelled, path, None)
            continue
        reading = _Reading(path, value, readings, spelled, country, likely)
        result = reading.result()
        if isinstance(result, Finding):
            found.append((path, result))
            _put(spelled, path, None)
            likely = likely or reading.likely
        else:
            moment, doubt = result
            _put(spelled, path, moment)
            found += [(path, doubt)] if doubt else []
    return spelled, found


def _ask_for_date(
    path: Path, written: str, raw: Mapping[str, Any], country: Callable[[], str | None]
) -> Finding | None:
    """Return the question about a time without its year or date; None for any other text."""
    near = _day_nearby(raw, path)
    if near is None or not (moments := complete_time(written, near)):
        return None
    reading = _Reading(path, written, TimeReadings({}, ()), {}, country, None)
    return reading.ask_for_date(list(moments))


def _day_nearby(raw: Mapping[str, Any], path: Path) -> date | None:
    """Return the day of another time of the record, else that in its id; None where there is none."""
    others = {each: value for each, value in _all_times(raw) if each != path}
    for value in (others[each] for each in (*_FIRST, *others) if each in others):
        if isinstance(value, datetime):
            return value.date()
        readings = read_time_text(value) if isinstance(value, str) else None
        if readings is not None and len({*readings.days.values()}) == 1:
            return next(iter(readings.days.values()))
    found = _DATE_IN_ID.search(str(raw.get("id", "")))
    try:
        return date.fromisoformat(found[0]) if found else None
    except ValueError:
        return None


class _Reading:
    """One text and what it can mean, beside the times of the placement that were read before it."""

    def __init__(
        self,
        path: Path,
        written: object,
        readings: TimeReadings,
        tables_read: Mapping[str, Any],
        country: Callable[[], str | None],
        likely: datetime | None,
    ) -> None:
        self.likely = likely
        self.key = str(path[-1])
        self.written = written if isinstance(written, str) else f"{written:%H:%M}"
        self.readings, self.path, self.country = readings, path, country
        placement = tables_read.get("placement")
        self.placement: Mapping[str, Any] = placement if isinstance(placement, Mapping) else {}

    def result(self) -> tuple[datetime, Finding | None] | Finding:
        """Return the time and a caution or None, or the finding that asks."""
        order = date_order(self.country() or "") if len(self.readings.days) > 1 else None
        if order in ("mdy", "dmy"):  # nobody there writes a year of two digits first
            kept: dict[DateOrder, date] = {
                name: day for name, day in self.readings.days.items() if name != "ymd"
            }
            self.readings = self.readings._replace(days=kept)
        days, clocks = self.readings.days, self.readings.clocks
        if not clocks:
            examples = [datetime.combine(day, _EXAMPLE.time()) for day in dict.fromkeys(days.values())]
            return self._ask("has no time of day", self._by_likelihood(examples))
        if not days:
            return self._on_a_day()
        moments = self.readings.moments
        if len(moments) == 1:
            return moments[0], None
        chosen = self._by_country(order)
        if chosen is not None and len(clocks) == 1:
            moment = datetime.combine(chosen, clocks[0], self.readings.offset)
            others = [each for each in moments if each != moment]
            first = "the month" if order == "mdy" else "the day"
            return moment, Finding(
                f"{self._in_quotes} is read as {_in_words([moment])}, {first} first, as the country of the "
                "site writes it",
                expected=f"that, or the year first where it is {_in_words(others)}",
                example=self._lines([moment, *others]),
                severity="caution",
            )
        ordered = self._by_likelihood(list(moments))
        return self._ask(f"may mean {_in_words(ordered)}", ordered)

    def ask_for_date(self, moments: list[datetime]) -> Finding:
        """Return the question about a text that lacks a year or a date.

        Args:
            moments: What it may mean, by the other times of the record.
        """
        return self._ask(f"does not name its year or date. Is it {_in_words(moments)}?", moments)

    def _by_likelihood(self, moments: list[datetime]) -> list[datetime]:
        """Return times with those in the order of the country first."""
        first = self.readings.days.get(date_order(self.country() or "") or "ymd")
        ordered = sorted(moments, key=lambda each: each.date() != first)
        self.likely = ordered[0]
        return ordered

    def _by_country(self, order: str | None) -> Any:
        """Return the day by the order of the country, where nobody there would write it otherwise."""
        with_points = re.search(r"[0-9]\.[0-9]{1,2}\.[0-9]", self.written) is not None
        if order == "mdy" and not with_points:
            return self.readings.days.get("mdy")
        return self.readings.days.get("dmy") if order == "dmy" and with_points else None

    def _on_a_day(self) -> tuple[datetime, Finding | None] | Finding:
        """Return a time of day on the day of the placement, or the finding that asks for the day."""
        start = _moment(self.placement.get("start"))
        if start is None or self.path == ("placement", "start"):
            example = self.likely or _moment(self.placement.get("end")) or _EXAMPLE
            return self._ask("has no date", [self._at(example, 0, clock) for clock in self.readings.clocks])
        some = [self._at(start, day, clock) for day in (-1, 0, 1, 2) for clock in self.readings.clocks]
        limits = self._limits(start)
        if limits is None:
            same_day = [each for each in some if each.date() == start.date()]
            return self._ask("has no date", same_day)
        earliest, usual, latest = limits
        likely = [each for each in some if earliest < each <= usual]
        if len(likely) == 1 and len(self.readings.clocks) == 1:
            return likely[0], None
        possible = [each for each in some if earliest < each <= latest]
        around = self._slip(start, earliest, usual) if not likely else []
        return self._ask(
            f"has no date, and may mean {_in_words(around + possible)}"
            if around + possible
            else "has no date",
            around + possible or [self._at(start, 0, clock) for clock in self.readings.clocks],
        )

    def _slip(self, start: datetime, earliest: datetime, usual: datetime) -> list[datetime]:
        """Return the times half a day later: 04:00 where four in the afternoon was meant."""
        half = timedelta(days=1) / 2
        shifted = [self._at(start, 0, each) + half for each in self.readings.clocks if each.hour < 12]  # noqa: PLR2004 - noon
        return [each for each in shifted if earliest < each <= usual]

    def _limits(self, start: datetime) -> tuple[datetime, datetime, datetime] | None:
        """Return after when, until when usually, and until when at all the field may be, or None."""
        rules = rules_of(self.country())
        end = _moment(self.placement.get("end")) or start
        if end.utcoffset() != start.utcoffset():
            return None
        longest = timedelta(hours=rules["placement.longest"])
        if self.path == ("placement", "end"):
            return start, start + longest, start + longest
        if self.path == ("placement", "finished"):
            usual, latest = (timedelta(hours=rules[name]) for name in ("finishing.usual", "finishing.latest"))
            return end, end + usual, end + latest
        if self.key == "batched":
            before = start - timedelta(hours=rules["delivery.longest"])
            return before, end, end
        return None

    def _at(self, start: datetime, days: int, clock: time) -> datetime:
        return datetime.combine(start.date() + timedelta(days=days), clock, start.tzinfo)

    @property
    def _in_quotes(self) -> str:
        return quoted_text(self.written)

    def _ask(self, problem: str, moments: list[datetime]) -> Finding:
        return Finding(f"{self._in_quotes} {problem}", expected=_EXPECTED, example=self._lines(moments))

    def _lines(self, moments: list[datetime]) -> str:
        """Return the lines of the record for times, ready to paste."""
        return "   or   ".join(f'{self.key} = "{_words(each)}"' for each in dict.fromkeys(moments))


def _words(moment: datetime) -> str:
    return moment.isoformat(sep=" ", timespec="minutes")


def _in_words(moments: list[datetime]) -> str:
    """Return times in words that nobody takes for others: "3 April 2026 at 1:10 pm"."""
    return " or ".join(
        f"{each.day} {each:%B} {each.year} at {(each.hour - 1) % 12 + 1}:{each.minute:02d} "
        f"{'am' if each.hour < 12 else 'pm'}"  # noqa: PLR2004 - noon
        for each in moments
    )


def _moment(value: object) -> datetime | None:
    """Return a time of the tables, as ISO text or as TOML has it, or None."""
    if isinstance(value, datetime):
        return value
    if not isinstance(value, str):
        return None
    try:
        return datetime.fromisoformat(value.strip().upper()) if is_iso_time(value) else None
    except ValueError:
        return None


def _times(raw: Mapping[str, Any]) -> Iterator[tuple[Path, str | time]]:
    """Yield the texts and times of day of the fields that are times, with their paths."""
    for path, value in _all_times(raw):
        if isinstance(value, time) or (isinstance(value, str) and value.strip()):
            yield path, value


def _all_times(raw: Mapping[str, Any]) -> Iterator[tuple[Path, object]]:
    """Yield the values of the fields that are times, with their paths."""
    for name, table in tables().items():
        keys = [key for key, field in fields_of(table).items() if mark_of(field, MomentField)]
        part = raw.get(name)
        rows = enumerate(part) if isinstance(part, list) else [(None, part)]
        for at, row in rows:
            if isinstance(row, Mapping):
                yield from (((name, key) if at is None else (name, at, key), row.get(key)) for key in keys)


def _put(tables_read: Any, path: Path, moment: datetime | None) -> None:
    """Set a time in tables, or remove it."""
    *way, last = path
    for key in way:
        tables_read = tables_read[key]
    if moment is None:
        del tables_read[last]
    else:
        tables_read[last] = moment
