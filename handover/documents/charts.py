"""Three pictures of a schedule: the time line, the strength band, and the weather with the watering hours.

Each comes with a sentence that says what to read from it. They draw what the schedule holds and compute
nothing but places on the paper.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import groupby, pairwise, product
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from handover.documents.quantity_format import significant
from handover.documents.svg import Drawing, text_width
from handover.schedule.model import MilestoneKind
from handover.units import to_reader

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from handover.base.arrays import Floats
    from handover.documents.svg import Point
    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords
    from handover.units import KindName

CHART_WIDTH = 520.0
LABEL = 14.0
PITCH = 33.0
"""From one row of flags to the next."""
LABEL_GAP = 8.0
"""Least space between two labels in one row."""
SLAB_TONES = 12
FLAG_KINDS = (
    MilestoneKind.FIRST_WATER,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.CURING_ENDS,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
)
GATE_KINDS = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_VEHICLES, MilestoneKind.HEAVY_VEHICLES)


@dataclass(frozen=True)
class Chart:
    """A picture as SVG, and the sentence that says what to read from it."""

    svg: Markup
    read: str

    @property
    def for_paper(self) -> Chart:
        """The same, what it is and what it shows in one title: all that the PDF engine tells a reader."""
        svg = re.sub(r"</title><desc>(.*?)</desc>", r". \1</title>", str(self.svg), count=1)
        return Chart(Markup(svg), self.read)  # noqa: S704 - as it was


def _chart(drawing: Drawing, read: str) -> Chart:
    return Chart(Markup(str(drawing)), read)  # noqa: S704 - every text in a drawing is escaped


class DayScale:
    """Places instants on a line from the pour; the first days get more room than the last (a square root)."""

    def __init__(self, start: datetime, days: float, left: float, right: float) -> None:
        self.start = start
        self.days = days
        self.left = left
        self.right = right

    def day(self, days: float) -> float:
        """Return the place of so many days after the pour."""
        return self.left + (self.right - self.left) * float(np.sqrt(min(max(days / self.days, 0), 1)))

    def at(self, when: datetime) -> float:
        """Return the place of an instant."""
        return self.day((when - self.start) / timedelta(days=1))

    def reaches(self, words: MilestoneWords) -> bool:
        """Tell whether a date lies on the line."""
        return words.when is not None and words.when.instant - self.start <= timedelta(days=self.days)


# ---- labels that keep apart


@dataclass(frozen=True)
class LabelFlag:
    """A label on a pole: where the pole stands, and the span that the label covers."""

    pole: float
    left: float
    right: float

    def covers(self, x: float) -> bool:
        """Tell whether a pole at x would run through the label."""
        return self.left < x < self.right

    def touches(self, other: LabelFlag) -> bool:
        """Tell whether two labels overlap if they stand in one row."""
        return self.left < other.right + LABEL_GAP and other.left < self.right + LABEL_GAP


def label_flag(pole: float, width: float, right_edge: float) -> LabelFlag:
    """Return a flag that flies to the right of its pole, or to the left where the paper ends."""
    return placements(pole, width, right_edge)[0]


def placements(pole: float, width: float, right_edge: float) -> tuple[LabelFlag, ...]:
    """Return the flags that a label may fly as, the better first; there is always one."""
    right, left = LabelFlag(pole, pole + 4, pole + 5 + width), LabelFlag(pole, pole - 5 - width, pole - 4)
    if right.right > right_edge:
        return (left,)
    return (right, left) if left.left >= 0 else (right,)


def place_labels(
    labels: Sequence[tuple[float, float]], right_edge: float
) -> tuple[Sequence[LabelFlag], list[int]]:
    """Return a flag and a row for each label, given by its pole and its width.

    As few as can be fly to the left, so that no pole runs through a label, if that can be.
    """
    choices = sorted(
        product(*(placements(pole, width, right_edge) for pole, width in labels)),
        key=lambda flags: sum(each.left < each.pole for each in flags),
    )
    tidy = next((flags for flags in choices if not count_crossings(flags, flag_rows(flags))), choices[0])
    return tidy, flag_rows(tidy)


def min_crossings(labels: Sequence[tuple[float, float]], right_edge: float) -> Sequence[LabelFlag]:
    """Return a flag for each label where poles are taller than labels: as few cross as can be."""
    choices = product(*(placements(pole, width, right_edge) for pole, width in labels))
    return min(
        choices,
        key=lambda flags: (
            sum(each.covers(other.pole) for each in flags for other in flags),
            sum(each.left < each.pole for each in flags),
        ),
    )


def flag_rows(flags: Sequence[LabelFlag]) -> list[int]:
    """Return a row for each flag, 0 the lowest: no label on another, and each above the poles it covers."""
    placed: dict[int, int] = {}
    waiting = sorted(range(len(flags)), key=lambda each: (-flags[each].pole, each))
    while waiting:
        index = next((each for each in waiting if not _cover_counts(flags, each, waiting)), waiting[0])
        least = max((placed[each] + 1 for each in _cover_counts(flags, index, placed)), default=0)
        free = (row for row in range(least, least + len(flags)) if _clear(flags, index, row, placed))
        placed[index] = next(free)
        waiting.remove(index)
    return [placed[index] for index in range(len(flags))]


def count_crossings(flags: Sequence[LabelFlag], levels: Sequence[int]) -> bool:
    """Tell whether a pole runs through a label that stands lower than its own."""
    placed = list(zip(flags, levels, strict=True))
    return any(row < above and one.covers(other.pole) for one, row in placed for other, above in placed)


def _cover_counts(flags: Sequence[LabelFlag], index: int, among: Iterable[int]) -> list[int]:
    """Return the flags whose poles a label covers."""
    return [each for each in among if each != index and flags[index].covers(flags[each].pole)]


def _clear(flags: Sequence[LabelFlag], index: int, row: int, placed: dict[int, int]) -> bool:
    """Tell whether no label in the row is in the way; of as many rows as there are flags, one is clear."""
    return not any(there == row and flags[index].touches(flags[other]) for other, there in placed.items())


# ---- the time line


def time_line(wording: Wording, width: float = CHART_WIDTH) -> Chart:
    """Draw the line of time from the pour, with a flag on each "not before" date."""
    milestones = [each for each in wording.dates.owner_milestones if each.kind in FLAG_KINDS and each.when]
    days = _horizon(wording, milestones)
    scale = DayScale(wording.schedule.placement_end, days, 16, width - 16)
    shown = [each for each in milestones if scale.reaches(each)]
    flags, levels = place_labels([_label(wording, each, scale) for each in shown], scale.right + 14)
    top = PITCH * (max(levels, default=0) + 1) + 8
    listed = " ".join(
        wording.say("chart.time-line.item", title=each.title, when=each.when.text)
        for each in shown
        if each.when
    )
    drawing = Drawing(
        width,
        top + 78,
        wording.say("chart.time-line.title", days=round(days)),
        wording.say("chart.time-line.desc", list=listed),
        "time-line",
    )
    _slab(drawing, wording, scale, top)
    _wet_bar(drawing, wording, scale, top + 32)
    _day_ticks(drawing, wording, scale, top + 32 + 20)
    for words, banner, level in zip(shown, flags, levels, strict=True):
        _draw_flag(drawing, wording, words, banner, top, top - PITCH * (level + 1))
    return _chart(drawing, wording.say("chart.time-line.read"))


def _horizon(wording: Wording, milestones: Sequence[MilestoneWords]) -> float:
    """Return the days the time line reaches: 28, or a little more when the last flag falls just past it."""
    since = [
        (each.when.instant - wording.schedule.placement_end) / timedelta(days=1)
        for each in milestones
        if each.when
    ]
    near = [days for days in since if days <= 35]  # noqa: PLR2004 - a week past day 28
    return max(28.0, *near) if near else 28.0


def _label(wording: Wording, words: MilestoneWords, scale: DayScale) -> tuple[float, float]:
    """Return where the pole of a date stands, and how wide its label is."""
    pole = scale.at(words.when.instant) if words.when else scale.right
    wide = max(
        text_width(wording.dates.short_title(words.kind), LABEL, bold=True),
        text_width(words.when.short if words.when else "", LABEL),
    )
    return pole, wide


def _draw_flag(
    drawing: Drawing, wording: Wording, words: MilestoneWords, banner: LabelFlag, foot: float, head: float
) -> None:
    drawing.line((banner.pole, head), (banner.pole, foot), "ink", 1.5)
    drawing.dot((banner.pole, foot), 4.5, "paper", "ink")
    left = banner.left >= banner.pole
    x, anchor = (banner.pole + 6, "start") if left else (banner.pole - 6, "end")
    drawing.text((x, head + 12), wording.dates.short_title(words.kind), size=LABEL, anchor=anchor, bold=True)
    drawing.text((x, head + 28), words.when.short if words.when else "", "soft", LABEL, anchor=anchor)


def _slab(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw the slab in section, darker as it grows stronger."""
    history = wording.schedule.history
    strength = history.strength_mpa.likely.middle
    full = max(float(strength.max()), 1e-9)
    edges = np.linspace(0, 1, 42) ** 2 * scale.days
    for start, end in pairwise(edges):
        share = float(np.interp((start + end) / 2 * 24, history.hours, strength)) / full
        tone = min(int(share * SLAB_TONES), SLAB_TONES - 1)
        left, right = scale.day(start), scale.day(end)
        drawing.rect((left, top), min(right + 1, scale.right) - left, 26, f"slab{tone}")


def _wet_bar(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw from when to when the slab is kept wet or covered; a cover lies on it from the pour."""
    if wording.schedule.covered_for_frost:
        _wet_and_covered(drawing, wording, scale, top)
        return
    start, end = (
        _place(wording, scale, kind) for kind in (MilestoneKind.FIRST_WATER, MilestoneKind.CURING_ENDS)
    )
    start = scale.left if start is None else start
    end = scale.right if end is None else end
    _bar(
        drawing,
        (start, end),
        top,
        wording.say(f"chart.time-line.{wording.schedule.cure_mode}"),
        ("wet", "water"),
    )


def _bar(drawing: Drawing, reach: tuple[float, float], top: float, words: str, inks: tuple[str, str]) -> None:
    """Draw a bar with its words, where they have room."""
    start, end = reach
    drawing.rect((start, top), max(end - start, 2), 17, inks[0], 2)
    if text_width(words, 13, bold=True) + 12 <= end - start:
        drawing.text((start + 6, top + 13), words, inks[1], 13, bold=True)


def _wet_and_covered(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw the days on which the slab is watered apart from those on which it may freeze and is covered."""
    days = wording.schedule.watering
    zone = ZoneInfo(wording.schedule.timezone)
    ends = _place(wording, scale, MilestoneKind.CURING_ENDS)
    for frozen, run in groupby(days, key=lambda day: day.skipped_because == "frost"):
        held = list(run)
        first, after = held[0].date, held[-1].date + timedelta(days=1)
        start, end = (scale.at(datetime.combine(each, time(), zone)) for each in (first, after))
        end = min(end, scale.right) if held[-1] is not days[-1] or ends is None else max(ends, start)
        words = wording.say(f"chart.time-line.{'frost' if frozen else 'wet'}")
        inks = ("sand", "warm") if frozen else ("wet", "water")
        _bar(drawing, (max(start, scale.left), end), top, words, inks)


def _place(wording: Wording, scale: DayScale, kind: MilestoneKind) -> float | None:
    milestone = wording.schedule.milestone(kind)
    if milestone is None or milestone.not_before is None:
        return None
    return scale.at(wording.dates.not_before(milestone.not_before, kind).instant)


def _day_ticks(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    drawing.line((scale.left, top + 2), (scale.right, top + 2), "rule")
    taken = -1.0
    for day in (0, 1, 3, 7, 14, 21, 28):
        x = scale.day(day)
        drawing.line((x, top - 2), (x, top + 6), "soft")
        words = wording.dates.since_pour(day)
        half = text_width(words, 13) / 2
        middle = min(max(x, half + 2), drawing.width - half - 2)
        if middle - half > taken:
            drawing.text((middle, top + 21), words, "soft", 13, anchor="middle")
            taken = middle + half + 6


# ---- strength


def strength(wording: Wording, width: float = CHART_WIDTH) -> Chart:
    """Draw the estimate of strength as a band, with the gates of the owner's dates."""
    history = wording.schedule.history
    days = 28.0
    height = width * 0.36 + 116
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
    thin = _thin(len(xs))
    upper = [(xs[i], y(high[i])) for i in thin]
    lower = [(xs[i], y(low[i])) for i in thin]
    drawing.area([*upper, *reversed(lower)], "band")
    drawing.curve([(xs[i], y(likely[i])) for i in thin], "ink", 2.5)
    full_strength = wording.say("chart.strength.full", full=wording.quantities.measure(specified, "strength"))
    drawing.line((left, y(full)), (right, y(full)), "soft", 1.2, "2 4")
    drawing.rect((left + 4, y(full) - 17), text_width(full_strength, 13) + 6, 14, "paper")
    drawing.text((left + 6, y(full) - 6), full_strength, "soft", 13)
    _gates(drawing, wording, scale, y, bottom)
    _strength_days(drawing, wording, scale, bottom)
    return _chart(drawing, wording.say("chart.strength.read"))


def _strength_words(wording: Wording, days: float) -> str:
    history = wording.schedule.history

    def at(values: Floats, day: float) -> str:
        return wording.quantities.measure(float(np.interp(day * 24, history.hours, values)), "strength")

    low, high = history.strength_mpa.low.middle, history.strength_mpa.high.middle
    return wording.say(
        "chart.strength.desc",
        days=round(days),
        low7=at(low, 7),
        high7=at(high, 7),
        low=at(low, days),
        high=at(high, days),
        full=wording.quantities.measure(wording.schedule.specified_strength_mpa, "strength"),
    )


def _gates(
    drawing: Drawing, wording: Wording, scale: DayScale, y: Callable[[float], float], bottom: float
) -> None:
    poles, labels = [], []
    for kind in GATE_KINDS:
        milestone = wording.schedule.milestone(kind)
        if milestone is None or milestone.not_before is None:
            continue
        needed = milestone.because.required_strength_mpa
        if needed is None:
            continue
        x = scale.at(wording.dates.not_before(milestone.not_before, kind).instant)
        level = y(to_reader(needed, "strength", wording.units)[0])
        drawing.line((x, bottom), (x, level), "warm", 1.5, "5 3")
        drawing.dot((x, level), 5, "paper", "warm")
        poles.append((x, text_width(wording.dates.short_title(kind), LABEL, bold=True) + 4))
        labels.append(wording.dates.short_title(kind))
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


# ---- weather


def weather_strip(wording: Wording, width: float = CHART_WIDTH) -> Chart:
    """Draw air, drying and rain hour by hour, with the watering hours shaded."""
    weather = wording.schedule.weather
    days = min(max(len(wording.schedule.watering) + 1, 4), 9)
    keep = weather.time <= weather.time[0] + np.timedelta64(days * 24, "h")
    left, right, height = 8.0, width - 8, 216.0
    start, end = weather.time[keep][0], weather.time[keep][-1]
    pace = (right - left) / max(float((end - start) / np.timedelta64(1, "s")), 1.0)

    def x(when: np.datetime64 | datetime) -> float:
        moment = (
            np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "s")
            if isinstance(when, datetime)
            else when
        )
        return left + pace * float((moment - start) / np.timedelta64(1, "s"))

    air = reader_array(weather.air_c[keep], "temperature", wording)
    history = wording.schedule.history
    inside = (history.time >= start) & (history.time <= end)
    drying = reader_array(history.evaporation[inside], "evaporation", wording)
    drawing = Drawing(
        width, height, wording.say("chart.weather.title"), _weather_words(wording, keep, inside), "weather"
    )
    lanes = {"air": (46.0, 86.0), "drying": (124.0, 154.0), "rain": (174.0, 190.0)}
    _watering_hours(drawing, wording, x, right, (26.0, 194.0))
    _midnights(drawing, wording, x, (left, right), height)
    xs = [x(each) for each in weather.time[keep]]
    _lane(drawing, wording, "air", "temperature", lanes["air"])
    _curve(drawing, xs, air, lanes["air"], (float(air.min()), float(air.max())), "ink")
    _extremes(drawing, wording, xs, air, lanes["air"])
    _lane(drawing, wording, "drying", "evaporation", lanes["drying"])
    dry_xs = [x(each) for each in history.time[inside]]
    peak = max(float(drying.max(initial=0)), 1e-6)
    floor = lanes["drying"][1]
    if dry_xs:
        points = _points(dry_xs, drying, lanes["drying"], (0.0, peak))
        drawing.area([(dry_xs[0], floor), *points, (dry_xs[-1], floor)], "sand")
        drawing.curve(points, "warm", 1.5)
    drawing.line((left, floor), (right, floor), "rule")
    _lane(drawing, wording, "rain", None, lanes["rain"])
    rain = weather.precipitation_mm[keep]
    most = max(float(rain.max(initial=0)), 4.0)
    for place, amount in zip(xs, rain, strict=True):
        if amount > 0.05:  # noqa: PLR2004 - a trace draws nothing
            tall = 16 * min(float(amount) / most, 1)
            drawing.rect((place - 2, lanes["rain"][1] - tall), 3, tall, "water")
    drawing.line((left, lanes["rain"][1]), (right, lanes["rain"][1]), "rule")
    _typical_line(drawing, wording, x, right)
    key = (
        "chart.weather.read"
        if any(day.visits for day in wording.schedule.watering)
        else "chart.weather.read-plain"
    )
    return _chart(drawing, wording.say(key))


def _lane(
    drawing: Drawing, wording: Wording, name: str, kind: KindName | None, lane: tuple[float, float]
) -> None:
    reader = wording.quantities.unit_name(kind) if kind else ""
    lift = 34 if name == "air" else 9
    drawing.text(
        (8, lane[0] - lift), wording.say(f"chart.weather.{name}", unit=reader), "soft", 13, bold=True
    )


def _points(
    xs: Sequence[float], values: Floats, lane: tuple[float, float], reach: tuple[float, float]
) -> list[Point]:
    low, high = reach
    span = max(high - low, 1e-6)
    return [
        (x, lane[1] - (lane[1] - lane[0]) * (float(v) - low) / span) for x, v in zip(xs, values, strict=True)
    ]


def _curve(
    drawing: Drawing,
    xs: Sequence[float],
    values: Floats,
    lane: tuple[float, float],
    reach: tuple[float, float],
    ink: str,
) -> None:
    drawing.curve(_points(xs, values, lane, reach), ink, 2)


def _extremes(
    drawing: Drawing, wording: Wording, xs: Sequence[float], air: Floats, lane: tuple[float, float]
) -> None:
    """Write the high and the low of each stretch of 24 hours beside the curve, where there is room."""
    points = _points(xs, air, lane, (float(air.min()), float(air.max())))
    for lift, pick in ((-5.0, np.argmax), (15.0, np.argmin)):
        taken = 0.0
        for first in range(0, len(xs) - 12, 24):
            index = first + int(pick(air[first : first + 24]))
            x, y = points[index]
            if taken + 30 <= x <= drawing.width - 18:
                drawing.text(
                    (x, y + lift),
                    f"{wording.quantities.fixed_decimals(air[index], 0)}°",
                    "ink",
                    12,
                    anchor="middle",
                )
                taken = x


def _watering_hours(
    drawing: Drawing,
    wording: Wording,
    x: Callable[[datetime], float],
    right: float,
    reach: tuple[float, float],
) -> None:
    for day in wording.schedule.watering:
        for visit in day.visits:
            start, end = x(visit.start), x(visit.end)
            if start < right:
                drawing.rect((start, reach[0]), max(end - start, 2.0), reach[1] - reach[0], "wet")


def _midnights(
    drawing: Drawing,
    wording: Wording,
    x: Callable[[datetime], float],
    reach: tuple[float, float],
    height: float,
) -> None:
    left, right = reach
    first = wording.schedule.weather.first_hour
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    while x(midnight) < right:
        place = max(x(midnight), left)
        next_one = midnight + timedelta(days=1)
        room = min(x(next_one), right) - place
        if place > left:
            drawing.line((place, 26), (place, height - 8), "rule")
        words = wording.speak.short_day(midnight)
        for shorter in (words, wording.speak.weekday_short(midnight)):
            if text_width(shorter, 13) <= room - 6:
                drawing.text((place + 4, height - 10), shorter, "soft", 13)
                break
        midnight = next_one


def _typical_line(drawing: Drawing, wording: Wording, x: Callable[[datetime], float], right: float) -> None:
    begins = wording.schedule.weather.typical_from
    if begins is None or not x(begins) < right - 4:
        return
    place = x(begins)
    words = wording.say("chart.weather.typical")
    drawing.line((place, 4), (place, 194), "soft", 1.2, "2 3")
    room = place + 6 + text_width(words, 12) < drawing.width
    drawing.text((place + 5 if room else place - 5, 14), words, "soft", 12, anchor="start" if room else "end")


def _weather_words(wording: Wording, keep: np.ndarray, inside: np.ndarray) -> str:
    schedule = wording.schedule
    air = schedule.weather.air_c[keep]
    drying = schedule.history.evaporation[inside]
    moment = schedule.history.time[inside][int(drying.argmax())] if drying.size else schedule.weather.time[0]
    zone = schedule.placement_end.tzinfo
    peak = moment.astype(datetime).replace(tzinfo=UTC).astimezone(zone)
    return wording.say(
        "chart.weather.desc",
        low=wording.quantities.measure(float(air.min()), "temperature"),
        high=wording.quantities.measure(float(air.max()), "temperature"),
        peak=wording.speak.moment(peak).text,
    )


# ---- small helps


def reader_array(values: Floats, kind: KindName, wording: Wording) -> Floats:
    """Return an array in the reader's unit."""
    zero = to_reader(0, kind, wording.units)[0]
    one = to_reader(1, kind, wording.units)[0]
    return values * (one - zero) + zero


def nice_ticks(highest: float, count: int = 4) -> list[float]:
    """Return round numbers from 0 to just past the highest value."""
    rough = max(highest, 1e-9) / count
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(float(power * each) for each in (1, 2, 2.5, 5, 10) if power * each >= rough)
    return [step * each for each in range(int(np.ceil(highest / step - 1e-9)) + 1)]


def _thin(length: int, most: int = 140) -> list[int]:
    """Return the indices of at most so many points, close together early and always with the last."""
    if length <= most:
        return list(range(length))
    picked = np.unique((np.linspace(0, 1, most) ** 2 * (length - 1)).round().astype(int))
    return [int(each) for each in picked]
