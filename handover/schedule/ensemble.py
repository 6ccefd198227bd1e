"""The ensemble: possible differences of the job from its record and the forecast.

Each member is one column of every array. Member 0 is the central one, exactly as recorded and forecast. The
others have their errors in antithetic pairs. The draws are one set for all jobs, so that neither the name nor
the id of a job moves a date and two bays of a slab have the same dates. Each uncertainty is stratified: every
equal share of its distribution holds one member, so that few members give the quantiles of many.

A date that must be safe is taken from the concrete placed last; one that must not be missed from the concrete
placed first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from itertools import pairwise
from statistics import NormalDist
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S, ONE_HOUR, Floats
from handover.schedule.service_uncertainty import as_error, replace_by_members, replace_by_percentiles
from handover.weather.past_years import PastYears
from handover.weather.series import Origin
from handover.weather.uncertainty import ForecastMembers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.weather.climate import Climate
    from handover.weather.series import WeatherSeries


CENTRAL = 0
MEMBERS = 200
_FIRST_SHARE = 4  # one in this many members follows the concrete placed first
_SEED = 308
_SEED_OF_THE_MIX = 5  # of twelve tried, one with which 200 members agree with 2,000 for every date
_SCALARS = (
    "setting",
    "energy",
    "hardening",
    "strength",
    "heat",
    "evaporation",
    "convection",
    "sun",
    "placing",
)
_SEED_OF_THE_ROOM = 11
_OF_THE_MIX = ("water", "cementitious", "thickness")  # and of the slab; drawn after those of the weather
_STATES = ("air_c", "relative_humidity", "wind_ms", "cloud")


class Ranks(NamedTuple):
    """The ranks of some values, for their correlation with others; equal values have equal ranks."""

    centred: Floats  # each less their mean, shape (m,)
    spread: float  # standard deviation

    @classmethod
    def of(cls, values: Floats) -> Ranks:
        """Return the ranks of values, shape (m,)."""
        ranks = np.unique(values, return_inverse=True)[1].astype(np.float64)
        return cls(ranks - ranks.mean(), float(ranks.std()))

    def correlation(self, other: Ranks) -> float:
        """Return the correlation of ranks, -1 to 1; 0 where all values of one are equal."""
        spread = self.spread * other.spread
        return 0.0 if spread == 0.0 else float((self.centred * other.centred).mean()) / spread


@dataclass(frozen=True)
class Ensemble:
    """The members: one value for each, shape (m,), and their errors of the weather.

    Attributes:
        placed_s: When the member's concrete was placed, UTC seconds.
        setting: Factor on the time to set.
        energy: Factor on the activation energy.
        hardening: Factor on the age at which a strength is reached.
        heat: Factor on the heat of hydration.
        evaporation: Factor on evaporation.
        film: Factor on the convective film coefficient.
        sun: Factor on the absorbed sunshine.
        placed_c: Added to the temperature of the concrete as placed. [K]
        water: Factor on the ratio of water to cementitious material.
        cementitious: Factor on the cementitious content.
        thickness: Factor on the thickness of the slab.
        room_c: Added to the air that the record states for the room of the slab. [K]
        errors: Added to each hour of the weather, by column, shape (n, m): K, shares, share of the wind.
        draws: The standardised draws behind the members, by uncertainty, shape (m,); for the weather, see
            ``errors``.
        n_last: Number of members that follow the concrete placed last; the others follow the first.
    """

    placed_s: Floats
    setting: Floats
    energy: Floats
    hardening: Floats
    heat: Floats
    evaporation: Floats
    film: Floats
    sun: Floats
    placed_c: Floats
    water: Floats
    cementitious: Floats
    thickness: Floats
    room_c: Floats
    errors: dict[str, Floats]
    draws: dict[str, Floats]
    n_last: int

    @property
    def last_placed(self) -> slice:
        """The members that follow the concrete placed last; the central member is the first of them."""
        return slice(0, self.n_last)

    @property
    def first_placed(self) -> slice:
        """The members that follow the concrete placed first; the central member is the first of them."""
        return slice(self.n_last, None)

    @cached_property
    def ranks(self) -> dict[str, Ranks]:
        """The ranks of the draws over the members that follow the concrete placed last, by uncertainty."""
        return {name: Ranks.of(draw[self.last_placed]) for name, draw in self.draws.items()}

    @property
    def groups(self) -> tuple[slice, ...]:
        """The runs of members that are placed at one time, in their order."""
        edges = (np.flatnonzero(np.diff(self.placed_s)) + 1).tolist()
        return tuple(slice(*ends) for ends in pairwise((0, *edges, len(self))))

    def __len__(self) -> int:
        return len(self.placed_s)

    def subset(self, members: NDArray[np.int_]) -> Ensemble:
        """Return some of the members that follow the concrete placed last, in an order of their own."""
        by_member = [each.name for each in fields(self) if each.name not in ("errors", "draws", "n_last")]
        return replace(
            self,
            **{name: getattr(self, name)[members] for name in by_member},
            errors={name: error[:, members] for name, error in self.errors.items()},
            draws={name: draw[members] for name, draw in self.draws.items()},
            n_last=len(members),
        )


def draw_ensemble(
    job: JobRecord,
    weather: WeatherSeries,
    practice: Practice,
    *,
    forecast_issued_s: float,
    members: int = MEMBERS,
    typical: WeatherSeries | None = None,
    climate: Climate | None = None,
) -> Ensemble:
    """Draw the ensemble of a job.

    Args:
        job: The record.
        weather: Extended to the end of the simulation, shape (n,).
        practice: The rules, with each spread.
        forecast_issued_s: When the forecast was issued, UTC seconds: its errors grow from then.
        members: Number of members; 1 is the central member of the last concrete and of the first alone.
        typical: A typical year, or past years, from which the hours past the forecast are drawn.
        climate: Of the place, towards which the weather past the forecast moves.
    """
    n_first = max(1, members // _FIRST_SHARE)
    n_last = max(1, members - n_first)
    random = np.random.Generator(np.random.PCG64(_SEED))
    # The first concrete has the same errors as the last.
    draw_of = np.concatenate([np.arange(n_last), np.arange(n_first)])
    half = stratified_draws(random, len(_SCALARS) + 1 + len(_STATES), n_last // 2)
    draws = {name: _with_opposites(each, n_last)[draw_of] for name, each in zip(_SCALARS, half, strict=False)}
    water = practice["spread.water-assumed" if _is_assumed(job, "mix.water_cementitious") else "spread.water"]
    content = practice["spread.cementitious-assumed"] if _is_assumed(job, "mix.cementitious") else 1.0
    uneven = practice["spread.thickness"] / job.slab.thickness
    placing = (
        "spread.placing-measured"
        if job.placement.concrete_temperature is not None
        else "spread.placing-assumed"
    )
    drawn = forecast_errors(
        weather, practice, forecast_issued_s, n_last, random, climate=climate, first=half[len(_SCALARS) :]
    )
    errors = {name: error[:, draw_of] for name, error in drawn.items()}
    near = 0 if isinstance(typical, PastYears) else int(practice["forecast.drawn"])
    if typical is None or not _covers_horizon(typical, weather, near):
        pass
    elif isinstance(typical, PastYears):
        errors = _with_past_years(errors, weather, typical, practice["forecast.memory"], draw_of)
    else:
        errors = _with_typical_days(errors, weather, typical, near, draw_of, random)
    further = further_draws(np.random.Generator(np.random.PCG64(_SEED_OF_THE_MIX)), half, len(_OF_THE_MIX))
    draws |= {n: _with_opposites(each, n_last)[draw_of] for n, each in zip(_OF_THE_MIX, further, strict=True)}
    if job.slab.exposure == "indoors" and job.site.room_temperature is not None:
        random_room = np.random.Generator(np.random.PCG64(_SEED_OF_THE_ROOM))
        of_room = further_draws(random_room, np.concatenate([half, further]), 1)
        draws["room"] = _with_opposites(of_room[0], n_last)[draw_of]
    return Ensemble(
        placed_s=np.where(
            np.arange(n_last + n_first) < n_last,
            job.placement.end.timestamp(),
            job.placement.start.timestamp(),
        ),
        setting=practice["spread.setting"] ** draws["setting"],
        energy=practice["spread.energy"] ** draws["energy"],
        hardening=practice["spread.hardening"] ** draws["hardening"],
        heat=practice["spread.heat"] ** draws["heat"],
        evaporation=practice["spread.evaporation"] ** draws["evaporation"],
        film=practice["spread.film"] ** draws["convection"],
        sun=practice["spread.sun"] ** draws["sun"],
        placed_c=practice[placing] * draws["placing"],
        water=water ** draws["water"],
        cementitious=content ** draws["cementitious"],
        thickness=np.maximum(1.0 + uneven * draws["thickness"], practice["spread.thickness-least"]),
        room_c=practice["spread.room"] * draws.get("room", np.zeros(n_last + n_first)),
        errors=errors,
        draws=draws,
        n_last=n_last,
    )


def _is_assumed(job: JobRecord, path: str) -> bool:
    """Return whether practice gave a value that the record leaves out."""
    return any(assumed[0] == path for assumed in job.assumed)


def stratified_draws(random: np.random.Generator, uncertainties: int, pairs: int) -> Floats:
    """Return one standard normal draw of each mirrored pair, shape (uncertainties, pairs).

    With their mirrored values, one draw of an uncertainty lies in the middle of each of ``2 pairs`` equal
    shares of its distribution, and the uncertainties are hardly correlated.

    Source:
        Latin hypercube: McKay, Beckman and Conover (1979). Without correlation: Iman and Conover (1982).
    """
    return further_draws(random, np.empty((0, pairs)), uncertainties)


def further_draws(random: np.random.Generator, first: Floats, uncertainties: int) -> Floats:
    """Return draws of more uncertainties, shape (u, pairs), hardly correlated with the first ones either."""
    pairs = first.shape[1]
    upper = _half_normal(pairs)
    drawn = np.array([random.permutation(upper) for _ in range(uncertainties)])
    drawn *= random.choice((-1.0, 1.0), drawn.shape)
    whole = np.concatenate([first, drawn])
    if pairs <= len(whole):
        return drawn
    order = np.linalg.solve(np.linalg.cholesky(np.cov(whole)), whole)[len(first) :]
    return np.asarray(upper[np.abs(order).argsort(axis=1).argsort(axis=1)] * np.sign(order))


def _with_opposites(half: Floats, count: int) -> Floats:
    """Return draws, shape (..., n), with their mirrored values behind a central zero, shape (..., count)."""
    return np.concatenate([np.zeros((*half.shape[:-1], 1)), half, -half], axis=-1)[..., :count]


@lru_cache(maxsize=8)
def _half_normal(pairs: int) -> Floats:
    """Return the middles of equal shares of the upper half of the normal distribution, shape (pairs,)."""
    upper = 0.5 + (np.arange(pairs) + 0.5) / (2 * pairs)
    return np.array([NormalDist().inv_cdf(float(each)) for each in upper])


def forecast_errors(
    weather: WeatherSeries,
    practice: Practice,
    forecast_issued_s: float,
    count: int,
    random: np.random.Generator,
    *,
    climate: Climate | None = None,
    first: Floats | None = None,
) -> dict[str, Floats]:
    """Return the errors of the forecast, which grow with lead time and are correlated from hour to hour.

    Each column is a first-order autoregressive series of unit spread, times a spread that grows with the days
    ahead and levels off at the scatter of the season's hours. Observed hours have no error. Past the
    forecast, the air as a whole may be warmer or colder than what it is extrapolated to.

    What the service itself says of its errors, by percentiles or members, replaces those by the rules.

    Args:
        weather: Extended, shape (n,).
        practice: The rules, with each spread.
        forecast_issued_s: When the forecast was issued, UTC seconds.
        count: Number of members, m.
        random: Source of the draws.
        climate: Of the place; None: hours scatter as in a winter, and the weather past the forecast is that
            of its last days.
        first: Standard normal draws of half of the members, for the level past the forecast and for the first
            hour of each column, shape (5, m // 2); None: drawn.

    Returns:
        By column, shape (n, m).
    """
    known = weather.seconds
    ahead = np.maximum((known - forecast_issued_s) / HOUR_S / 24.0, 0.0)
    open_ = weather.origin != Origin.OBSERVED
    memory = float(np.exp(-1.0 / practice["forecast.memory"]))
    half = count // 2
    level_draws, *first_states = stratified_draws(random, 1 + len(_STATES), half) if first is None else first
    state = np.array(first_states)
    shocks = random.standard_normal((len(known), len(_STATES), half)) * np.sqrt(1.0 - memory**2)
    series = np.empty((len(known), len(_STATES), half))
    for hour in range(len(known)):
        state = memory * state + shocks[hour]
        series[hour] = state
    past = np.clip((known - _forecast_end_s(weather)) / HOUR_S / practice["forecast.memory"], 0.0, 1.0)
    beyond = practice["forecast.beyond" if climate is None else "forecast.beyond-climate"]
    level = beyond * level_draws * past[:, np.newaxis]
    errors = {}
    for index, name in enumerate(_STATES):
        growing = practice[f"forecast.{name}-at-once"] + practice[f"forecast.{name}-per-day"] * ahead
        most = (
            _scatter(weather, practice, climate)
            if climate is not None and name == "air_c"
            else practice[f"forecast.{name}-most"]
        )
        at_once = practice[f"forecast.{name}-at-once"]
        usual = replace_by_percentiles(np.minimum(growing, most), weather, name, at_once)
        spread = np.where(open_, usual, 0.0)[:, np.newaxis]
        drawn = spread * series[:, index] + (level if name == "air_c" else 0.0)
        errors[name] = _with_opposites(drawn, count)
        if isinstance(weather.uncertainty, ForecastMembers):
            unit = _with_opposites(series[:, index], count)
            memory_h = practice["forecast.memory"]
            errors[name] = replace_by_members(errors[name], weather, name, at_once, memory_h, unit)
    return errors


def _scatter(weather: WeatherSeries, practice: Practice, climate: Climate) -> Floats:
    """Return how far hours scatter about the typical day of their season, in K, shape (n,).

    The colder a season is than the warmest month, the more its hours scatter, in proportion.
    """
    colder = np.maximum(climate.warmest_c - climate.air_c(weather.time), 0.0)
    scatter = practice["forecast.scatter-warmest"] + practice["forecast.scatter-per-kelvin"] * colder
    return np.asarray(np.minimum(scatter, practice["forecast.scatter-most"]))


def _forecast_end_s(weather: WeatherSeries) -> float:
    """Return the last observed or forecast instant, UTC seconds."""
    known = weather.seconds[weather.origin != Origin.TYPICAL]
    return float(known[-1] if len(known) else weather.seconds[0])


def _covers_horizon(typical: WeatherSeries, weather: WeatherSeries, near: int) -> bool:
    """Return whether a typical year has every hour that may be drawn, some days about, past the forecast."""
    beyond = weather.time[weather.origin == Origin.TYPICAL]
    days = np.timedelta64(near, "D")
    return len(beyond) > 0 and typical.covers(beyond[0] - days, beyond[-1] + days)


def _with_typical_days(
    errors: dict[str, Floats],
    weather: WeatherSeries,
    typical: WeatherSeries,
    near: int,
    draw_of: NDArray[np.int_],
    random: np.random.Generator,
) -> dict[str, Floats]:
    """Return the errors with the hours past the forecast drawn from the typical year.

    Each member takes a different nearby day.
    """
    count = int(draw_of.max()) + 1
    days = np.concatenate([[0], random.integers(-near, near + 1, count)])[:count][draw_of]
    beyond = np.flatnonzero(weather.origin == Origin.TYPICAL)
    offset = int((weather.time[0] - typical.time[0]) / ONE_HOUR)
    rows = np.clip(beyond[:, np.newaxis] + offset + 24 * days, 0, len(typical) - 1)
    changed = {name: errors[name].copy(order="K") for name in _STATES}
    for name in _STATES:
        changed[name][beyond] = _error_of(name, getattr(typical, name)[rows], getattr(weather, name)[beyond])
    return changed


def _error_of(name: str, hours: Floats, central: Floats) -> Floats:
    """Return the error of hours, shape (n, k), that replace the central ones, shape (n,)."""
    expected = central[:, np.newaxis]
    return as_error(name, hours - expected, expected)


def _with_past_years(
    errors: dict[str, Floats],
    weather: WeatherSeries,
    past: PastYears,
    memory_h: float,
    draw_of: NDArray[np.int_],
) -> dict[str, Floats]:
    """Return the errors with each member moving over from its error of the forecast to a past year's hours.

    At the joint the member keeps its error; what it differs by from its year there is forgotten as
    exp(-t / memory). Of a first-order series this leaves the spread as it is. The central member stays.
    """
    beyond = np.flatnonzero(weather.origin == Origin.TYPICAL)
    rows = beyond + round((weather.time[0] - past.time[0]) / ONE_HOUR)
    year = np.maximum(draw_of - 1, 0) % len(past.years)
    rest = np.exp(-np.arange(len(beyond)) / memory_h)[:, np.newaxis]
    changed = {name: errors[name].copy(order="K") for name in _STATES}
    for name in _STATES:
        hours = np.stack([getattr(each, name)[rows] for each in past.years], axis=1)
        apart = _error_of(name, hours, getattr(weather, name)[beyond])
        drawn = apart[:, year] + rest * (errors[name][beyond[0]] - apart[0, year])
        changed[name][beyond] = np.where(draw_of == 0, 0.0, drawn)
    return changed
