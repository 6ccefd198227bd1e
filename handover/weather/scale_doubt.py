"""Celsius under a heading of Fahrenheit, missing signs: judged by the climate of the site and the month."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handover.errors import Finding
from handover.practice.rules import general_rules
from handover.units import conversion, to_reader
from handover.weather.climate import climate_at
from handover.weather.location import Location

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.base.arrays import Floats
    from handover.weather.location import HasLocation
    from handover.weather.raw_weather import RawColumn, TimeArray


def doubt_scale(column: RawColumn, heading: str, line: int, site: HasLocation) -> Iterator[Finding]:
    """Yield a caution where the air is far from the climate of the site, and near it in the other scale.

    Args:
        column: The air temperature. [degC]
        heading: What the file calls it.
        line: Line of the heading.
        site: Place of the slab.
    """
    kept = np.isfinite(column.value)
    climate = climate_at(site)
    if climate is None or not kept.any():
        return
    usual = float(climate.air_c(column.time[kept]).mean())
    air, most = column.value[kept], general_rules()["air.far-from-climate"]
    mean = float(air.mean())
    far = abs(mean - usual)
    guesses = _guesses(air, usual, _other_hemisphere(site, column.time[kept]))
    fitting = [each for each in guesses if far > most and each.distance_k < far - most]
    if fitting:
        best = min(fitting, key=lambda each: each.distance_k)
        alike = [each for each in fitting if each != best and each.distance_k < best.distance_k + most / 2]
        question = ", or ".join(each.question for each in (best, *alike))
        here, there = (f"{to_reader(each, 'temperature', 'us')[0]:.0f} °F" for each in (mean, usual))
        yield Finding(
            f"the mean of the air is {here} ({mean:.0f} °C), and {there} ({usual:.0f} °C) is usual at "
            f"the site in these weeks; {question}?",
            line=line,
            field=heading,
            expected=best.expected,
            example=best.example,
            severity="caution",
        )


@dataclass(frozen=True)
class _Guess:
    """What may be wrong with a file whose air is far from the climate of the site.

    Attributes:
        distance_k: How far the air would then be from the climate. [K]
        question: Whether it is so.
        expected: What to write instead.
        example: A line or a name with it.
    """

    distance_k: float
    question: str
    expected: str
    example: str


def _guesses(air: Floats, usual: float, other_half: float | None) -> Iterator[_Guess]:
    """Yield what may be wrong: the other unit, minus signs that are missing, the other half of the earth.

    Args:
        air: Of the file, without gaps, shape (n,). [degC]
        usual: Of the climate of the site. [degC]
        other_half: Of the climate with the other sign of the latitude, if the place has one. [degC]
    """
    mean = float(air.mean())
    scale, shift = conversion("degF", "degC")
    for unit, other in {"degC": (mean - shift) / scale, "degF": mean * scale + shift}.items():
        yield _Guess(
            abs(other - usual),
            f"are the figures in {unit}",
            "the unit of the figures, at the end of the name or in brackets",
            f"air_temperature_{unit[-1].lower()}",
        )
    if (air >= 0.0).all():
        yield _Guess(
            abs(-mean - usual),
            "are minus signs missing",
            "a minus before each temperature below zero",
            "-8.5",
        )
    if other_half is not None:
        yield _Guess(
            abs(mean - other_half),
            "is the sign of the latitude in the record right",
            "degrees; latitudes south of the equator are negative",
            "latitude = -33.87",
        )


def _other_hemisphere(site: HasLocation, time: TimeArray) -> float | None:
    """Return the mean of the climate at the latitude with the other sign, in degC."""
    if site.latitude is None:
        return None
    climate = climate_at(Location(-site.latitude, site.longitude))
    return None if climate is None else float(climate.air_c(time).mean())
