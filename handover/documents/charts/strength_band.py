"""The estimate of strength as a band, with the gates of the owner's dates."""

from __future__ import annotations

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
from handover.documents.charts.labels import flag_rows, min_crossings
from handover.documents.quantity_format import significant
from handover.documents.svg import Drawing, text_width
from handover.schedule.daily_history import strength_on_day
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import printed_time
from handover.units import to_reader

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.documents.wording import Wording

GATE_KINDS = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_VEHICLES, MilestoneKind.HEAVY_VEHICLES)


def strength(wording: Wording, width: float = CHART_WIDTH, height: float | None = None) -> Chart:
    """Draw the estimate of strength as a band, with the gates of the owner's dates."""
    history = wording.schedule.history
    days = 28.0
    height = height or width * 0.36 + 116
    left, right, top, bottom = 58.0, width - 14, 36.0, height - 42
    scale = DayScale(wording.schedule.placement_end, days, left, right)
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
    unit = to_reader(1, "strength", wording.units)[1]
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
    drawing.text((2, 14), wording.say("chart.strength.axis", unit=unit), "soft", 13)
    is_slow = likely[hours <= 7 * 24][-1] < max(likely[-1], full) / 2
    points = thin(len(xs))
    upper = [(xs[i], y(high[i])) for i in points]
    lower = [(xs[i], y(low[i])) for i in points]
    drawing.area([*upper, *reversed(lower)], "band")
    drawing.curve([(xs[i], y(likely[i])) for i in points], "ink", 2.5)
    full_strength = wording.say("chart.strength.full", full=wording.quantities.measure(specified, "strength"))
    drawing.line((left, y(full)), (right, y(full)), "soft", 1.2, "2 4")
    drawing.rect((left + 4, y(full) - 17), text_width(full_strength, 13) + 6, 14, "paper")
    drawing.text((left + 6, y(full) - 6), full_strength, "soft", 13)
    _gates(drawing, wording, scale, y, bottom)
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


def _gates(
    drawing: Drawing, wording: Wording, scale: DayScale, y: Callable[[float], float], bottom: float
) -> None:
    poles: list[tuple[float, float]] = []
    labels: list[str] = []
    for kind in GATE_KINDS:
        milestone = wording.schedule.milestone(kind)
        printed = None if milestone is None else printed_time(milestone, scale.start)
        if milestone is None or printed is None:
            continue
        when = wording.speak.printed_time(printed, scale.start)
        needed = milestone.because.required_strength_mpa
        if needed is None:
            continue
        x, names = scale.at(when.instant), [wording.dates.short_title(kind)]
        level = y(to_reader(needed, "strength", wording.units)[0])
        drawing.line((x, bottom), (x, level), "warm", 1.5, "5 3")
        if scale.reaches(when.instant):
            drawing.dot((x, level), 5, "paper", "warm")
        else:
            draw_arrow(drawing, (x + 8, level), "warm")
            names.insert(0, when.short)  # below the name
        poles += [(x, text_width(each, LABEL, bold=True) + 4) for each in names]
        labels += names
    flags = min_crossings(poles, scale.right)
    for words, banner, row in zip(labels, flags, flag_rows(flags), strict=True):
        rightward = banner.left >= banner.pole
        place = (banner.pole + (7 if rightward else -7), bottom - 8 - row * (LABEL + 4))
        drawing.text(place, words, "warm", LABEL, anchor="start" if rightward else "end", bold=True)


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
