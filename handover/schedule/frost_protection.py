"""Protection from frost: whether, until when, and which blanket, by the same simulation as the dates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.ensemble import CENTRAL
from handover.schedule.gate_evaluators import hours_to_age
from handover.schedule.model import Blanket, MilestoneKind, Protection
from handover.schedule.quantiles import instant_after, share_to_wait_for
from handover.schedule.slab_simulation import cover_resistance, simulate_slab
from handover.schedule.temperature_log import with_log_correction

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation
    from handover.schedule.slab_simulation import SlabSimulation


_MEMBERS = 30  # enough for the cold end of a band
_HOURS = 14 * 24  # long enough to reach the strength under any sufficient blanket


def plan_protection(simulation: Simulation, dates: Dates) -> Protection | None:
    """Return how to keep the slab from freezing, or None where the air stays mild until it is safe.

    Each usual blanket is tried on the slab in this weather. The first that keeps the top from freezing until
    the slab is strong enough, in the wanted share of the members, is the one to use.
    """
    if not calls_for_protection(simulation, dates):
        return None
    tried = tuple(_try_blankets(simulation))
    freezing_c = simulation.practice["frost.freezes-below"]
    enough = (blanket for blanket in tried if blanket.coldest_surface_c >= freezing_c)
    chosen = next(enough, None)
    return Protection(
        blankets=tried,
        enough=None if chosen is None else chosen.resistance,
        laid=cover_resistance(simulation.job, simulation.practice),
        until=None if chosen is None else chosen.frost_safe,
        largest_drop_k=simulation.practice["frost.drop"],
        drop_k=_drop(simulation, dates),
        edges=simulation.practice["frost.edges"],
    )


def calls_for_protection(simulation: Simulation, dates: Dates) -> bool:
    """Return whether the air may come down to the cold-weather limit before the slab is safe from frost."""
    return simulation.is_cold_until(dates.not_before(MilestoneKind.FROST_SAFE))


def _try_blankets(simulation: Simulation) -> Iterator[Blanket]:
    """Yield the effect of each blanket, none first: some members are simulated under all of them at once.

    Cylinders and tickets correct their concrete, and a logger the model, as they do for the dates.
    """
    practice = simulation.practice
    stock = (0.0, *practice.materials["blankets"]["resistances"])
    some = np.arange(0, simulation.ensemble.n_last, max(1, simulation.ensemble.n_last // _MEMBERS))
    members = np.tile(some, len(stock))
    ensemble, concrete = simulation.ensemble.subset(members), simulation.concrete.subset(members)
    cover = np.repeat(stock, len(some))
    strong_h, correction = (
        concrete.age_at_strength(simulation.frost_strength()),
        simulation.measurements.log_correction,
    )
    slab = simulate_slab(
        simulation.job,
        simulation.weather,
        ensemble,
        concrete,
        practice,
        cover=cover,
        hours=_HOURS,
        until_h=strong_h if correction is None else None,  # a logger may show a younger slab
    )
    if correction is not None:
        slab = with_log_correction(slab, ensemble, concrete, correction.subset(members), practice)
    safe = hours_to_age(slab, strong_h)
    top = np.where(slab.hours[:, np.newaxis] <= safe, slab.temperature_c[:, :, 0], np.inf)
    for at, resistance in enumerate(stock):
        under = slice(at * len(some), (at + 1) * len(some))
        yield _blanket(simulation, slab, resistance, safe[under], top[:, under])


def _blanket(
    simulation: Simulation, slab: SlabSimulation, resistance: float, safe_h: Floats, top_c: Floats
) -> Blanket:
    """Return the effect of a blanket.

    Args:
        simulation: The simulated job.
        slab: The slab under the blankets.
        resistance: Resistance of this blanket. [m2K/W]
        safe_h: When its members are strong enough for frost, shape (m,). [h]
        top_c: Their tops while they are too weak, then infinite, shape (h+1, m). [degC]
    """
    cold, late = 1.0 - simulation.share, share_to_wait_for(MilestoneKind.FROST_SAFE, simulation.share)
    freezing_c = simulation.practice["frost.freezes-below"]
    frozen = np.quantile(top_c, cold, axis=1, method="inverted_cdf") < freezing_c
    hours = {
        "safe": float(np.quantile(safe_h, late, method="inverted_cdf")),
        "frozen": float(slab.hours[frozen.argmax()]) if frozen.any() else np.inf,
    }
    instants = {
        name: instant_after(slab.placed_s[CENTRAL], each, simulation.job.zone) for name, each in hours.items()
    }
    return Blanket(
        resistance=resistance,
        coldest_surface_c=float(np.quantile(top_c.min(axis=0), cold, method="inverted_cdf")),
        frost_safe=instants["safe"],
        freezes_from=instants["frozen"],
    )


def _drop(simulation: Simulation, dates: Dates) -> float | None:
    """Return how far the slab would cool in the first day after the cover comes off, or None without a cover.

    The slab's middle at that hour, less the coldest air of the next day at the cold end of the band. [K]
    """
    ends = dates.not_before(MilestoneKind.PROTECTION_ENDS)
    if not simulation.is_insulated or ends is None:
        return None
    end_hour = int((ends.timestamp() - simulation.slab.placed_s[CENTRAL]) / HOUR_S)
    # Past the end of the simulation, its last day is repeated.
    hour = min(end_hour, len(simulation.slab.hours) - 1 - 24)
    last = simulation.ensemble.last_placed
    day = simulation.slab.air.air_c[hour : hour + 24, last]
    coldest = float(simulation.cold_end(day).min())
    return max(float(simulation.slab.temperature_c[hour, CENTRAL, 1]) - coldest, 0.0)
