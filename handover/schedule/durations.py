"""Tables that ask for a time by the temperature of the concrete's surface, applied hour by hour.

Such a table says how long something takes at a constant surface temperature. The surface of a
slab does not: it swings by twenty degrees in a day. Each hour therefore counts for its share of the time that
the table asks at the temperature of that hour, dt/required(T), and the time is up when the shares make one. A
surface that stays in one band takes what the table prints, to the hour. Against the other way, to look up the
mean temperature of the curing so far:

- the sum is additive, so that it does not matter where a day is cut;
- it never falls, and a colder hour never adds more, so that a colder forecast never gives an earlier date; a
  mean that slips over the edge of a band would move the date by days within an hour, and perhaps back again;
- hours below the coldest band add nothing, which is what the tables say of time below 5 degC: it is added.

An hour counts by the colder of its two ends.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.maturity import arrhenius_rate
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import Figure

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import ArrayLike, NDArray

    from handover.base.arrays import Floats
    from handover.practice.rules import DurationBand, Durations, GateRule
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.simulation import Simulation

    Columns = NDArray[np.int_]

_STANDARD_C = 20.0  # curing temperature of strength development
_EARLY_DAYS, _LATE_DAYS = 2.0, 28.0


def required_hours(table: Durations, surface_c: ArrayLike, column: ArrayLike = 0) -> Floats:
    """Return how long a table asks at a steady temperature.

    Args:
        table: Of durations.
        surface_c: Any shape. [degC]
        column: Which column of the table, from 0, broadcasts.

    Returns:
        Broadcast shape; infinite below the coldest band. [h]
    """
    surface, columns = np.broadcast_arrays(np.asarray(surface_c, dtype=np.float64), np.asarray(column))
    asked = np.full(surface.shape, np.inf)
    for band in reversed(table.bands):
        asked = np.where(surface >= band.from_c, _required_in_band(band, surface, columns), asked)
    return asked


def _required_in_band(band: DurationBand, surface_c: Floats, columns: Columns) -> Floats:
    """Return what a band of a table asks, in h."""
    if band.over:
        within = np.clip(surface_c, band.from_c, band.to_c)
        return np.asarray(np.asarray(band.over)[columns] / (within + band.plus))
    return np.asarray(band.hours)[columns]


def share_done(hours: ArrayLike, required_h: ArrayLike) -> Floats:
    """Return the share of a required time that is done, summed over intervals.

    Args:
        hours: Instants, shape (n+1,). [h]
        required_h: Asked in each interval, shape (n, ...), infinite where it does not count. [h]

    Returns:
        At each instant, the first 0, shape (n+1, ...). [1]
    """
    required = np.asarray(required_h, dtype=np.float64)
    lengths = np.diff(np.asarray(hours, dtype=np.float64)).reshape(-1, *(1,) * (required.ndim - 1))
    done = np.cumsum(lengths / required, axis=0)
    return np.concatenate([np.zeros_like(done[:1]), done])


def share_of_duration(gate: GateRule, simulation: Simulation) -> Floats:
    """Return the share done of what a gate's table asks, at each whole hour, shape (h+1, m)."""
    table = _table(gate, simulation)
    surface = simulation.slab.temperature_c[:, :, 0]
    colder = np.minimum(surface[:-1], surface[1:])
    columns = np.broadcast_to(_columns(table, simulation), surface.shape)[:-1]
    return share_done(simulation.slab.hours, gate.times * required_hours(table, colder, columns))


def longest_duration(gate: GateRule, simulation: Simulation) -> Floats:
    """Return past which age a gate holds in any case, in h, shape (m,); inf where it has no such end."""
    table = _table(gate, simulation)
    columns = np.broadcast_to(_columns(table, simulation), simulation.slab.evaporation.shape).max(axis=0)
    coldest = required_hours(table, table.bands[-1].from_c, columns)
    by_table = np.inf if gate.at_most_times is None else gate.at_most_times * gate.times
    return np.minimum(by_table * coldest, gate.at_most or np.inf)


def figures(gate: GateRule, simulation: Simulation, until_h: float) -> Iterator[Figure]:
    """Yield what went into a gate, for the central member: mean surface, what the table asks, the mix."""
    table = _table(gate, simulation)
    counted = simulation.slab.hours <= max(until_h, 1.0)
    mean = float(simulation.slab.temperature_c[counted, CENTRAL, 0].mean())
    columns = np.broadcast_to(_columns(table, simulation), simulation.slab.evaporation.shape)
    needed = gate.times * float(required_hours(table, mean, columns[counted, CENTRAL].max()))
    yield Figure("mean_surface", mean, "degC")
    if np.isfinite(needed):
        yield Figure("needed_at_mean", needed, "h")
    if table.by == "strength development":
        yield Figure("strength_development", float(strength_development(simulation.concrete)[CENTRAL]), "1")


def strength_development(concrete: ConcreteProperties) -> Floats:
    """Return the strength at 2 days over that at 28 days, both at 20 degC, of each member, shape (m,).

    Source:
        EN 13670 and EN 206: r = fcm2/fcm28, here from the strength curve of the mix itself.
    """
    hydration = concrete.hydration
    at_standard = arrhenius_rate(_STANDARD_C, hydration.activation_energy, hydration.reference_c)
    on_curve = at_standard * concrete.per_hydration_hour
    early, late = (concrete.curve.ratio(days * on_curve) for days in (_EARLY_DAYS, _LATE_DAYS))
    return np.asarray(early / late)


def _table(gate: GateRule, simulation: Simulation) -> Durations:
    return simulation.practice.durations[gate.table or ""]


def _columns(table: Durations, simulation: Simulation) -> Columns:
    """Return which column of a table holds, from 0; broadcasts against (h+1, m)."""
    return COLUMN_SELECTORS[table.by](table, simulation)


def _only_one(_: Durations, __: Simulation) -> Columns:
    return np.zeros(1, dtype=np.int_)


def _by_development(table: Durations, simulation: Simulation) -> Columns:
    """Return the column by strength development; what is slower than the table reaches takes its last.

    The share of strength that the table stands for is a gate of its own, and governs there.
    """
    development = strength_development(simulation.concrete)
    short_of = development < np.asarray(table.at_least)[:, np.newaxis]
    slowest = len(table.at_least) - 1
    return np.asarray(np.minimum(short_of.sum(axis=0), slowest))


def _by_air(_: Durations, simulation: Simulation) -> Columns:
    """Return the column by the air about the slab, hour by hour: 0 average, 1 poor."""
    humidity = simulation.slab.air.relative_humidity
    poor_below = "air.damp" if simulation.job.slab.exposure == "outdoors" else "air.dry"
    return (humidity < simulation.practice[poor_below]).astype(np.int_)


def _by_heat(table: Durations, simulation: Simulation) -> Columns:
    """Return the column by heat and drought: 1 for all hours where any hour of the ordinary days is both.

    It is the one rule by which warmer weather may make a date later.
    """
    air, practice = simulation.slab.air, simulation.practice
    hot_and_dry = (air.air_c >= practice["hot-dry.air"]) & (
        air.relative_humidity < practice["hot-dry.humidity"]
    )
    ordinary = simulation.slab.hours <= table.bands[0].hours[0]
    return np.asarray(hot_and_dry[ordinary].any(axis=0), dtype=np.int_)


COLUMN_SELECTORS: dict[str, Callable[[Durations, Simulation], Columns]] = {
    "": _only_one,
    "strength development": _by_development,
    "air about the slab": _by_air,
    "hot and dry": _by_heat,
}
