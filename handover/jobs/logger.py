"""Readings of a temperature logger in the slab: a CSV beside the record.

    # anything that the logger writes about itself
    time_utc,temperature_c
    2026-07-14T10:30,28.5

One column of times and one of temperatures (comma, semicolon or tab between them; upper or lower case, spaces
or underscores). The heading of the times says ``time_utc`` or ``time_local`` (the site's clock); without
either, times without an offset are on the site's clock, with a caution. The unit is at the end of the other
heading or in brackets: ``temperature_c``, ``Concrete temp [degF]``. Columns of the air, and all others, are
ignored.

Readings that no slab gives are left out and reported: from before the placement, outside the range of
concrete temperatures, after a jump, or from a stuck sensor. The other readings are returned as hourly means.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from itertools import groupby
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.base.table_times import Clock, read_times
from handover.base.tables import Row, heading_words, parse_cell, read_rows
from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.record import LogReading
from handover.practice.rules import general_rules
from handover.units import TEMPERATURES, conversion, plain_unit

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from handover.jobs.attached_files import AttachedFiles

MAX_LOG_BYTES = 10_000_000  # bytes; one reading per minute for four weeks is 1 MB
_MINUTE_S = HOUR_S / 60
_RULES = general_rules()
_MIN_READING_C, _MAX_READING_C = _RULES["log.coldest"], _RULES["log.hottest"]
_MAX_WRONG_ROWS = _RULES["log.wrong"]
_GAP_S = _RULES["log.gap"] * HOUR_S
_JUMP_K, _JUMP_S, _DRIFT_K_H = _RULES["log.jump"], _RULES["log.jump-within"] * HOUR_S, _RULES["log.drift"]
_MAX_REVERSAL_S = _RULES["log.reversal"] * HOUR_S
_STILL_S, _STILL_READINGS = _RULES["log.still"] * HOUR_S, int(_RULES["log.still-readings"])
_CLOCK_YEARS = 1970, 2100
"""The years of a logger's clock: one that was never set begins with 1970."""
_MAX_NAMED = 3
_MAX_FAULTS = 10
_WHAT = "a CSV of the logger: a line of column names, then a time and a temperature to a line"
_EXAMPLE = "time_utc,temperature_c"

_TIMES = {"time", "datetime", "timestamp", "date time"}
_CLOCKS: dict[str, Clock] = {"utc": "utc", "gmt": "utc", "local": "local"}
_OF_CONCRETE = {"temperature", "temp", "concrete", "slab", "probe", "sensor"}
_OF_OTHERS = {"air", "ambient", "outside", "battery", "internal", "board", "weather"}


@dataclass(frozen=True)
class _Series:
    """Readings in order of time: UTC seconds and degC, shape (n,)."""

    seconds: Floats
    celsius: Floats

    def __len__(self) -> int:
        return len(self.seconds)

    def only(self, which: NDArray[np.bool_]) -> _Series:
        return _Series(self.seconds[which], self.celsius[which])


def examine_log(
    files: AttachedFiles, name: str, zone: ZoneInfo | None, placed: datetime | None
) -> tuple[tuple[LogReading, ...], list[Finding]]:
    """Return a logger's readings in the concrete, as hourly means, with faults and cautions.

    Args:
        files: The files of the record.
        name: The name of the logger's file in the record.
        zone: The zone of the site, for local times.
        placed: When the first concrete was placed, aware; earlier readings are left out.

    Returns:
        Readings in order of time, in the site's zone if it is known; empty if there is a fault.
    """
    text = _text(files, name)
    if isinstance(text, Finding):
        return (), [replace(text, file=name)]
    series, findings = _read(text, zone)
    if series is not None:
        series, doubts = _plausible_only(series, placed, zone)
        findings += doubts
    if any(each.severity == "fault" for each in findings):
        series = None
    readings = () if series is None else tuple(_hourly(series, zone))
    return readings, [replace(each, file=name) for each in findings]


def _text(files: AttachedFiles, name: str) -> str | Finding:
    fault = partial(Finding, expected=_WHAT, example=_EXAMPLE)
    try:
        data = files.read(name, MAX_LOG_BYTES + 1)
    except OSError as error:
        return fault(f"cannot be read ({error.strerror or error})")
    if len(data) > MAX_LOG_BYTES:
        return fault(f"has more than {MAX_LOG_BYTES:,} bytes; a logger's file has at most that many")
    if b"\0" in data:
        return fault("holds binary data, not text")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # the degree sign of older loggers; no other such character is used
    return text if text.strip() else fault("is empty")


# ---- the table --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Columns:
    """The positions of the two columns, and what their headings say."""

    time: int
    clock: Clock | None  # of times without an offset; None where the heading does not say
    temperature: int
    scale: float
    shift: float


def _read(text: str, zone: ZoneInfo | None) -> tuple[_Series | None, list[Finding]]:
    table = read_rows(text)
    if table.fault is not None:
        return None, [Finding(f"is not a table: {table.fault}", line=table.fault_line, expected=_WHAT)]
    rows = table.rows
    if not rows or rows[0].cells[0].startswith("#"):
        return None, [Finding("has no line of column names", expected=_WHAT, example=_EXAMPLE)]
    columns = _columns([cell.strip() for cell in rows[0].cells], rows[0].line)
    if isinstance(columns, list):
        return None, columns
    if not rows[1:]:
        return None, [_no_readings_yet("has no readings")]
    return _series(rows[1:], columns, zone, table.decimal)


def _columns(titles: list[str], line: int) -> _Columns | list[Finding]:
    fault = partial(Finding, line=line, example=_EXAMPLE)
    words = [heading_words(title) for title in titles]
    times = [at for at, each in enumerate(words) if " ".join(w for w in each if w not in _CLOCKS) in _TIMES]
    of_concrete = [
        at for at, each in enumerate(words) if _OF_CONCRETE & set(each) and not _OF_OTHERS & set(each)
    ]
    faults = []
    if not times:
        expected = "a column time_utc, time_local, or time with offsets"
        faults.append(fault("has no column of times", expected=expected))
    if len(of_concrete) != 1:
        how = "no column" if not of_concrete else f"{len(of_concrete)} columns"
        expected = "one column, of the sensor in the slab"
        faults.append(fault(f"has {how} of concrete temperature", expected=expected))
    if faults:
        return faults
    unit = _unit(words[of_concrete[0]])
    if unit is None:
        title = titles[of_concrete[0]]
        expected = "degC, degF or K, at the end of the name or in brackets"
        return [fault("has no known unit", field=title[:40], expected=expected)]
    at = next((at for at in times if _clock(words[at]) == "utc"), times[0])
    return _Columns(at, _clock(words[at]), of_concrete[0], *conversion(unit, "degC"))


def _clock(words: Sequence[str]) -> Clock | None:
    return next((_CLOCKS[word] for word in words if word in _CLOCKS), None)


def _unit(words: Sequence[str]) -> str | None:
    return TEMPERATURES.get(plain_unit(words[-1])) if len(words) > 1 else None


def _series(
    rows: Sequence[Row], columns: _Columns, zone: ZoneInfo | None, decimal: str
) -> tuple[_Series | None, list[Finding]]:
    seconds, values = [], []
    # Without a zone of the site, which has its own finding, the clock does not matter.
    times = read_times(rows, columns.time, "time", clock=columns.clock, zone=zone or ZoneInfo("UTC"))
    cautions = [each for each in times.findings if each.severity == "caution" and zone is not None]
    faults = [each for each in times.findings if each.severity == "fault"]
    for row, moment in zip(rows, times.moments, strict=True):
        value = _number(row.cells, columns.temperature, decimal)
        wrong = value if isinstance(value, Finding) else _impossible_clock(moment)
        faults += [replace(wrong, line=row.line)] if wrong else []
        if isinstance(moment, datetime) and isinstance(value, float):
            seconds.append(moment.timestamp())
            values.append(value)
    if faults:
        faults.sort(key=lambda each: each.line or 0)
        more = len(faults) - _MAX_FAULTS
        return None, faults[:_MAX_FAULTS] + (
            [Finding(f"has {more} more faults like these")] if more > 0 else []
        )
    order = np.argsort(seconds, kind="stable")
    celsius = np.array(values, dtype=np.float64) * columns.scale + columns.shift
    series = _Series(np.array(seconds, dtype=np.float64)[order], celsius[order])
    return series.only(np.isfinite(series.celsius)), cautions


def _impossible_clock(moment: object) -> Finding | None:
    """Return a finding for a time that no clock of a logger has, be it set or not."""
    if not isinstance(moment, datetime) or _CLOCK_YEARS[0] <= moment.year <= _CLOCK_YEARS[1]:
        return None
    return Finding(
        f"the year {moment.year} cannot be right", field="time", expected="the time on the logger's clock"
    )


def _number(cells: list[str], at: int, decimal: str) -> float | Finding:
    """Return the number in a cell; NaN for an empty cell."""
    text = cells[at].strip() if at < len(cells) else ""
    if (number := parse_cell(text, decimal)) is not None:
        return number
    return Finding(
        f"{quoted_text(text)} is not a number", field="temperature", expected="a number, or an empty cell"
    )


# ---- what is plausible ------------------------------------------------------------------------------


def _plausible_only(
    series: _Series, placed: datetime | None, zone: ZoneInfo | None
) -> tuple[_Series | None, list[Finding]]:
    """Return the plausible readings of concrete, with cautions about the others."""
    doubts: list[Finding] = []
    early = series.seconds < (placed.timestamp() if placed else -np.inf)
    if early.any():
        doubts.append(
            _omission_finding(int(early.sum()), "are from before the placement: of the truck, or of the air")
        )
        series = series.only(~early)
    wrong = (series.celsius < _MIN_READING_C) | (series.celsius > _MAX_READING_C)
    if wrong.any():
        out_of_range = f"are outside of {_MIN_READING_C:g} to {_MAX_READING_C:g} degC"
        if wrong.mean() > _MAX_WRONG_ROWS:
            problem = f"{int(wrong.sum())} of {len(series)} readings {out_of_range}"
            return None, [*doubts, Finding(problem, expected="the unit that the heading names")]
        doubts.append(_omission_finding(int(wrong.sum()), out_of_range))
        series = series.only(~wrong)
    for judge in (_find_drift, _find_stuck_readings):
        series, found = judge(series, zone)
        doubts += found
    if not len(series):
        return None, [*doubts, _no_readings_yet("has no reading in the concrete")]
    return series, [*doubts, *_gaps(series, zone)]


def _no_readings_yet(problem: str) -> Finding:
    return Finding(
        f"{problem}; the estimate leaves it out",
        expected="readings from the placement on: look at the clock of the logger",
        severity="caution",
    )


def _omission_finding(count: int, why: str) -> Finding:
    readings = "1 reading" if count == 1 else f"{count} readings"
    return Finding(f"{readings} left out: they {why}", severity="caution")


def _format_moment(second: float, zone: ZoneInfo | None) -> str:
    return f"{datetime.fromtimestamp(second, UTC).astimezone(zone or UTC):%Y-%m-%d %H:%M}"


def _find_drift(series: _Series, zone: ZoneInfo | None) -> tuple[_Series, list[Finding]]:
    """Leave out the readings after a jump that no slab makes, unless the jump soon reverses."""
    ends = np.flatnonzero(_jumps(series, np.arange(1, len(series)), np.arange(len(series) - 1))) + 1
    pieces = np.split(np.arange(len(series)), ends)
    core = max(range(len(pieces)), key=lambda at: len(pieces[at]))
    kept = list(pieces[core])
    for way, beyond in ((-1, reversed(pieces[:core])), (1, iter(pieces[core + 1 :]))):
        for piece in beyond:
            near, edge = (piece[0], kept[-1]) if way > 0 else (piece[-1], kept[0])
            if abs(series.seconds[near] - series.seconds[edge]) > _MAX_REVERSAL_S:
                break
            if not _jumps(series, np.array([near]), np.array([edge])).any():
                kept = [*kept, *piece] if way > 0 else [*piece, *kept]
    left = np.ones(len(series), dtype=bool)
    left[kept] = False
    if not left.any():
        return series, []
    named = _runs_in_words(series, left, zone)
    why = f"jump by more than {_JUMP_K:g} K in {_JUMP_S / _MINUTE_S:.0f} minutes, as no slab does ({named})"
    return series.only(~left), [_omission_finding(int(left.sum()), why)]


def _jumps(series: _Series, one: NDArray[np.int_], other: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Return whether two readings differ by more than a slab can change between them."""
    apart = np.abs(series.seconds[one] - series.seconds[other])
    change = np.abs(series.celsius[one] - series.celsius[other])
    drifted = _DRIFT_K_H * np.maximum(apart - _JUMP_S, 0.0) / HOUR_S
    return np.asarray(change > _JUMP_K + drifted)


def _find_stuck_readings(series: _Series, zone: ZoneInfo | None) -> tuple[_Series, list[Finding]]:
    """Leave out stretches in which the sensor is stuck."""
    still = np.zeros(len(series), dtype=bool)
    for _, run in groupby(range(len(series)), key=lambda at: series.celsius[at]):
        at = list(run)
        if len(at) >= _STILL_READINGS and series.seconds[at[-1]] - series.seconds[at[0]] >= _STILL_S:
            still[at] = True
    if not still.any():
        return series, []
    why = f"do not change for {_STILL_S / HOUR_S:g} h or more ({_runs_in_words(series, still, zone)})"
    return series.only(~still), [_omission_finding(int(still.sum()), why)]


def _runs_in_words(series: _Series, which: NDArray[np.bool_], zone: ZoneInfo | None) -> str:
    """Return the first few stretches as text."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which.astype(np.int8), [0]]))).reshape(-1, 2)
    named = [_span(series.seconds[start], series.seconds[end - 1], zone) for start, end in edges]
    return _join_few(named)


def _span(start: float, end: float, zone: ZoneInfo | None) -> str:
    return (
        _format_moment(start, zone)
        if start == end
        else f"{_format_moment(start, zone)} to {_format_moment(end, zone)}"
    )


def _join_few(named: list[str]) -> str:
    more = len(named) - _MAX_NAMED
    return "; ".join(named[:_MAX_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _gaps(series: _Series, zone: ZoneInfo | None) -> Iterator[Finding]:
    """Yield one caution that names the stretches without a reading."""
    after = np.flatnonzero(np.diff(series.seconds) > _GAP_S)
    if len(after):
        named = [_span(series.seconds[at], series.seconds[at + 1], zone) for at in after]
        yield Finding(
            f"has gaps of over an hour, which the estimate fills: {_join_few(named)}",
            expected="a reading at least every hour",
            severity="caution",
        )


def _hourly(series: _Series, zone: ZoneInfo | None) -> Iterator[LogReading]:
    """Yield the mean time and the mean temperature of the readings of each hour."""
    hour = np.floor(series.seconds / HOUR_S)
    _, start = np.unique(hour, return_index=True)
    count = np.diff(np.append(start, len(hour)))
    seconds = np.add.reduceat(series.seconds - series.seconds[0], start) / count + series.seconds[0]
    celsius = np.add.reduceat(series.celsius, start) / count
    for second, value in zip(seconds, celsius, strict=True):
        moment = datetime.fromtimestamp(round(float(second)), UTC)
        yield LogReading(moment.astimezone(zone or UTC), float(value))
