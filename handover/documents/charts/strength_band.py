"""The estimate of strength as a band, with the gates of the owner's dates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.documents.charts.chart import (
    CHART_WIDTH,
    LABEL,
    Chart,
    DayScale,
    draw_arrow,
    draw_chart,
    nice_ticks,
    reader_array,
    thin,
)
from handover.documents.charts.labels import LabelFlag, place_labels
from handover.documents.quantity_format import significant
from handover.documents.svg import Drawing, text_width
from handover.schedule.daily_history import strength_on_day
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import printed_time
from handover.units import to_reader

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from handover.documents.wording import Wording

ROW, GAP, SAMPLE = LABEL + 4, 12.0, 20.0
"""Distance between two rows of labels, from a name to its date, and the length of the line in the key."""
FULL_DASH = "2 4"
GATE_KINDS = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_VEHICLES, MilestoneKind.HEAVY_VEHICLES)


def strength(wording: Wording, width: float = CHART_WIDTH, height: float | None = None) -> Chart:
    """Draw the estimate of strength as a band, with the gates of the owner's dates."""
    history = wording.schedule.history
    days = 28.0
    height = height or width * 0.36 + 116
    left, right, bottom = 58.0, width - 14, height - 42
    scale = DayScale(wording.schedule.placement_end, days, left, right)
    gates = _labelled_gates(wording, scale)
    key, key_width = _key(wording)
    unit = to_reader(1, "strength", wording.units)[1]
    axis = wording.say("chart.strength.axis", unit=unit)
    in_one_line = text_width(axis, 13) + key_width + 12 <= width
    head = 18.0 if in_one_line else 34.0
    top = head + ROW * (max((each.row for each in gates), default=0) + 1) + 6
    keep = history.hours <= days * 24
    hours = history.hours[keep]
    low, likely, high = (
        reader_array(each.middle[keep], "strength", wording)
        for each in (history.strength_mpa.low, history.strength_mpa.likely, history.strength_mpa.high)
    )
    specified = wording.schedule.specified_strength_mpa
    full = significant(to_reader(specified, "strength", wording.units)[0], 3)
    ticks = nice_ticks(max(float(high.max()), full))

    def y(value: float) -> float:
        return bottom - (bottom - top) * value / ticks[-1]

    xs = [scale.day(hour / 24) for hour in hours]
    drawing = Drawing(
        width,
        height,
        wording.say("chart.strength.title"),
        _strength_words(wording, days),
        "strength",
    )
    for tick in ticks:
        drawing.line((left, y(tick)), (right, y(tick)), "wash" if tick else "soft")
        drawing.text(
            (left - 8, y(tick) + 5), wording.quantities.round_number(tick, 3), "soft", 13, anchor="end"
        )
    drawing.text((2, 14), axis, "soft", 13)
    is_slow = likely[hours <= 7 * 24][-1] < max(likely[-1], full) / 2
    points = thin(len(xs))
    upper = [(xs[i], y(high[i])) for i in points]
    lower = [(xs[i], y(low[i])) for i in points]
    drawing.area([*upper, *reversed(lower)], "band")
    drawing.curve([(xs[i], y(likely[i])) for i in points], "ink", 2.5)
    drawing.line((left, y(full)), (right, y(full)), "soft", 1.2, FULL_DASH)
    _draw_key(drawing, key, (right - key_width, 10 if in_one_line else 26))
    _draw_gates(drawing, wording, gates, y, (top, bottom))
    _strength_days(drawing, wording, scale, bottom)
    return draw_chart(drawing, wording.say("chart.strength.read-slow" if is_slow else "chart.strength.read"))


def _strength_words(wording: Wording, days: float) -> str:
    history = wording.schedule.history
    low7, high7, low, high = (
        wording.quantities.measure(each, "strength")
        for day in (7, days)
        for each in strength_on_day(history, day)
    )
    return wording.say(
        "chart.strength.desc",
        days=round(days),
        low7=low7,
        high7=high7,
        low=low,
        high=high,
        full=wording.quantities.measure(wording.schedule.specified_strength_mpa, "strength"),
    )


@dataclass(frozen=True)
class _Gate:
    """A date that waits for a strength: what and when, the strength in MPa, the flag and row of its label."""

    title: str
    day: str
    needed_mpa: float
    flag: LabelFlag
    row: int

    @property
    def is_later(self) -> bool:
        """Whether its date is past the end of the chart, where the label names it."""
        return bool(self.day)


def _labelled_gates(wording: Wording, scale: DayScale) -> list[_Gate]:
    """Return the gates of the chart with the places of their labels; row 0 is the lowest."""
    found: list[tuple[str, str, float]] = []
    labels: list[tuple[float, float]] = []
    for kind in GATE_KINDS:
        milestone = wording.schedule.milestone(kind)
        printed = None if milestone is None else printed_time(milestone, scale.start)
        needed = None if milestone is None else milestone.because.required_strength_mpa
        if printed is None or needed is None:
            continue
        when, title = wording.speak.printed_time(printed, scale.start), wording.dates.short_title(kind)
        day = "" if scale.reaches(when.instant) else when.short
        found.append((title, day, needed))
        labels.append((scale.at(when.instant), _title_width(title) + (_day_width(day) if day else 0)))
    flags, rows = place_labels(labels, scale.right + 10)
    return [_Gate(*each, flag, row) for each, flag, row in zip(found, flags, rows, strict=True)]


def _title_width(title: str) -> float:
    return text_width(title, LABEL, bold=True)


def _day_width(day: str) -> float:
    return GAP + text_width(day, LABEL)


def _draw_gates(
    drawing: Drawing,
    wording: Wording,
    gates: Sequence[_Gate],
    y: Callable[[float], float],
    ends: tuple[float, float],
) -> None:
    """Draw a pole for each gate: broken up to the strength that it needs, then thin up to its label."""
    top, bottom = ends
    for gate in gates:
        x, level = gate.flag.pole, y(to_reader(gate.needed_mpa, "strength", wording.units)[0])
        head = top - 4 - ROW * (gate.row + 1)
        drawing.line((x, level), (x, head), "warm", 0.8)
        drawing.line((x, bottom), (x, level), "warm", 1.5, "5 3")
        if gate.is_later:
            draw_arrow(drawing, (x + 8, level), "warm")
        else:
            drawing.dot((x, level), 5, "paper", "warm")
        _write_gate(drawing, gate, head + 13)


def _write_gate(drawing: Drawing, gate: _Gate, base: float) -> None:
    """Write the name of a gate beside its pole, and after it the date where the chart does not reach."""
    x, is_right = gate.flag.pole, gate.flag.left >= gate.flag.pole
    anchor = "start" if is_right else "end"
    at_title, at_day = x + 6, x + 6 + _title_width(gate.title) + GAP
    if not is_right:
        at_title, at_day = x - 6 - (_day_width(gate.day) if gate.day else 0), x - 6
    drawing.text((at_title, base), gate.title, "warm", LABEL, anchor=anchor, bold=True)
    if gate.day:
        drawing.text((at_day, base), gate.day, "warm", LABEL, anchor=anchor)


def _key(wording: Wording) -> tuple[str, float]:
    """Return the words for the dotted line of the strength on order, and their width with its sample."""
    full = wording.quantities.measure(wording.schedule.specified_strength_mpa, "strength")
    words = wording.say("chart.strength.full", full=full)
    return words, SAMPLE + 5 + text_width(words, 13)


def _draw_key(drawing: Drawing, words: str, at: tuple[float, float]) -> None:
    """Draw a sample of the dotted line, with its words: beside the chart they cross neither line nor band."""
    x, y = at
    drawing.line((x, y), (x + SAMPLE, y), "soft", 1.2, FULL_DASH)
    drawing.text((x + SAMPLE + 5, y + 4), words, "soft", 13)


def _strength_days(drawing: Drawing, wording: Wording, scale: DayScale, bottom: float) -> None:
    taken = -1.0
    for day in (0, 1, 3, 7, 14, 28):
        x = scale.day(day)
        drawing.line((x, bottom), (x, bottom + 5), "soft")
        words = wording.dates.since_pour(day)
        half = text_width(words, 13) / 2
        middle = min(x, drawing.width - half - 2)
        if middle - half > taken:
            drawing.text((middle, bottom + 21), words, "soft", 13, anchor="middle")
            taken = middle + half + 6
