"""The hours before a new forecast, from the weather of an earlier issue."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from handover.base.arrays import ONE_HOUR
from handover.errors import Finding
from handover.weather.fit_check import is_near
from handover.weather.series import ARRAYS, WeatherSeries, aware, utc64

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo

    from handover.weather.location import HasLocation


class NamedSeries(NamedTuple):
    """A series, and the name of its file."""

    name: str
    series: WeatherSeries


class JoinedWeather(NamedTuple):
    """A new series with the hours before it.

    Attributes:
        series: The new series, from the earlier hours on.
        used: The indices of the earlier series from which there are hours.
        findings: A caution for each, and a fault for hours that neither has.
    """

    series: WeatherSeries
    used: tuple[int, ...] = ()
    findings: tuple[Finding, ...] = ()


def add_earlier_hours(
    new: NamedSeries, earlier: Sequence[NamedSeries], start: datetime, site: HasLocation
) -> JoinedWeather:
    """Return a series that goes back to the pour as far as earlier weather of the place does.

    Earlier hours keep their origin, and replace none of the new ones. A series that goes back to the pour by
    itself stays as it is.

    Args:
        new: The new weather.
        earlier: The weather of earlier issues, the newest first.
        start: When the first concrete was placed, aware; findings have times in its zone.
        site: Place of the slab.
    """
    joined, used, cautions, gaps = new.series, [], [], []
    for order, each in enumerate(earlier):
        before = each.series.time < joined.time[0]
        if joined.time[0] <= utc64(start) or not before.any() or not is_near(each.series, site):
            continue
        last = each.series.time[before][-1]
        if joined.time[0] - last != ONE_HOUR:
            gaps.append(_gap(new.name, each.name, last, joined.time[0], start.tzinfo))
            continue
        cautions.append(_caution(new.name, each, joined.time[0], start.tzinfo))
        joined = _put_before(joined, each.series, before)
        used.append(order)
    missing = gaps if joined.time[0] > utc64(start) else []
    return JoinedWeather(joined, tuple(used), (*cautions, *missing))


def _put_before(series: WeatherSeries, earlier: WeatherSeries, before: Any) -> WeatherSeries:
    """Return a series with the chosen hours of an earlier one before it."""
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(earlier, name)[before], getattr(series, name)]) for name in ARRAYS
    }
    issued = f", issued {earlier.issued_at:%Y-%m-%d %H:%M %Z}" if earlier.issued_at else ""
    method = (
        f"Hours before {aware(series.time[0]):%Y-%m-%d %H:%M} UTC from the weather of the issue before: "
        f"{earlier.source}{issued}."
    )
    methods = dict.fromkeys((*series.methods, *earlier.methods, method))
    return replace(series, methods=tuple(methods), **columns)


def _caution(file: str, earlier: NamedSeries, begins: np.datetime64, zone: tzinfo | None) -> Finding:
    return Finding(
        f"begins at {_moment(begins, zone)}, after the pour; the hours before it are from the weather of the "
        f"issue before, {earlier.name}",
        file=file,
        severity="caution",
    )


def _gap(file: str, earlier: str, last: np.datetime64, begins: np.datetime64, zone: tzinfo | None) -> Finding:
    return Finding(
        f"begins at {_moment(begins, zone)}; the weather of the issue before, {earlier}, has no hour after "
        f"{_moment(last, zone)}",
        file=file,
        expected="weather without a gap between the two",
    )


def _moment(moment: np.datetime64, zone: tzinfo | None) -> str:
    """Return an instant on the clock of the site."""
    local = aware(moment).astimezone(zone)
    return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"
