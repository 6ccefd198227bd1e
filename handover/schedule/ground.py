"""The ground under the slab at the placement: how warm it is, and where it is frozen.

Members of the concrete placed last, whose dates must be safe, have the cold end: the ground is no warmer than
the air of the days before. The concrete placed first has the mean air of the day after the placement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.surroundings import has_seasons
from handover.weather.climate import climate_at
from handover.weather.series import utc64

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.concrete.heat import GridColumn
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.weather.series import WeatherSeries

_DAY = 24  # hours


class Ground(NamedTuple):
    """The nodes of the column at the placement, those of the concrete as if they were ground.

    Attributes:
        temperature_c: Shape (m, n). [degC]
        frozen: Whether the water of a node is ice, shape (m, n).
    """

    temperature_c: Floats
    frozen: NDArray[np.bool_]


def air_before(job: JobRecord, weather: WeatherSeries, air_c: Floats, practice: Practice) -> Floats:
    """Return the coldest mean air over a day and over some days before the placement, in degC, shape (m,).

    Where the weather begins with the placement, the day about it stands for the day before; in a season of
    cold weather the ground is then no warmer than the season. A heated room has no season: it was heated
    before the pour.

    Args:
        job: The record.
        weather: Its hours, shape (n,).
        air_c: Air around the slab at those hours, shape (n, m). [degC]
        practice: The rules.
    """
    since_h = (weather.seconds - job.placement.start.timestamp()) / HOUR_S
    day, days = practice["ground.day"], practice["ground.days"]
    known = [(since_h < 0.0) & (since_h >= -each) for each in (day, days)]
    if known[0].sum() >= day / 2.0:
        return np.asarray(np.minimum(*(air_c[each].mean(axis=0) for each in known)))
    about = air_c[np.abs(since_h) <= day / 2.0].mean(axis=0)
    climate = climate_at(job.site) if has_seasons(job) else None
    season = np.inf if climate is None else climate.air_c(np.array([utc64(job.placement.start)]))[0]
    is_cold = season <= practice["frost.cold-weather"]
    return np.asarray(np.minimum(about, season) if is_cold else about)


def air_after(weather: WeatherSeries, air_c: Floats, ensemble: Ensemble, days: int = 1) -> Floats:
    """Return the mean air of the days from placement on, in degC, shape (m,): each member's own weather.

    The ground is uncertain too: if the days are colder than forecast, the ground is colder as well.
    """
    means = []
    for group in ensemble.groups:
        start = int(np.searchsorted(weather.seconds, ensemble.placed_s[group][0]))
        means.append(air_c[start : start + days * _DAY, group].mean(axis=0))
    return np.concatenate(means)


def ground_at_placement(
    grid: GridColumn,
    deep_c: Floats,
    before_c: Floats,
    after_c: Floats,
    ensemble: Ensemble,
    practice: Practice,
) -> Ground:
    """Return the ground from right below the slab, as warm as the air, to deep down.

    It freezes by the cold before the placement alone.

    Args:
        grid: The column.
        deep_c: At its lower end, shape (m,). [degC]
        before_c: Air before the placement, shape (m,). [degC]
        after_c: Air of the day after it, shape (m,). [degC]
        ensemble: The members.
        practice: The rules.
    """
    is_last = np.arange(len(ensemble)) < ensemble.n_last
    below = grid.depth - grid.depth[len(grid.concrete) - 1]
    near = np.exp(-below / practice["ground.skin"])

    def profile(shallow_c: Floats) -> Floats:
        return np.asarray(deep_c[:, np.newaxis] + np.outer(shallow_c - deep_c, near))

    frozen = (profile(before_c) < 0.0) & is_last[:, np.newaxis]
    return Ground(profile(np.where(is_last, np.minimum(before_c, after_c), after_c)), frozen)
