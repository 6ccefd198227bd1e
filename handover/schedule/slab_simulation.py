"""The slab of a job, simulated in its weather for all members at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.air.psychrometrics import vapour_pressure
from handover.base.arrays import HOUR_S, Floats
from handover.concrete.constants import DENSITY_OF_WATER
from handover.concrete.evaporation import evaporation_rate, wind_at
from handover.concrete.freezing import HEAT_OF_FUSION
from handover.concrete.heat import GridColumn, Layer, Surface, grid_column, march, surface_exchange
from handover.concrete.heat import HydrationParameters as Hydrating
from handover.concrete.hydration import reaction_rate
from handover.schedule.circumstances import slab_circumstances
from handover.schedule.delivery_tickets import truck_hours
from handover.schedule.duration_tables import required_hours
from handover.schedule.ground import air_after, air_before, ground_at_placement
from handover.schedule.later_weeks import LaterWeeks, hardening_rate, later_weeks
from handover.schedule.model import SHEET
from handover.schedule.protection_period import (
    ProtectionNeeds,
    blanket_cover,
    laying_hours,
    protection_needs,
)
from handover.schedule.surroundings import (
    Hourly,
    around_slab,
    has_seasons,
    season_at_begin,
    weather_of_members,
)
from handover.weather.climate import climate_at
from handover.weather.series import utc64

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.concrete.heat import Wetness
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.weather.series import WeatherSeries


@dataclass(frozen=True)
class DryHours:
    """The hours in which the watering plan leaves the surface dry.

    Attributes:
        start_s: UTC seconds of each slot of the plan, in order, shape (k,).
        slot_s: Length of a slot. [s]
        dry: Share of each slot in which the surface is dry, shape (k,). [1]
    """

    start_s: Floats
    slot_s: float
    dry: Floats

    @property
    def ends_s(self) -> float:
        """The end of the plan, UTC seconds."""
        return float(self.start_s[-1] + self.slot_s)

    @property
    def mean_moist_share(self) -> float:
        """The share of the plan in which the surface is not dry."""
        return 1.0 - float(self.dry.sum() * self.slot_s / (self.ends_s - self.start_s[0]))

    def moist_share(self, moments_s: Floats) -> Floats:
        """Return the share of the time between moments in which the surface is not dry, (n+1, m) to (n, m).

        Args:
            moments_s: UTC seconds.
        """
        edges = np.sort(np.concatenate([self.start_s, self.start_s + self.slot_s]))
        before = np.searchsorted(self.start_s, edges, side="left")
        full = np.concatenate([[0.0], np.cumsum(self.dry * self.slot_s)])
        dried = np.diff(np.interp(moments_s, edges, full[before]), axis=0)
        return np.asarray(1.0 - np.clip(dried / np.diff(moments_s, axis=0), 0.0, 1.0))


@dataclass(frozen=True)
class SheetHours:
    """From when until when a plastic sheet lies on each member, UTC seconds, shape (m,) each; inf: never."""

    from_s: Floats
    until_s: Floats

    def at(self, moments_s: Floats) -> NDArray[np.bool_]:
        """Return whether it lies on each member at some moments in UTC seconds, shape (n, m)."""
        return np.asarray((moments_s >= self.from_s) & (moments_s < self.until_s))


DAYS = 28
_CELL = 0.0127  # m; about half an inch, 8 cells in a 4 in slab
_GROUND = 1.5  # m; the wave of a month is small below this depth
_DAY_S = 24.0 * HOUR_S
_FINE, _MIDDLING = 24, 48  # h; steps of 20 and 30 minutes until then, of an hour afterwards


@dataclass(frozen=True)
class Air:
    """The weather of each member, at every whole hour since its placement, shape (h+1, m)."""

    air_c: Floats
    relative_humidity: Floats
    wind_ms: Floats  # near the slab


@dataclass(frozen=True)
class SlabSimulation:
    """The simulated slab, hour by hour since placement, by member.

    Attributes:
        hours: Since the member's placement, shape (h+1,). [h]
        placed_s: Placement of each member, UTC seconds, shape (m,).
        temperature_c: At surface, middle and bottom, shape (h+1, m, 3). [degC]
        age_h: Equivalent age at the reference of hydration, shape (h+1, m, 3). [h]
        air: The weather of those hours.
        evaporation: Of the wet surface, with each member's own factor, shape (h+1, m). [kg/m2/h]
        initial_c: Temperature of the concrete as placed, shape (m,). [degC]
        concrete: The concrete that hydrates in it.
        later: How it goes on past its end.
        water_ends_s: When curing water ends, UTC seconds, shape (m,); inf: not within the simulation, or no
            water cures the slab.
        is_ground_frozen: Whether the concrete placed last lies on frozen ground; that placed first does not.
        under_sheet: Whether a sheet lies on it, shape (h+1, m).
    """

    hours: Floats
    placed_s: Floats
    temperature_c: Floats
    age_h: Floats
    air: Air
    evaporation: Floats
    initial_c: Floats
    concrete: ConcreteProperties
    later: LaterWeeks
    water_ends_s: Floats
    is_ground_frozen: bool
    under_sheet: NDArray[np.bool_]

    @cached_property
    def later_age_h(self) -> Floats:
        """What is added to the equivalent age past the end, week by week, in h, shape (w+1, m, 3)."""
        return self.later.accumulate(self.temperature_c, hardening_rate(self.concrete))

    def mean_until(self, hours: float) -> Floats:
        """Return the mean temperature of the middle over the first hours, in degC, shape (m,)."""
        mean: Floats = self.temperature_c[self.hours <= hours, :, 1].mean(axis=0)
        return mean

    def age_at(self, when: datetime, depth: int) -> Floats:
        """Return the equivalent age of each member at an instant and one of the depths, in h, shape (m,)."""
        return self.at(self.age_h, self._hours_of(when))[:, depth]

    def temperature_at(self, when: datetime, depth: int) -> Floats:
        """Return the temperature of each member at an instant and one of the depths, in degC, shape (m,)."""
        return self.at(self.temperature_c, self._hours_of(when))[:, depth]

    def at(self, series: Floats, hours: Floats) -> Floats:
        """Return a series at an instant of each member, shape (m, 3); outside of the simulation, at its end.

        Args:
            series: Shape (h+1, m, 3).
            hours: Since placement, shape (m,). [h]
        """
        within = np.clip(hours, 0.0, self.hours[-1])
        low = np.minimum(within.astype(np.int64), len(self.hours) - 2)
        share = (within - low)[:, np.newaxis]
        members = np.arange(len(self.placed_s))
        return np.asarray(series[low, members] * (1.0 - share) + series[low + 1, members] * share)

    def _hours_of(self, when: datetime) -> Floats:
        """Return an instant in hours since the placement of each member, shape (m,)."""
        return np.asarray((when.timestamp() - self.placed_s) / HOUR_S)


def simulate_slab(
    job: JobRecord,
    weather: WeatherSeries,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    practice: Practice,
    *,
    cover: Floats | None = None,
    hours: float | None = None,
    until_h: Floats | None = None,
    blankets_until_h: Floats | None = None,
    water_ends: datetime | None = None,
    dry: DryHours | None = None,
    sheets: Sequence[SheetHours] = (),
) -> SlabSimulation:
    """Simulate the slab of a job in its weather, every member at once.

    Args:
        job: The record.
        weather: Without gaps from before the first placement to `DAYS` after the last.
        ensemble: The members, with their errors of that weather.
        concrete: Their concrete.
        practice: Rules and materials.
        cover: Resistance of the blankets on each member, shape (m,), instead of the record's cover. [m2K/W]
        hours: Another duration than `DAYS`, rounded up to whole hours. [h]
        until_h: Equivalent age of each member at which the simulation may end, once all have reached it at
            all depths, shape (m,); at its duration where left out. [h]
        blankets_until_h: Equivalent age of each member until which blankets stay on it, shape (m,); as the
            rules ask where left out. [h]
        water_ends: When curing water ends, by the watering plan; estimated where left out.
        dry: The hours before it in which the watering plan leaves the surface dry; none where left out.
        sheets: The hours in which a plastic sheet lies on the slab.
    """
    steps = _steps(hours)
    instants = np.concatenate([[0.0], np.cumsum(steps)])
    outdoors = weather_of_members(weather, ensemble)
    around = around_slab(job, outdoors, ensemble, practice, season_c=season_at_begin(job, weather))
    met = _sample(weather, around, instants, ensemble)
    delivered = met if around is outdoors else _sample(weather, outdoors, instants[:2], ensemble)
    shelter = practice.materials["exposure"][job.slab.exposure]
    near = wind_at(met["wind_ms"]) * shelter["wind"]
    whole = np.round(instants) % HOUR_S == 0.0
    grid = _column(job, practice)
    initial = _placed_c(job, delivered["air_c"][0], practice) + ensemble.placed_c
    deep_c = _deep_ground(job, weather, outdoors, ensemble, practice)
    air_c = around["air_c"]
    before_c, after_c = air_before(job, weather, air_c, practice), air_after(weather, air_c, ensemble)
    ground = ground_at_placement(grid, deep_c, before_c, after_c, ensemble, practice)
    initial_c = ground.temperature_c.copy()
    initial_c[:, : len(grid.concrete)] = initial[:, np.newaxis]
    look = practice.materials["surface"]
    is_blanketed = cover is not None or job.curing.method == "insulating blanket"
    moments_s = instants[:, np.newaxis] + ensemble.placed_s
    under_sheet = _is_under_sheet(sheets, moments_s)
    laying_h = laying_hours(job, ensemble.placed_s, practice)
    if is_blanketed:
        resistance = np.array([cover_resistance(job, practice)]) if cover is None else cover
        laid = np.where(instants[:-1, np.newaxis] >= laying_h[0] * HOUR_S, resistance, 0.0)
    else:
        laid = np.where(under_sheet[:-1], practice.materials["cover"][SHEET], 0.0)
    water = _water(job, instants, ensemble.placed_s, concrete, practice, water_ends, dry)
    result = march(
        grid,
        _hydrating(concrete, ensemble, practice),
        surface_exchange(
            Surface(
                _absorptivity(job, instants, ensemble, practice, under_sheet[:-1]),
                look["emissivity"],
                shelter["sky"],
                shelter["sun"],
            ),
            air_c=met["air_c"],
            vapour_pa=vapour_pressure(met["air_c"], met["relative_humidity"]),
            wind_ms=near,
            cloud=met["cloud"],
            shortwave_wm2=met["sun"] * ensemble.sun,
            cover=laid,
            film_factor=ensemble.film,
            evaporation_factor=ensemble.evaporation,
        ),
        steps=steps,
        initial_c=initial_c,
        deep_c=deep_c,
        frozen=ground.frozen,
        initial_age_h=_age_in_the_truck(job, initial, ensemble, concrete, practice),
        wetness=water.wetness,
        covering=blanket_cover(
            laid,
            instants,
            met["air_c"],
            _blanket_needs(job, concrete, practice, blankets_until_h),
            practice,
            latest_h=laying_h[1],
            is_finished=job.placement.finished is not None,
        )
        if is_blanketed
        else None,
        keep=whole,
        until=None if until_h is None else lambda age_h: bool((age_h >= until_h[:, np.newaxis]).all()),
    )
    whole = np.flatnonzero(whole)[: len(result.seconds)]
    climate = climate_at(job.site) if has_seasons(job) else None
    air = Air(met["air_c"][whole], met["relative_humidity"][whole], near[whole])
    surface_c = result.temperature_c[:, :, 0]
    return SlabSimulation(
        hours=result.seconds / HOUR_S,
        placed_s=ensemble.placed_s,
        temperature_c=result.temperature_c,
        age_h=result.equivalent_age_h,
        air=air,
        evaporation=ensemble.evaporation
        * evaporation_rate(surface_c, air.air_c, air.relative_humidity, air.wind_ms),
        initial_c=initial,
        concrete=concrete,
        later=later_weeks(result.seconds / HOUR_S, utc64(job.placement.end), climate),
        water_ends_s=water.ends_s(),
        is_ground_frozen=bool(ground.frozen.any()),
        under_sheet=under_sheet[whole],
    )


def _blanket_needs(
    job: JobRecord, concrete: ConcreteProperties, practice: Practice, until_h: Floats | None
) -> ProtectionNeeds:
    """Return what must be reached before blankets come off, with an equivalent age of each member, (m,)."""
    needs = protection_needs(job, concrete, practice)
    return needs if until_h is None else replace(needs, age_h=np.maximum(needs.age_h, until_h))


def cover_resistance(job: JobRecord, practice: Practice) -> float:
    """Return the resistance of the cover that the curing uses, in m2K/W."""
    recorded = job.curing.blanket_r_value
    if job.curing.method == "insulating blanket" and recorded is not None:
        return recorded
    return float(practice.materials["cover"].get(job.curing.method, 0.0))


def _steps(hours: float | None) -> Floats:
    """Return the time steps, short while the concrete sets, with every whole hour, in s, shape (s,)."""
    fine = np.full(_FINE * 3, HOUR_S / 3)
    middling = np.full((_MIDDLING - _FINE) * 2, HOUR_S / 2)
    last = DAYS * 24 if hours is None else int(np.ceil(hours))
    steps = np.concatenate([fine, middling, np.full(max(last - _MIDDLING, 0), HOUR_S)])
    return np.asarray(steps[np.cumsum(steps) < (last + 0.5) * HOUR_S])


def _sample(weather: WeatherSeries, hourly: Hourly, instants: Floats, ensemble: Ensemble) -> Hourly:
    """Return the weather of the members: at the step instants (s+1, m), the sun over the steps (s, m)."""
    parts = [
        _sample_group(weather, hourly, group, ensemble.placed_s[group.start] + instants)
        for group in ensemble.groups
    ]
    return {name: np.concatenate([part[name] for part in parts], axis=1) for name in parts[0]}


def _sample_group(weather: WeatherSeries, hourly: Hourly, group: slice, moments: Floats) -> Hourly:
    """Return the weather of members placed at the same time."""
    known = weather.seconds
    at = np.clip(np.searchsorted(known, moments, side="right") - 1, 0, len(known) - 2)
    share = ((moments - known[at]) / (known[at + 1] - known[at]))[:, np.newaxis]
    sampled = {
        name: hourly[name][:, group][at] * (1.0 - share) + hourly[name][:, group][at + 1] * share
        for name in ("air_c", "relative_humidity", "wind_ms", "cloud")
    }
    sun = hourly["sun"][:, group]
    fallen = np.concatenate([np.zeros((1, sun.shape[1])), np.cumsum(sun[1:], axis=0)]) * HOUR_S
    reached = fallen[at] * (1.0 - share) + fallen[at + 1] * share
    sampled["sun"] = np.diff(reached, axis=0) / np.diff(moments)[:, np.newaxis]
    return sampled


def _is_under_sheet(sheets: Sequence[SheetHours], moments_s: Floats) -> NDArray[np.bool_]:
    """Return whether a sheet lies on each member at some moments in UTC seconds, shape (n, m)."""
    under = np.zeros(moments_s.shape, dtype=bool)
    for sheet in sheets:
        under |= sheet.at(moments_s)
    return under


def _absorptivity(
    job: JobRecord, instants: Floats, ensemble: Ensemble, practice: Practice, under_sheet: NDArray[np.bool_]
) -> Floats:
    """Return the share of the sun that the surface takes up over each step, shape (s, m) or (1, 1).

    Where the colour of compound or sheet is not known, the concrete placed last has the coolest one, for
    dates that must be safe, and the concrete placed first the warmest, for dates that must not be missed.
    """
    bare: float = practice.materials["surface"]["absorptivity"]
    coat = practice.materials["colour"].get(job.curing.method) if job.curing.method != SHEET else None
    if coat is None and not under_sheet.any():
        return np.full((1, 1), bare)
    colours = practice.materials["colour"][SHEET] if coat is None else coat
    lowest, highest = absorptivity_of(colours, job.curing.colour)
    of_members = np.full(len(ensemble), lowest)
    of_members[ensemble.first_placed] = highest
    is_coloured = under_sheet if coat is None else _is_finished(job, instants, ensemble.placed_s, practice)
    return np.where(is_coloured, of_members, bare)


def _is_finished(job: JobRecord, instants: Floats, placed_s: Floats, practice: Practice) -> NDArray[np.bool_]:
    """Return for each step whether each member is finished, so that a coat is on it, shape (s, m)."""
    finished = job.placement.finished
    late_s = np.full(len(placed_s), practice["cover.laid"] * HOUR_S)
    from_s = late_s if finished is None else np.maximum(finished.timestamp() - placed_s, 0.0)
    return np.asarray(instants[:-1, np.newaxis] >= from_s)


def absorptivity_of(by_colour: dict[str, list[float]], colour: str | None) -> tuple[float, float]:
    """Return the lowest and the highest share of the sun, of a colour or, if it is not known, of all."""
    if colour in by_colour:
        low, high = by_colour[colour]
        return (low + high) / 2.0, (low + high) / 2.0
    return min(low for low, _ in by_colour.values()), max(high for _, high in by_colour.values())


def _column(job: JobRecord, practice: Practice) -> GridColumn:
    materials = practice.materials
    slab = job.slab
    cells = max(6, 2 * round(slab.thickness / _CELL / 2))  # even, so that a node is in the middle
    layers = [_layer(materials[name], 3) for name in materials["under"][slab.on]]
    soil = materials["soil"]
    return grid_column(
        Layer(
            slab.thickness,
            materials["concrete"]["conductivity"],
            materials["concrete"]["heat_capacity"],
            cells,
        ),
        [*layers, Layer(_GROUND, soil["conductivity"], soil["heat_capacity"], 9, 1.4, _ice(soil))],
    )


def _layer(material: dict[str, float], cells: int) -> Layer:
    return Layer(
        material["thickness"],
        material["conductivity"],
        material["heat_capacity"],
        cells,
        ice=_ice(material),
    )


def _ice(material: dict[str, float]) -> float:
    """Return the latent heat of the water in ground, in J/m3."""
    return material["water"] * DENSITY_OF_WATER * HEAT_OF_FUSION


def _placed_c(job: JobRecord, air_c: Floats, practice: Practice) -> Floats:
    """Return the temperature of the concrete as placed: measured, or the air's but not below the lowest."""
    measured = job.placement.concrete_temperature
    if measured is not None:
        return np.full_like(air_c, measured)
    coldest: float = practice.materials["placing"]["coldest_mix_c"]
    return np.maximum(air_c, coldest)


def _age_in_the_truck(
    job: JobRecord, placed_c: Floats, ensemble: Ensemble, concrete: ConcreteProperties, practice: Practice
) -> Floats:
    """Return the equivalent age of concrete on arrival, at its placing temperature, in h, shape (m,)."""
    return np.asarray(truck_hours(job, ensemble, practice) * reaction_rate(placed_c, concrete.hydration))


def _deep_ground(
    job: JobRecord, weather: WeatherSeries, outdoors: Hourly, ensemble: Ensemble, practice: Practice
) -> Floats:
    """Return the ground deep below the slab, in degC, shape (m,).

    At the placement, by the climate of the place: it is later than the air by weeks, so it does not follow
    from the weather to come. Members in colder weather than forecast have colder ground. Where the place is
    not known, the mean air of the simulation.
    """
    climate = climate_at(job.site)
    if climate is None:
        return air_after(weather, outdoors["air_c"], ensemble, DAYS)
    soil = practice.materials["soil"]
    placed = utc64(job.placement.end)
    season = climate.ground_c(np.array([placed]), _GROUND, soil["conductivity"] / soil["heat_capacity"])
    ahead = (weather.time >= placed) & (weather.time < placed + np.timedelta64(DAYS, "D"))
    return np.asarray(season + ensemble.errors["air_c"][ahead].mean(axis=0))


def _hydrating(concrete: ConcreteProperties, ensemble: Ensemble, practice: Practice) -> Hydrating:
    curve = concrete.hydration
    warm, cold = curve.activation_energy, curve.cold_activation_energy
    return Hydrating(
        curve.ultimate,
        curve.tau_h,
        curve.beta,
        concrete.heat_j_m3,
        warm,
        curve.reference_c,
        concrete.freezing,
        cold_activation_energy=None if np.array_equal(warm, cold) else cold,
        dormant_h=practice["setting.dormant"] * concrete.initial_set_h + concrete.heat_delay_h,
        thickness=ensemble.thickness,
    )


class _Water(NamedTuple):
    """How wet the surface is, step by step, and when curing water ends as far as the steps have come."""

    wetness: Wetness
    ends_s: Callable[[], Floats]  # UTC seconds, shape (m,)


def _water(
    job: JobRecord,
    instants: Floats,
    placed_s: Floats,
    concrete: ConcreteProperties,
    practice: Practice,
    ends: datetime | None,
    dry: DryHours | None,
) -> _Water:
    """Return how wet the surface is: bleed water until final set, then curing water, first to last.

    Nobody knows which member they have: all are watered until the end of the watering plan. Before there is a
    plan, until the morning after enough of them are cured.
    """
    until_s = np.full(len(placed_s), np.inf if ends is None else ends.timestamp()) - placed_s
    if job.curing.method not in practice.methods:
        return _Water(_bleeding(concrete.final_set_h), lambda: until_s + placed_s)
    moist = np.ones((len(instants) - 1, len(placed_s)))
    if dry is not None:
        moist = dry.moist_share(instants[:, np.newaxis] + placed_s)
    water_h = concrete.final_set_h + practice["first-water.wait"]
    least_s, strong_h = _last_water(job, concrete, practice)
    share = practice["spread.share"]
    is_old, is_dry = False, False  # for good

    def wet(step: int, age_h: Floats) -> Floats | None:
        nonlocal until_s, is_old, is_dry
        if is_dry:
            return None
        now_s = instants[step]
        is_open = until_s[0] == np.inf and now_s >= least_s
        if is_open and np.mean(age_h >= strong_h) >= share:
            until_s = np.full(len(placed_s), now_s + _DAY_S)
        is_old = is_old or bool((age_h >= water_h).all())
        if is_old and now_s < until_s.min():
            return np.asarray(moist[step])
        is_watered = (age_h >= water_h) & (now_s < until_s)
        is_soft = age_h < concrete.final_set_h
        is_dry = now_s >= until_s[0] and not ((now_s < until_s) | is_soft).any()
        return np.where(is_soft, 1.0, is_watered * moist[step])

    return _Water(wet, lambda: until_s + placed_s)


def _bleeding(final_set_h: Floats) -> Wetness:
    """Return how wet a surface without curing water is: as long as it bleeds, until final set."""
    is_dry = False

    def wet(_: int, age_h: Floats) -> Floats | None:
        nonlocal is_dry
        if is_dry:
            return None
        is_soft = age_h < final_set_h
        is_dry = not is_soft.any()
        return np.where(is_soft, 1.0, 0.0)

    return wet


def _last_water(job: JobRecord, concrete: ConcreteProperties, practice: Practice) -> tuple[float, Floats]:
    """Return when curing water ends: after a time, in s, and after an age of each member, in h, shape (m,).

    They are the days of the rules in warm weather and their share of strength; how days of a cold week are
    counted is known only once the slab is simulated.
    """
    gates = practice.gates_for("curing-ends", slab_circumstances(job))
    hours = [gate.value for gate in gates if gate.unit == "h" and gate.value]
    tables = [practice.durations[gate.table] for gate in gates if gate.table]
    hours += [float(required_hours(table, table.bands[0].from_c)) for table in tables]
    shares = [gate.value for gate in gates if gate.measure == "share of strength" and gate.value]
    ages = [concrete.age_at_strength(share * concrete.specified_mpa) for share in shares]
    return max(hours, default=0.0) * HOUR_S, np.maximum.reduce([concrete.final_set_h, *ages])
