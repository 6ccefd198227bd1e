"""Times by the temperature of the concrete's surface: those of the rules, for the slab of a job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.hydration import reaction_rate
from handover.schedule.duration_tables import required_hours, share_done
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import Figure, MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.practice.rules import Durations, GateRule
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.simulation import Simulation

    Columns = NDArray[np.int_]

_STANDARD_C = 20.0  # curing temperature of strength development
_EARLY_DAYS, _LATE_DAYS = 2.0, 28.0


def share_of_duration(gate: GateRule, simulation: Simulation) -> Floats:
    """Return the completed share of the time in a gate's table, at each whole hour, shape (h+1, m)."""
    table = _table(gate, simulation)
    surface = simulation.slab.temperature_c[:, :, 0]
    colder = np.minimum(surface[:-1], surface[1:])
    columns = np.broadcast_to(_columns(table, simulation), surface.shape)[:-1]
    counted, _ = curing_shares(gate, simulation)
    needed = gate.times * required_hours(table, colder, columns)
    with np.errstate(divide="ignore"):
        return share_done(simulation.slab.hours, needed / counted)


def curing_shares(gate: GateRule, simulation: Simulation) -> tuple[Floats, float]:
    """Return the share of the time that counts towards a gate: of each hour, (h, m) or (h, 1), and later on.

    Curing needs a wet surface; the other dates do not.
    """
    if gate.milestone != MilestoneKind.CURING_ENDS:
        return np.ones((len(simulation.slab.hours) - 1, 1)), 1.0
    return simulation.curing_share, simulation.curing_share_later()


def later_share(gate: GateRule, simulation: Simulation) -> tuple[Floats, Floats]:
    """Return how that share grows past the simulation: hours from its end, and what is added, (w+1, m)."""
    table, slab = _table(gate, simulation), simulation.slab
    columns = np.broadcast_to(_columns(table, simulation), slab.placed_s.shape)

    _, counted = curing_shares(gate, simulation)

    def rate(surface_c: Floats) -> Floats:
        return counted / (gate.times * required_hours(table, surface_c, columns))

    return slab.later.hours, slab.later.accumulate(slab.temperature_c[:, :, 0], rate)


def longest_duration(gate: GateRule, simulation: Simulation) -> Floats:
    """Return the age from which a gate is met in any case, in h, shape (m,); inf if there is none."""
    table = _table(gate, simulation)
    columns = np.broadcast_to(_columns(table, simulation), simulation.slab.evaporation.shape).max(axis=0)
    coldest = required_hours(table, table.bands[-1].from_c, columns)
    by_table = np.inf if gate.at_most_times is None else gate.at_most_times * gate.times
    return np.minimum(by_table * coldest, gate.at_most or np.inf)


def figures(gate: GateRule, simulation: Simulation, until_h: float) -> Iterator[Figure]:
    """Yield the figures of a gate, for the central member: mean surface, required time, mix."""
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
    on_curve = reaction_rate(_STANDARD_C, hydration) * concrete.per_hydration_hour
    early, late = (concrete.curve.ratio(days * on_curve) for days in (_EARLY_DAYS, _LATE_DAYS))
    return np.asarray(early / late)


def _table(gate: GateRule, simulation: Simulation) -> Durations:
    return simulation.practice.durations[gate.table or ""]


def _columns(table: Durations, simulation: Simulation) -> Columns:
    """Return the column of a table that applies, from 0; broadcasts against (h+1, m)."""
    return COLUMN_SELECTORS[table.by](table, simulation)


def _only_one(_: Durations, __: Simulation) -> Columns:
    return np.zeros(1, dtype=np.int_)


def _by_development(table: Durations, simulation: Simulation) -> Columns:
    """Return the column by strength development; the last column for anything slower than the table.

    The share of strength behind the table is a separate gate, which governs there.
    """
    development = strength_development(simulation.concrete)
    short_of = development < np.asarray(table.at_least)[:, np.newaxis]
    slowest = len(table.at_least) - 1
    return np.asarray(np.minimum(short_of.sum(axis=0), slowest))


def _by_heat(table: Durations, simulation: Simulation) -> Columns:
    """Return the column by heat and drought: 1 for all hours if any hour of the ordinary days is both.

    This is the only rule by which warmer weather can make a date later.
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
    "hot and dry": _by_heat,
}
