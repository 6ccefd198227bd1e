"""When a slab reaches an equivalent age, and its age at an instant, also past the end of its simulation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats
    from handover.schedule.slab_simulation import SlabSimulation


def hours_to_value(
    hours: Floats,
    series: Floats,
    needed: ArrayLike,
    later: Callable[[], tuple[Floats, Floats]] | None = None,
) -> Floats:
    """Return when a non-decreasing series first reaches a value.

    Args:
        hours: Instants of the series, shape (n,).
        series: Shape (n, k).
        needed: Value needed, shape (k,) or a number.
        later: Returns how it goes on: instants past its end from 0 on, shape (w,), and what is added until
            then, shape (w, k). Called only where the series is too short. None: it does not go on.

    Returns:
        Hours, shape (k,); inf: never reached.
    """
    wanted = np.broadcast_to(np.asarray(needed, dtype=np.float64), series.shape[1:])
    columns = np.arange(series.shape[1])
    after = np.clip((series < wanted).sum(axis=0), 1, len(hours) - 1)
    low, high = series[after - 1, columns], series[after, columns]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(high > low, (wanted - low) / (high - low), 0.0)
    within = hours[after - 1] + np.clip(share, 0.0, 1.0) * (hours[after] - hours[after - 1])
    short = series[-1] < wanted
    beyond = np.full(len(wanted), np.inf)
    if later is not None and short.any():
        further, added = later()
        missing = (wanted - series[-1])[short]
        beyond[short] = hours[-1] + hours_to_value(further, added[:, short], missing)
    return np.where(short, beyond, within)


def hours_to_age(slab: SlabSimulation, needed_h: ArrayLike, depths: slice | int = slice(None)) -> Floats:
    """Return when the concrete reaches an equivalent age at all of some depths, in hours, shape (m,)."""
    members = len(slab.placed_s)
    age = slab.age_h[:, :, depths].reshape(len(slab.hours), members, -1)
    count = age.shape[2]
    needed = np.repeat(np.broadcast_to(np.asarray(needed_h, dtype=np.float64), (members,)), count)

    def later() -> tuple[Floats, Floats]:
        return slab.later.hours, slab.later_age_h[:, :, depths].reshape(-1, members * count)

    met = hours_to_value(slab.hours, age.reshape(len(slab.hours), -1), needed, later)
    last: Floats = met.reshape(members, count).max(axis=1)
    return last


def age_at(slab: SlabSimulation, hours: Floats) -> Floats:
    """Return the equivalent age at an instant of each member, shape (m, 3).

    Args:
        slab: The slab.
        hours: Since placement, shape (m,); inf where there is no such instant, whose age is infinite.
    """
    found = slab.at(slab.age_h, hours)
    past = hours - slab.hours[-1]
    for member in np.flatnonzero(past > 0.0):
        for depth, added in enumerate(slab.later_age_h[:, member].T):
            found[member, depth] += np.interp(past[member], slab.later.hours, added, right=np.inf)
    return found
