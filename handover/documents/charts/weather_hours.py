"""Air, drying and rain hour by hour, with the watering hours shaded."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.documents.charts.chart import CHART_WIDTH, Chart, draw_chart, reader_array
from handover.documents.svg import Drawing, text_width
from handover.schedule.daily_history import peak_drying
from handover.weather.series import requires_credit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from handover.base.arrays import Floats
    from handover.documents.svg import Point
    from handover.documents.wording import Wording
    from handover.units import KindName


_Box = tuple[float, float, float, float]
_EVEN = 0.5  # degrees of the reader, which print as one


def weather_strip(wording: Wording, width: float = CHART_WIDTH) -> Chart:
    """Draw air, drying and rain hour by hour, with the watering hours shaded."""
    weather = wording.schedule.weather
    days = min(max(len(wording.schedule.watering) + 1, 4), 9)
    keep = weather.time <= weather.time[0] + np.timedelta64(days * 24, "h")
    left, right, height = 8.0, width - 8, 192.0
    start, end = weather.time[keep][0], weather.time[keep][-1]
    pace = (right - left) / max(float((end - start) / np.timedelta64(1, "s")), 1.0)

    def x(when: np.datetime64 | datetime) -> float:
        moment = (
            np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "s")
            if isinstance(when, datetime)
            else when
        )
        return left + pace * float((moment - start) / np.timedelta64(1, "s"))

    air = reader_array(wording.schedule.air_c[keep], "temperature", wording)
    history = wording.schedule.history
    inside = (history.time >= start) & (history.time <= end)
    drying = reader_array(history.evaporation[inside], "evaporation", wording)
    drawing = Drawing(
        width, height, wording.say("chart.weather.title"), _weather_words(wording, keep), "weather"
    )
    lanes = {"air": (44.0, 76.0), "drying": (110.0, 134.0), "rain": (154.0, 168.0)}
    xs = [x(each) for each in weather.time[keep]]
    labels = [*_lane_labels(wording, lanes), *_extremes(wording, xs, air, lanes["air"], width)]
    boxes = [each.box for each in labels]
    _watering_hours(drawing, wording, x, right, (26.0, 170.0))
    _midnights(drawing, wording, x, (left, right), height, boxes)
    _curve(drawing, xs, air, lanes["air"], (float(air.min()), float(air.max())), "ink")
    _drying_curve(drawing, [x(each) for each in history.time[inside]], drying, lanes["drying"])
    drawing.line((left, lanes["drying"][1]), (right, lanes["drying"][1]), "rule")
    if wording.schedule.room is None:
        _rain_bars(drawing, xs, weather.precipitation_mm[keep], lanes["rain"])
        drawing.line((left, lanes["rain"][1]), (right, lanes["rain"][1]), "rule")
    _typical_line(drawing, wording, x, right, boxes)
    for label in labels:
        label.draw(drawing)
    way = "-looks" if wording.schedule.cure_mode == "cover" else ""
    striped = any(day.visits for day in wording.schedule.watering)
    key = f"chart.weather.read{way if striped else '-plain'}"
    credit = (
        [wording.say("chart.weather.source", source=weather.source)]
        if requires_credit(weather.source)
        else []
    )
    return draw_chart(drawing, " ".join([wording.say(key), *credit]))


class _Label(NamedTuple):
    """A text of the chart: of a lane, from its left end, or of a high or a low, around its middle."""

    at: Point
    words: str
    of_lane: bool

    @property
    def box(self) -> _Box:
        """Its left, right, top and bottom."""
        (x, y), size = self.at, 13.0 if self.of_lane else 12.0
        wide = text_width(self.words, size, bold=self.of_lane)
        left = x if self.of_lane else x - wide / 2
        return left - 2, left + wide + 2, y - size + 1, y + 4

    def draw(self, drawing: Drawing) -> None:
        """Write it."""
        if self.of_lane:
            drawing.text(self.at, self.words, "soft", 13, bold=True)
        else:
            drawing.text(self.at, self.words, "ink", 12, anchor="middle")


def _lane_labels(wording: Wording, lanes: Mapping[str, tuple[float, float]]) -> Iterator[_Label]:
    """Yield the label of each lane, above it; a room has no rain."""
    in_room = wording.schedule.room is not None
    kinds: dict[str, KindName | None] = {"air": "temperature", "drying": "evaporation"}
    for name in ("air", "drying") if in_room else ("air", "drying", "rain"):
        kind = kinds.get(name)
        unit = wording.quantities.unit_name(kind) if kind else ""
        key = "air-room" if name == "air" and in_room else name
        lift = 34 if name == "air" else 9
        yield _Label((8, lanes[name][0] - lift), wording.say(f"chart.weather.{key}", unit=unit), of_lane=True)


def _upright(
    drawing: Drawing,
    x: float,
    ends: tuple[float, float],
    boxes: Sequence[_Box],
    look: tuple[str, float, str | None] = ("rule", 1.0, None),
) -> None:
    """Draw an upright line from top to foot, left out where a label is."""
    top, foot = ends
    for _, _, above, below in sorted(
        (each for each in boxes if each[0] < x < each[1]), key=lambda box: box[2]
    ):
        if above > top:
            drawing.line((x, top), (x, above), *look)
        top = max(top, below)
    if top < foot:
        drawing.line((x, top), (x, foot), *look)


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


def _drying_curve(drawing: Drawing, xs: Sequence[float], drying: Floats, lane: tuple[float, float]) -> None:
    """Draw the drying as an area from zero to its peak."""
    if not xs:
        return
    points = _points(xs, drying, lane, (0.0, max(float(drying.max(initial=0)), 1e-6)))
    drawing.area([(xs[0], lane[1]), *points, (xs[-1], lane[1])], "sand")
    drawing.curve(points, "warm", 1.5)


def _rain_bars(drawing: Drawing, xs: Sequence[float], rain: Floats, lane: tuple[float, float]) -> None:
    """Draw a bar for each hour of rain."""
    most = max(float(rain.max(initial=0)), 4.0)
    for place, amount in zip(xs, rain, strict=True):
        if amount > 0.05:  # noqa: PLR2004 - a trace draws nothing
            tall = 16 * min(float(amount) / most, 1)
            drawing.rect((place - 2, lane[1] - tall), 3, tall, "water")


def _extremes(
    wording: Wording, xs: Sequence[float], air: Floats, lane: tuple[float, float], width: float
) -> Iterator[_Label]:
    """Yield the high and the low of each stretch of 24 hours beside the curve, where there is room.

    Of air that stays as it is, one of them.
    """
    points = _points(xs, air, lane, (float(air.min()), float(air.max())))
    ends = ((-5.0, np.argmax), (15.0, np.argmin))
    for lift, pick in ends if float(np.ptp(air)) > _EVEN else ends[:1]:
        taken = 0.0
        for first in range(0, len(xs) - 12, 24):
            index = first + int(pick(air[first : first + 24]))
            x, y = points[index]
            if taken + 30 <= x <= width - 18:
                degrees = wording.quantities.fixed_decimals(air[index], 0)
                yield _Label((x, y + lift), f"{degrees}°", of_lane=False)
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
    boxes: Sequence[_Box],
) -> None:
    left, right = reach
    first = wording.schedule.weather.first_hour
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    while x(midnight) < right:
        place = max(x(midnight), left)
        next_one = midnight + timedelta(days=1)
        room = min(x(next_one), right) - place
        if place > left:
            _upright(drawing, place, (26, height - 8), boxes)
        words = wording.speak.short_day(midnight)
        for shorter in (words, wording.speak.weekday_short(midnight)):
            if text_width(shorter, 13) <= room - 6:
                drawing.text((place + 4, height - 10), shorter, "soft", 13)
                break
        midnight = next_one


def _typical_line(
    drawing: Drawing,
    wording: Wording,
    x: Callable[[datetime], float],
    right: float,
    boxes: Sequence[_Box],
) -> None:
    begins = wording.schedule.weather.typical_from
    if begins is None or not x(begins) < right - 4:
        return
    place = x(begins)
    words = wording.say("chart.weather.typical")
    _upright(drawing, place, (4, 194), boxes, ("soft", 1.2, "2 3"))
    room = place + 6 + text_width(words, 12) < drawing.width
    drawing.text((place + 5 if room else place - 5, 14), words, "soft", 12, anchor="start" if room else "end")


def _weather_words(wording: Wording, keep: np.ndarray) -> str:
    schedule = wording.schedule
    air, hours = schedule.air_c[keep], schedule.weather.time[keep]
    peak_hour = peak_drying(schedule.history, hours[0], hours[-1])
    moment = schedule.weather.time[0] if peak_hour is None else peak_hour
    zone = schedule.placement_end.tzinfo
    peak = moment.astype(datetime).replace(tzinfo=UTC).astimezone(zone)
    return wording.say(
        "chart.weather.desc",
        low=wording.quantities.measure(float(air.min()), "temperature"),
        high=wording.quantities.measure(float(air.max()), "temperature"),
        peak=wording.speak.moment(peak).text,
    )
