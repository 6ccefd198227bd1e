"""How long blankets protect a slab from the cold, and in which hours they may come off.

Protection is not curing: it ends when a first frost does no harm and the slab has had its warm days, and
only while the air is near the surface in temperature. Curing may go on without blankets.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.hydration import reaction_rate
from handover.schedule.circumstances import slab_circumstances

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.concrete.heat import Covering
    from handover.jobs.record import JobRecord
    from handover.practice.rules import GateRule, Practice
    from handover.schedule.mix import ConcreteProperties

KEPT_WARM = "hours kept warm"
"""The measure of a condition that asks for a time at a temperature, or for longer where it is colder."""

NEAR_THE_AIR = "surface near the air"
"""The measure of the condition that the slab does not cool suddenly when blankets come off."""

_DAY = 24  # h


@dataclass(frozen=True)
class ProtectionNeeds:
    """What must be reached before blankets come off.

    Attributes:
        hours: Least time since placement. [h]
        age_h: Equivalent age at the reference of hydration, at all depths, shape (m,). [h]
        set_age_h: That of final set: a softer surface takes the marks of a blanket, shape (m,). [h]
        drop_k: How far the surface may cool in the day after they come off. [K]
    """

    hours: float
    age_h: Floats
    set_age_h: Floats
    drop_k: float


def protection_needs(job: JobRecord, concrete: ConcreteProperties, practice: Practice) -> ProtectionNeeds:
    """Return what the rules ask of each member before its blankets come off."""
    strengths = [gate.value or 0.0 for gate in practice.gates_of("frost-safe", job.slab.use)]
    ages = [concrete.age_at_strength(max(strengths))]
    warm = [
        gate
        for gate in practice.gates_for("protection-ends", slab_circumstances(job))
        if gate.measure == KEPT_WARM
    ]
    ages += [age_kept_warm(gate, concrete) for gate in warm]
    hours = max((gate.value or 0.0 for gate in warm), default=0.0)
    return ProtectionNeeds(hours, np.maximum.reduce(ages), concrete.final_set_h, largest_drop(job, practice))


def largest_drop(job: JobRecord, practice: Practice) -> float:
    """Return how far the surface may cool in the day after blankets come off, in K: a thick slab less."""
    thickness, thick = job.slab.thickness, practice["frost.thick"]
    is_thick = thickness >= thick or isclose(thickness, thick)
    return practice["frost.drop-thick"] if is_thick else practice["frost.drop"]


def laying_hours(job: JobRecord, placed_s: Floats, practice: Practice) -> tuple[Floats, Floats]:
    """Return from when blankets may go on, and when they are on at the latest, in hours after placing, (m,).

    Not before finishing ends, which is one hour for all of the slab; where it is not known it is that of
    final set.
    """
    latest = np.full(len(placed_s), practice["cover.laid"])
    if job.placement.finished is None:
        return np.zeros(len(placed_s)), latest
    finished = np.maximum((job.placement.finished.timestamp() - placed_s) / HOUR_S, 0.0)
    return finished, np.maximum(finished, latest)


def age_kept_warm(gate: GateRule, concrete: ConcreteProperties) -> Floats:
    """Return the equivalent age of a time at a temperature, by the clock of hydration, in h, shape (m,)."""
    return np.asarray((gate.value or 0.0) * reaction_rate(gate.at_c or 0.0, concrete.hydration))


def mild_hours(
    surface_c: Floats, air_c: Floats, coldest_c: Floats, practice: Practice, drop_k: float
) -> NDArray[np.bool_]:
    """Return whether blankets may come off: no fall too far in a day and, in cold weather, near the air.

    Above the limit of cold weather there is no sudden cold, and a bare slab in the sun is further above the
    air than the limit on any day.

    Args:
        surface_c: Surface under the blanket, any shape. [degC]
        air_c: Of the same hour. [degC]
        coldest_c: Coldest air of the day that begins with it. [degC]
        practice: The rules.
        drop_k: How far the surface may cool in a day, see `largest_drop`. [K]
    """
    is_near: NDArray[np.bool_] = surface_c - air_c <= practice["frost.near-air"]
    is_warm = coldest_c > practice["frost.cold-weather"]
    return (is_near | is_warm) & (surface_c - coldest_c <= drop_k)


def coldest_of_the_next_day(air_c: Floats) -> Floats:
    """Return the coldest air of the day that begins with each whole hour, shape (h+1, m).

    The last day is repeated, or all hours where there are fewer.
    """
    again = air_c[-_DAY:]
    windows = np.lib.stride_tricks.sliding_window_view(np.concatenate([air_c, again]), len(again) + 1, axis=0)
    return np.asarray(windows.min(axis=2))


def blanket_cover(
    resistance: Floats,
    instants: Floats,
    air_c: Floats,
    needs: ProtectionNeeds,
    practice: Practice,
    *,
    latest_h: float | Floats,
    is_finished: bool,
) -> Covering:
    """Return the blankets on each member, to be asked step by step: what is lifted stays off.

    Args:
        resistance: While they may lie on the slab, over each step, shape (s, m) or (s, 1). [m2K/W]
        instants: The step instants, whole hours among them, shape (s+1,). [s]
        air_c: At the step instants, shape (s+1, m). [degC]
        needs: What must be reached before they come off.
        practice: The rules.
        latest_h: When they lie on the slab at the latest, whether it has set or not, a number or (m,). [h]
        is_finished: Whether the resistance begins when finishing ends. Then they go on before the top
            freezes, even if it is still soft.
    """
    whole = np.round(instants) % HOUR_S == 0.0
    hour = np.floor(np.round(instants) / HOUR_S).astype(np.int_)
    coldest_c = coldest_of_the_next_day(air_c[whole])[hour]
    is_old = instants >= needs.hours * HOUR_S
    is_late = instants[:, np.newaxis] >= np.asarray(latest_h) * HOUR_S
    is_late_everywhere = np.asarray(is_late.all(axis=1))
    frost_c = practice["frost.no-water-below"]
    off = np.zeros(air_c.shape[1], dtype=bool)
    on = np.zeros(air_c.shape[1], dtype=bool)
    bare = np.zeros(air_c.shape[1])

    def resistance_over(step: int, age_h: Floats, temperature_c: Floats) -> Floats:
        if np.count_nonzero(off) == len(off):
            return bare
        if is_old[step]:
            top_c = temperature_c[:, 0]
            mild = mild_hours(top_c, air_c[step], coldest_c[step], practice, needs.drop_k)
            np.logical_or(off, mild & (age_h.min(axis=1) >= needs.age_h), out=off)
        if is_late_everywhere[step]:
            return np.where(off, bare, resistance[step])
        np.logical_or(on, age_h.min(axis=1) >= needs.set_age_h, out=on)
        if is_finished:
            near_frost = (temperature_c[:, 0] <= frost_c) & (resistance[step] > 0.0)
            np.logical_or(on, near_frost, out=on)
        return np.where(off | ~(on | is_late[step]), 0.0, resistance[step])

    return resistance_over
