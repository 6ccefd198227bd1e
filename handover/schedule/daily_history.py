"""The history of a slab, one day at a time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from handover.schedule.model import SlabHistory


@dataclass(frozen=True)
class DayHistory:
    """One day since placement: the surface over its hours, the middle of the slab at its end.

    Attributes:
        day: From 1.
        end: UTC.
        coldest_surface_c: Likely. [degC]
        warmest_surface_c: Likely. [degC]
        equivalent_age_h: Likely. [h]
        hydration: Likely, 0 to 1.
        strength_mpa: Low, likely, high. [MPa]
        highest_evaporation: [kg/m2/h]
        evaporation_mm: Over the day. [mm]
    """

    day: int
    end: datetime
    coldest_surface_c: float
    warmest_surface_c: float
    equivalent_age_h: float
    hydration: float
    strength_mpa: tuple[float, float, float]
    highest_evaporation: float
    evaporation_mm: float


def day_history(history: SlabHistory, day: int) -> DayHistory:
    """Return a day of a slab's history, counted from 1."""
    hours, end = slice((day - 1) * 24, day * 24 + 1), day * 24
    surface = history.temperature_c.likely.surface[hours]
    drying = history.evaporation[hours]
    strength = history.strength_mpa
    low, likely, high = (float(each.middle[end]) for each in (strength.low, strength.likely, strength.high))
    return DayHistory(
        day=day,
        end=history.time[end].astype(datetime).replace(tzinfo=UTC),
        coldest_surface_c=float(surface.min()),
        warmest_surface_c=float(surface.max()),
        equivalent_age_h=float(history.equivalent_age_h.likely.middle[end]),
        hydration=float(history.hydration.likely.middle[end]),
        strength_mpa=(low, likely, high),
        highest_evaporation=float(drying.max()),
        evaporation_mm=float(np.mean(drying)) * (len(drying) - 1),
    )


def strength_on_day(history: SlabHistory, day: float) -> tuple[float, float]:
    """Return the low and the high end of the estimate of strength after so many days, in MPa."""
    ends = (history.strength_mpa.low.middle, history.strength_mpa.high.middle)
    low, high = (float(np.interp(day * 24, history.hours, each)) for each in ends)
    return low, high


def peak_drying(history: SlabHistory, start: np.datetime64, end: np.datetime64) -> np.datetime64 | None:
    """Return the start and end of the hour with the fastest drying, UTC, or None."""
    keep = (history.time >= start) & (history.time <= end)
    drying = history.evaporation[keep]
    return history.time[keep][int(drying.argmax())] if drying.size else None
