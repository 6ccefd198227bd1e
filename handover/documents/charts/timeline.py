"""The time line from the pour, with a flag on each date."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from itertools import groupby, pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.documents.charts.chart import CHART_WIDTH, LABEL, Chart, DayScale, draw_arrow, draw_chart
from handover.documents.charts.labels import LabelFlag, fits, place_labels
from handover.documents.svg import Drawing, text_width
from handover.schedule.coat_after_cover import coat_begins
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords

PITCH, LOW_PITCH = 33.0, 19.0
"""Distance between two rows of flags with two lines, and with one."""
MOST_ROWS = 4
"""More rows of flags have one line each: so many flags stand close together only in long cold."""
GAP = 8.0
"""Space between title and day in one line."""
SLAB_TONES = 12
FLAG_KINDS = (
    MilestoneKind.FIRST_WATER,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.CURING_ENDS,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
)


def time_line(wording: Wording, width: float = CHART_WIDTH) -> Chart:
    """Draw the time line from the pour, with a flag on each "not before" date."""
    milestones = [each for each in wording.dates.owner_milestones if each.kind in FLAG_KINDS and each.when]
    days = _horizon(wording, milestones)
    scale = DayScale(wording.schedule.placement_end, days, 16, width - 16)
    shown = milestones
    edge = scale.right + 14
    labels = [_label(wording, each, scale, in_one_line=True) for each in shown]
    is_low = all(fits(*each, edge) for each in labels)
    flags, levels = place_labels(labels if is_low else [_label(wording, each, scale) for each in shown], edge)
    if not is_low and max(levels, default=0) >= MOST_ROWS:
        is_low, (flags, levels) = True, place_labels(labels, edge)
    pitch = LOW_PITCH if is_low else PITCH
    top = pitch * (max(levels, default=0) + 1) + 8
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
        is_later = words.when is not None and not scale.reaches(words.when.instant)
        head = top - pitch * (level + 1)
        _draw_flag(drawing, banner, (top, head), is_later=is_later)
        _write_label(drawing, wording, words, banner, head, in_one_line=is_low)
    return draw_chart(drawing, wording.say("chart.time-line.read"))


def _horizon(wording: Wording, milestones: Sequence[MilestoneWords]) -> float:
    """Return the length of the time line in days: 28, or a little more if the last flag is just past it."""
    since = [
        (each.when.instant - wording.schedule.placement_end) / timedelta(days=1)
        for each in milestones
        if each.when
    ]
    near = [days for days in since if days <= 35]  # noqa: PLR2004 - a week past day 28
    return max(28.0, *near) if near else 28.0


def _label(
    wording: Wording, words: MilestoneWords, scale: DayScale, *, in_one_line: bool = False
) -> tuple[float, float]:
    """Return the position of the pole of a date, and the width of its label."""
    pole = scale.at(words.when.instant) if words.when else scale.right
    title, day = _label_widths(wording, words)
    return pole, title + GAP + day if in_one_line else max(title, day)


def _label_widths(wording: Wording, words: MilestoneWords) -> tuple[float, float]:
    return (
        text_width(wording.dates.flag_title(words.kind), LABEL, bold=True),
        text_width(words.when.short if words.when else "", LABEL),
    )


def _draw_flag(drawing: Drawing, banner: LabelFlag, ends: tuple[float, float], *, is_later: bool) -> None:
    """Draw a flag from its foot to its head; a date past the end of the line has an arrow at its foot."""
    foot, head = ends
    drawing.line((banner.pole, head), (banner.pole, foot), "ink", 1.5)
    if is_later:
        draw_arrow(drawing, (banner.pole + 8, foot), "ink")
    else:
        drawing.dot((banner.pole, foot), 4.5, "paper", "ink")


def _write_label(
    drawing: Drawing,
    wording: Wording,
    words: MilestoneWords,
    banner: LabelFlag,
    head: float,
    *,
    in_one_line: bool,
) -> None:
    """Write title and day of a flag beside its pole: the day below the title, or after it."""
    title, day = wording.dates.flag_title(words.kind), words.when.short if words.when else ""
    on_right = banner.left >= banner.pole
    x, anchor = (banner.pole + 6, "start") if on_right else (banner.pole - 6, "end")
    if not in_one_line:
        drawing.text((x, head + 12), title, size=LABEL, anchor=anchor, bold=True)
        drawing.text((x, head + 28), day, "soft", LABEL, anchor=anchor)
        return
    of_title, of_day = _label_widths(wording, words)
    at_title, at_day = (x, x + of_title + GAP) if on_right else (x - of_day - 1.5 * GAP, x)
    drawing.text((at_title, head + 12), title, size=LABEL, anchor=anchor, bold=True)
    drawing.text((at_day, head + 12), day, "soft", LABEL, anchor=anchor)


def _slab(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw the slab in section, darker as it becomes stronger; not darkest below the strength on order."""
    history = wording.schedule.history
    strength = history.strength_mpa.likely.middle
    full = max(float(strength.max()), wording.schedule.specified_strength_mpa, 1e-9)
    edges = np.linspace(0, 1, 42) ** 2 * scale.days
    for start, end in pairwise(edges):
        share = float(np.interp((start + end) / 2 * 24, history.hours, strength)) / full
        tone = min(int(share * SLAB_TONES), SLAB_TONES - 1)
        left, right = scale.day(start), scale.day(end)
        drawing.rect((left, top), min(right + 1, scale.right) - left, 26, f"slab{tone}")


def _wet_bar(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw the time in which the slab is kept wet or covered; a cover is on it from the pour."""
    if wording.schedule.covered_for_frost:
        _wet_and_covered(drawing, wording, scale, top)
        return
    start, end = (
        _place(wording, scale, kind) for kind in (MilestoneKind.FIRST_WATER, MilestoneKind.CURING_ENDS)
    )
    start = scale.left if start is None else start
    end = scale.right if end is None else end
    if wording.schedule.curing_method == "insulating blanket":
        _covered_then_damp(drawing, wording, scale, (start, end), top)
        return
    begins = coat_begins(wording.schedule)
    if begins is not None:
        sprayed = min(scale.at(begins), end)
        _bar(drawing, (start, sprayed), top, wording.say("chart.time-line.cover"), ("sand", "warm"))
        start = sprayed
    if start < end:
        words = wording.say(f"chart.time-line.{wording.schedule.cure_mode}")
        _bar(drawing, (start, end), top, words, ("wet", "water"))


def _covered_then_damp(
    drawing: Drawing, wording: Wording, scale: DayScale, reach: tuple[float, float], top: float
) -> None:
    """Draw the time under blankets, then the time until curing ends without them."""
    start, end = reach
    off = _place(wording, scale, MilestoneKind.PROTECTION_ENDS)
    off = end if off is None else min(off, end)
    _bar(drawing, (start, off), top, wording.say("chart.time-line.cover"), ("sand", "warm"))
    if off < end:
        _bar(drawing, (off, end), top, wording.say("chart.time-line.damp"), ("wet", "water"))


def _bar(drawing: Drawing, reach: tuple[float, float], top: float, words: str, inks: tuple[str, str]) -> None:
    """Draw a bar, with its label if there is room."""
    start, end = reach
    drawing.rect((start, top), max(end - start, 2), 17, inks[0], 2)
    if text_width(words, 13, bold=True) + 12 <= end - start:
        drawing.text((start + 6, top + 13), words, inks[1], 13, bold=True)


def _wet_and_covered(drawing: Drawing, wording: Wording, scale: DayScale, top: float) -> None:
    """Draw the days of watering separately from the days on which the slab may freeze and is covered."""
    days = wording.schedule.watering
    zone = ZoneInfo(wording.schedule.timezone)
    ends = _place(wording, scale, MilestoneKind.CURING_ENDS)
    for frozen, run in groupby(days, key=lambda day: day.skipped_because == "frost"):
        held = list(run)
        first, after = held[0].date, held[-1].date + timedelta(days=1)
        start, end = (scale.at(datetime.combine(each, time(), zone)) for each in (first, after))
        if frozen and held[0] is days[0]:
            start = scale.left  # the cover is there before water would be due
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
