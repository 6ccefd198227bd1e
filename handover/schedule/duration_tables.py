"""Tables of required times by the temperature of the concrete's surface, applied hour by hour.

Such a table gives the time at a constant surface temperature, but the surface of a slab varies by twenty
degrees in a day. Each hour therefore counts as its share of the time that the table requires at the
temperature of that hour, dt/required(T), and the time is complete when the shares add up to one. A surface
that stays in one band takes exactly the printed time. Compared with looking up the mean temperature of the
curing so far:

- the sum is additive, so it does not matter where a day is divided;
- it never falls, and a colder hour never adds more, so a colder forecast never gives an earlier date; a
  mean that slips over the edge of a band would move the date by days within an hour, and perhaps back again;
- hours below the coldest band add nothing, which is what the tables say of time below 5 degC: it is added.

An hour counts by the colder of its two ends.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats
    from handover.practice.rules import Durations


def required_hours(table: Durations, surface_c: ArrayLike, column: ArrayLike = 0) -> Floats:
    """Return the time that a table requires at a constant temperature.

    Args:
        table: The table.
        surface_c: Any shape. [degC]
        column: The column of the table, from 0; broadcasts.

    Returns:
        Broadcast shape; infinite below the coldest band. [h]
    """
    surface, columns = np.broadcast_arrays(np.asarray(surface_c, dtype=np.float64), np.asarray(column))
    required = np.full(surface.shape, np.inf)
    for band in reversed(table.bands):
        required = np.where(surface >= band.from_c, np.asarray(band.hours)[columns], required)
    return required


def share_done(hours: ArrayLike, required_h: ArrayLike) -> Floats:
    """Return the completed share of a required time, summed over intervals.

    Args:
        hours: Instants, shape (n+1,). [h]
        required_h: Required time in each interval, shape (n, ...); infinite where the interval does not
            count. [h]

    Returns:
        The share at each instant, shape (n+1, ...), the first is 0. [1]
    """
    required = np.asarray(required_h, dtype=np.float64)
    lengths = np.diff(np.asarray(hours, dtype=np.float64)).reshape(-1, *(1,) * (required.ndim - 1))
    done = np.cumsum(lengths / required, axis=0)
    return np.concatenate([np.zeros_like(done[:1]), done])
