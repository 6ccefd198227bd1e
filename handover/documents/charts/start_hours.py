"""Start hours side by side: bars of the fastest drying, and a band for each danger over its hours."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from handover.documents.charts.chart import Chart, draw_chart
from handover.documents.svg import Drawing, text_width
from handover.schedule.start_hours import HARDSHIP, HARM
from handover.units import to_reader

if TYPE_CHECKING:
    from handover.documents.words.starts import StartWording
    from handover.schedule.start_hours import StartHour

WIDTH = 760.0
_TEXT = 12.0
_ROW = 19.0
_BARS = (52.0, 112.0)
"""Top and foot of the bars of drying."""

_SHADES = {"best": "wet", "runner-up": "wash"}


class _Columns(NamedTuple):
    """A column for each start: the left edge of the first, and their width."""

    left: float
    wide: float

    def at(self, number: int) -> float:
        """Return the left edge of a column."""
        return self.left + number * self.wide


def start_hours(wording: StartWording, width: float = WIDTH) -> Chart:
    """Draw the starts of a comparison: hours across, dangers as bands."""
    comparison, say = wording.comparison, wording.say
    starts = comparison.starts
    codes = [code for code in (*HARM, *HARDSHIP) if any(code in each.codes for each in starts)]
    labels = [say(f"starts.row.{code}") for code in codes]
    unit = wording.quantities.unit_name("evaporation")
    left = max((text_width(each, _TEXT) for each in labels), default=0.0)
    left = min(max(left + 14, 110.0), width / 3)
    columns = _Columns(left, (width - left - 4) / len(starts))
    foot = _BARS[1] + 6 + _ROW * len(codes)
    best, against = wording.verdict[0]
    drawing = Drawing(
        width,
        foot + 42,
        say("starts.chart.title"),
        say("starts.chart.desc", count=len(starts), best=best, against=" ".join(against)),
        "start-hours",
    )
    _shade_best_two(drawing, wording, columns, foot)
    drawing.text((0, 12), say("starts.chart.drying", unit=unit), "soft", _TEXT, bold=True)
    _bars(drawing, wording, columns)
    for row, (code, label) in enumerate(zip(codes, labels, strict=True)):
        top = _BARS[1] + 6 + _ROW * row
        drawing.line((0, top + _ROW - 1), (width - 4, top + _ROW - 1), "rule", 0.5)
        drawing.text((0, top + 13), label, size=_TEXT)
        _band(drawing, starts, code, columns, top)
    _hours(drawing, wording, columns, foot)
    return draw_chart(drawing, say("starts.chart.read"))


def _shade_best_two(drawing: Drawing, wording: StartWording, columns: _Columns, foot: float) -> None:
    """Shade the columns of the best start and of the runner-up, with their names above them."""
    for (key, shade), number in zip(_SHADES.items(), wording.comparison.order, strict=False):
        x = columns.at(number)
        drawing.rect((x, 48), columns.wide, foot - 44, shade, 2)
        label = wording.say(f"starts.chart.{key}")
        half = text_width(label, _TEXT, bold=True) / 2
        middle = min(x + columns.wide / 2, drawing.width - half)
        lift = 44.0 if key == "best" else 30.0
        drawing.text((middle, lift), label, size=_TEXT, anchor="middle", bold=True)


def _bars(drawing: Drawing, wording: StartWording, columns: _Columns) -> None:
    """Draw the fastest drying of each start, darker the limit that it passes, and the two limits."""
    comparison = wording.comparison
    top, foot = _BARS
    highest = max(comparison.precaution_limit * 1.1, *(each.peak_drying for each in comparison.starts))
    tall = (foot - top) / highest
    for number, start in enumerate(comparison.starts):
        ink = _drying_ink(start.peak_drying, comparison.watch_limit, comparison.precaution_limit)
        height = start.peak_drying * tall
        gap = min(2.0, columns.wide / 5)
        drawing.rect((columns.at(number) + gap, foot - height), columns.wide - 2 * gap, height, ink)
    for limit in (comparison.watch_limit, comparison.precaution_limit):
        y = foot - limit * tall
        drawing.line((columns.left, y), (drawing.width - 4, y), "soft", 0.8, "3 3")
        value = to_reader(limit, "evaporation", wording.reader.units)[0]
        label = wording.quantities.round_number(value, 2)
        drawing.text((columns.left - 5, y + 4), label, "soft", _TEXT, anchor="end")
    drawing.line((columns.left, foot), (drawing.width - 4, foot), "rule")


def _drying_ink(peak: float, watch: float, precaution: float) -> str:
    return "slab4" if peak < watch else "sand" if peak < precaution else "warm"


def _band(drawing: Drawing, starts: tuple[StartHour, ...], code: str, columns: _Columns, top: float) -> None:
    """Draw a band over each run of starts that a danger meets."""
    ink = "warm" if code in HARM else "slab8"
    for is_met, run in groupby(range(len(starts)), key=lambda number: code in starts[number].codes):
        numbers = [*run]
        if is_met:
            wide = columns.wide * len(numbers)
            drawing.rect((columns.at(numbers[0]) + 0.5, top + 3), wide - 1, _ROW - 7, ink, 2)


def _hours(drawing: Drawing, wording: StartWording, columns: _Columns, foot: float) -> None:
    """Write the hour of each start that has room, and the day below its first."""
    starts = wording.comparison.starts
    right = day_until = 0.0
    day = None
    for number, start in enumerate(starts):
        x, hour = columns.at(number), wording.speak.column_hour(start.start)
        middle, half = x + columns.wide / 2, text_width(hour, _TEXT) / 2
        if middle - half >= right:
            drawing.text((middle, foot + 15), hour, "soft", _TEXT, anchor="middle")
            right = middle + half + 3
        if start.start.date() != day:
            day = start.start.date()
            if number:
                drawing.line((x, 48), (x, foot + 34), "rule", 1)
            label = wording.speak.short_day(start.start)
            if x >= day_until and x + text_width(label, _TEXT) < drawing.width:
                drawing.text((x + 3, foot + 34), label, "ink", _TEXT, bold=True)
                day_until = x + text_width(label, _TEXT, bold=True) + 6
