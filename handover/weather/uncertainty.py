"""What a service says of the uncertainty of its forecast: members of an ensemble, or percentiles.

The forecast itself stays the central case: of the members only what each differs by from their mean is used,
of the percentiles only how far they are apart. They are on hours of their own, because they may begin later
and end sooner than the forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from handover.base.arrays import ONE_HOUR, Floats
from handover.practice.rules import general_rules

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray

    TimeArray = NDArray[np.datetime64]

PERCENTILE_90 = 1.2816
"""Standard score of the 90th percentile of a normal distribution; that of the 10th is its opposite."""

_LONGEST_GAP = 6  # hours: some models have a value every six hours only


@dataclass(frozen=True)
class ForecastMembers:
    """The members of an ensemble forecast.

    Attributes:
        time: UTC instants in order, whole hours, shape (n,), ``datetime64[s]``.
        states: By column of `WeatherSeries`, in its unit, shape (n, k); NaN where a member has no value.
        source: Who says so, for people.
    """

    time: TimeArray
    states: Mapping[str, Floats]
    source: str

    kind: Literal["members"] = "members"

    @property
    def count(self) -> int:
        """Number of members."""
        return max((each.shape[1] for each in self.states.values()), default=0)

    def deviations(self, name: str, time: TimeArray) -> Floats | None:
        """Return what the members differ by from their mean, hour by hour; None where they are too few.

        A gap of up to six hours is interpolated; at a longer one a member ends.

        Args:
            name: Column.
            time: UTC instants, one hour apart, shape (h,).

        Returns:
            Shape (h, k); NaN where a member has no value.
        """
        if name not in self.states or not len(time):
            return None
        values = _on_hours(self.time, self.states[name], time)
        for member in range(values.shape[1]):
            values[:, member] = _without_gaps(values[:, member])
        known = np.isfinite(values)
        enough = _first_run(known.sum(axis=1) >= general_rules()["forecast.members-least"])
        if not enough.any():
            return None
        values[~enough] = np.nan
        counted = np.maximum(known.sum(axis=1), 1)
        return np.asarray(values - (np.nansum(values, axis=1) / counted)[:, np.newaxis])

    def last_hour(self, time: TimeArray) -> np.datetime64 | None:
        """Return the last of some instants one hour apart that has enough members of any column, or None."""
        return _last_hour(time, [self.deviations(name, time) for name in self.states])


@dataclass(frozen=True)
class ForecastPercentiles:
    """How far the 10th and the 90th percentile of a forecast are apart, as a standard deviation.

    Attributes:
        time: UTC instants in order, whole hours, shape (n,), ``datetime64[s]``.
        spreads: By column of `WeatherSeries`, in its unit, shape (n,); NaN where there are no percentiles.
        source: Who says so, for people.
    """

    time: TimeArray
    spreads: Mapping[str, Floats]
    source: str

    kind: Literal["percentiles"] = "percentiles"

    def spread(self, name: str, time: TimeArray) -> Floats | None:
        """Return the standard deviation of a column at instants one hour apart, NaN where not known."""
        if name not in self.spreads or not len(time):
            return None
        return _on_hours(self.time, self.spreads[name][:, np.newaxis], time)[:, 0]

    def last_hour(self, time: TimeArray) -> np.datetime64 | None:
        """Return the last of some instants one hour apart that has percentiles of any column, or None."""
        return _last_hour(time, [self.spread(name, time) for name in self.spreads])


ForecastUncertainty = ForecastMembers | ForecastPercentiles


def _last_hour(time: TimeArray, columns: Iterable[Floats | None]) -> np.datetime64 | None:
    """Return the last instant at which any of some columns, shape (h,) or (h, k), has a value, or None."""
    ends = [int(np.nonzero(np.isfinite(each))[0].max(initial=-1)) for each in columns if each is not None]
    last = max(ends, default=-1)
    return time[last] if last >= 0 else None


def _on_hours(known: TimeArray, values: Floats, time: TimeArray) -> Floats:
    """Return values, shape (n, k), at instants one hour apart, shape (h, k), else NaN."""
    grid = np.full((len(time), values.shape[1]), np.nan)
    within = (known >= time[0]) & (known <= time[-1])
    grid[((known[within] - time[0]) // ONE_HOUR).astype(np.int64)] = values[within]
    return grid


def _first_run(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the flags with only the first run of those that are set."""
    begins = int(flags.argmax())
    ends = np.flatnonzero(~flags[begins:])
    run = flags.copy()
    if len(ends):
        run[begins + int(ends[0]) :] = False
    return run


def _without_gaps(value: Floats) -> Floats:
    """Return a member with its short gaps interpolated, and nothing after its first long one."""
    at = np.flatnonzero(np.isfinite(value))
    if not len(at):
        return value
    breaks = np.flatnonzero(np.diff(at) > _LONGEST_GAP)
    at = at[: breaks[0] + 1] if len(breaks) else at
    filled = np.full(len(value), np.nan)
    run = np.arange(at[0], at[-1] + 1)
    filled[run] = np.interp(run, at, value[at])
    return filled
