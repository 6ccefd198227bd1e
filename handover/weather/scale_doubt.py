"""Celsius under a heading of Fahrenheit, and the reverse: judged by the climate of the site and the month."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.errors import Finding
from handover.practice.rules import general_rules
from handover.units import conversion, to_reader
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.weather.location import HasLocation
    from handover.weather.raw_weather import RawColumn


def doubt_scale(column: RawColumn, heading: str, line: int, site: HasLocation) -> Iterator[Finding]:
    """Yield a caution where the air is far from the climate of the site, and near it in the other scale.

    Args:
        column: The air temperature. [degC]
        heading: What the file calls it.
        line: Line of the heading.
        site: Place of the slab.
    """
    climate, rules = climate_at(site), general_rules()
    air = column.value[np.isfinite(column.value)]
    if climate is None or not air.size:
        return
    usual = float(climate.air_c(column.time[np.isfinite(column.value)]).mean())
    mean = float(air.mean())
    scale, shift = conversion("degF", "degC")
    others = {
        "degC": (mean - shift) / scale,
        "degF": mean * scale + shift,
    }  # had the figures been in this unit
    far = abs(mean - usual)
    for unit, other in others.items():
        if far > rules["air.far-from-climate"] and abs(other - usual) < far - rules["air.far-from-climate"]:
            here, there = (f"{to_reader(each, 'temperature', 'us')[0]:.0f} °F" for each in (mean, usual))
            yield Finding(
                f"the mean of the air is {here} ({mean:.0f} °C), and {there} ({usual:.0f} °C) is usual at "
                f"the site in these weeks; are the figures in {unit}?",
                line=line,
                field=heading,
                expected="the unit of the figures, at the end of the name or in brackets",
                example=f"air_temperature_{unit[-1].lower()}",
                severity="caution",
            )
            return
