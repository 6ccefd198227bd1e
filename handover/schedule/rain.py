"""Likely rain on the fresh slab, and the hours in which plastic lies on it for that."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S
from handover.schedule.model import RAIN, Figure, Risk
from handover.schedule.printed_times import COVERING, rain_cover_off

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.schedule.simulation import Simulation


def rains_on_fresh(simulation: Simulation) -> Iterator[Risk]:
    """Yield each likely rain that begins on concrete that it can still damage, as a whole."""
    weather = simulation.weather
    if not simulation.job.slab.gets_rain:
        return
    start = simulation.job.placement.start.timestamp()
    end = _needs_no_rain_until(simulation)
    known = simulation.weather.seconds
    chance = np.nan_to_num(weather.precipitation_probability, nan=1.0)
    wet = (
        (weather.precipitation_mm >= simulation.practice["rain.marks"])
        & (chance >= simulation.practice["rain.likely"])
        & (known > start)
    )
    for run in find_runs(wet):
        if known[run.start] > end:
            break
        peak = run.start + int(weather.precipitation_mm[run].argmax())
        # The rain of an hour falls before its end.
        start_s, end_s, peak_s = known[run.start] - HOUR_S, known[run][-1], known[peak]
        begins, ends, most = (
            datetime.fromtimestamp(float(each), UTC).astimezone(simulation.job.zone)
            for each in (start_s, end_s, peak_s)
        )
        amount = Figure("rain", float(weather.precipitation_mm[run].sum()), "mm")
        yield Risk(RAIN, begins, ends, most, (amount,))


def find_runs(which: NDArray[np.bool_]) -> list[slice]:
    """Return the stretches in which a condition holds, shape (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which.astype(np.int8), [0]])))
    return [slice(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]


def under_rain_cover(start_s: Floats, length_s: float, simulation: Simulation) -> NDArray[np.bool_]:
    """Return for each slot whether plastic against rain lies on the slab in some minute of it, shape (s,).

    It is laid before the rain and comes off after it. Until then nobody waters, and the rain wets nothing.
    Curing waits no longer than the rule has it, though: the top is hard enough for rain by then.

    Args:
        start_s: Starts of the slots, UTC seconds, shape (s,).
        length_s: Length of a slot. [s]
        simulation: The simulated job.
    """
    covered = np.zeros(len(start_s), dtype=bool)
    latest = simulation.job.placement.end + timedelta(hours=simulation.practice["cover.rain-most"])
    for rain in rains_on_fresh(simulation):
        off = rain_cover_off(rain.end, marks=not simulation.job.slab.covers)
        laid_s, off_s = rain.start.timestamp(), min(off.timestamp(), latest.timestamp())
        work_s = COVERING.total_seconds()
        covered |= (start_s + length_s > laid_s - work_s) & (start_s < off_s + work_s)
    return covered


def _needs_no_rain_until(simulation: Simulation) -> float:
    """Return until when rain may damage the surface, or wash off a compound that is not dry, UTC seconds."""
    practice, placement = simulation.practice, simulation.job.placement
    end = placement.end.timestamp() + practice["rain.keep-off"] * HOUR_S
    if simulation.job.curing.method != "curing compound" or placement.finished is None:
        return end
    dry_h = practice["visit.compound"] + practice["compound.dry"]
    return max(end, placement.finished.timestamp() + dry_h * HOUR_S)
