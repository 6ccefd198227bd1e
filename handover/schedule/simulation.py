"""The simulation of a job: record, weather, concrete and slab, from which dates and plans are computed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S
from handover.errors import OutOfRange, UnusableInput
from handover.practice.rules import general_rules
from handover.schedule.apply_measurements import apply_concrete_measurements, apply_slab_measurements
from handover.schedule.ensemble import CENTRAL, MEMBERS, draw_ensemble
from handover.schedule.measurement_result import MeasurementResult
from handover.schedule.mix import after_first_day, concrete_properties
from handover.schedule.model import SHEET
from handover.schedule.rule_selection import rules_for
from handover.schedule.slab_age import hours_to_age
from handover.schedule.slab_simulation import DAYS, SheetHours, simulate_slab
from handover.schedule.surface_observations import condition_on_setting
from handover.schedule.surroundings import around_slab, season_at_begin, weather_of_members
from handover.weather.climate import climate_at
from handover.weather.extrapolate import extrapolate
from handover.weather.fit_check import check_fit

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.practice.rules import CuringMethod, Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.slab_simulation import DryHours, SlabSimulation
    from handover.weather.series import WeatherSeries

SHARE = general_rules()["spread.share"]
_MEDIAN = 0.5
_BARE_H = 72.0  # of the slab without its sheet: past its set, and a day more


class DeliveredConcrete(NamedTuple):
    """The concrete as the simulation of a slab begins, and what its measurements show."""

    concrete: ConcreteProperties
    measurements: MeasurementResult


class LikelySurface(NamedTuple):
    """The surface of the likely case as the watering plan leaves it, at each whole hour, shape (h+1,) each.

    Attributes:
        temperature_c: Of the surface. [degC]
        evaporation: Of an open, wet surface of that temperature. [kg/m2/h]
        is_covered: Whether a sheet lies on it between two waterings.
    """

    temperature_c: Floats
    evaporation: Floats
    is_covered: NDArray[np.bool_]


@dataclass(frozen=True)
class Simulation:
    """A job with its slab simulated hour by hour, every member of the ensemble at once.

    Attributes:
        job: The record; without a place in the record, its place is that of the weather.
        weather: Hourly, extended to the end of the simulation.
        practice: The rules in force.
        ensemble: The members.
        concrete: Their concrete, corrected by cylinders and tickets.
        slab: Their slab, corrected by a temperature log.
        share: Share of the members that must have met a condition before its date is "not before".
        delivered: The concrete and its measurements, as the simulation of the slab begins.
        measurements: What the measurements show and change.
        likely_surface: Surface of the likely case where the watering plan leaves it dry for hours, or where a
            sheet lies on it between waterings; None: it is the wet, open one of the slab.
        dry: Hours in which the watering plan leaves the surface dry; None: no day has too many of them.
        bare: The slab without the sheet that cures it, for its first days; None: no sheet cures it.
        sheet_from_s: From when a sheet cures the slab, UTC seconds, shape (m,); None: none does.
    """

    job: JobRecord
    weather: WeatherSeries
    practice: Practice
    ensemble: Ensemble
    concrete: ConcreteProperties
    slab: SlabSimulation
    share: float
    delivered: DeliveredConcrete
    measurements: MeasurementResult = field(default_factory=MeasurementResult)
    likely_surface: LikelySurface | None = None
    dry: DryHours | None = None
    bare: SlabSimulation | None = None
    sheet_from_s: Floats | None = None

    @property
    def method(self) -> CuringMethod | None:
        """How the curing holds water, or None where nothing is watered."""
        return self.practice.methods.get(self.job.curing.method)

    @property
    def is_insulated(self) -> bool:
        """Whether a cover keeps the slab warm."""
        return self.job.curing.method == "insulating blanket"

    @property
    def has_sheet(self) -> bool:
        """Whether a plastic sheet cures the slab, which lies on it until curing ends."""
        return self.job.curing.method == SHEET

    @property
    def bare_slab(self) -> SlabSimulation:
        """The slab with a bare top: for its drying in the hours before any cover."""
        return self.bare or self.slab

    @property
    def likely_evaporation(self) -> Floats:
        """The evaporation of an open, wet surface of the likely case, in kg/m2/h, shape (h+1,)."""
        likely = self.likely_surface
        return self.slab.evaporation[:, CENTRAL] if likely is None else likely.evaporation

    @property
    def likely_surface_c(self) -> Floats:
        """The surface of the likely case, in degC, shape (h+1,)."""
        likely = self.likely_surface
        return self.slab.temperature_c[:, CENTRAL, 0] if likely is None else likely.temperature_c

    @cached_property
    def air_c(self) -> Floats:
        """The air around the slab, of the central member, in degC, at the hours of the weather, (n,)."""
        one = self.ensemble.subset(np.array([CENTRAL]))
        outdoors = weather_of_members(self.weather, one)
        season_c = season_at_begin(self.job, self.weather)
        around = around_slab(self.job, outdoors, one, self.practice, season_c=season_c)
        return np.asarray(around["air_c"][:, 0])

    def cold_end(self, values: Floats) -> Floats:
        """Return the cold end of the band, row by row: (n, m) to (n,)."""
        return np.asarray(np.quantile(values, 1.0 - self.share, axis=1))

    @cached_property
    def coldest_top_c(self) -> Floats:
        """The top of the concrete placed last, at the cold end of the band, in degC, shape (h+1,).

        It is bare as long as the crew may not have laid the sheet that cures the slab.
        """
        last = self.ensemble.last_placed
        coldest = self.cold_end(self.slab.temperature_c[:, last, 0])
        if self.bare is None or self.sheet_from_s is None:
            return coldest
        laid_s = float(np.quantile(self.sheet_from_s[last], self.share))
        bare = self.bare.hours <= (laid_s - float(self.slab.placed_s[last][0])) / HOUR_S
        known = slice(0, int(bare.sum()))
        coldest[known] = np.minimum(coldest[known], self.coldest_bare_top_c[known])
        return coldest

    @cached_property
    def coldest_bare_top_c(self) -> Floats:
        """The same without any cover, in degC, for the hours in which it is known, shape (b+1,)."""
        return self.cold_end(self.bare_slab.temperature_c[:, self.ensemble.last_placed, 0])

    def coldest_air(self, until: datetime | None) -> float:
        """Return the coldest air from placement until an instant, at the cold end of the band, in degC."""
        young = self.slab_s(CENTRAL) <= (np.inf if until is None else until.timestamp())
        air = self.slab.air.air_c[young][:, self.ensemble.last_placed]
        return float(self.cold_end(air).min())

    def is_cold_until(self, until: datetime | None) -> bool:
        """Return whether cold weather may come before an instant, at the cold end of the band."""
        return self.coldest_air(until) <= self.practice["frost.cold-weather"]

    @cached_property
    def curing_share(self) -> Floats:
        """Return the share of each hour that counts towards the days of curing, shape (h, m).

        Past the watering plan, an hour counts as one does on average over the plan.
        """
        slab = self.slab
        if self.dry is None:
            return np.ones((len(slab.hours) - 1, 1))
        counts = self.practice["curing.dry-hour"]
        moments_s = slab.hours[:, np.newaxis] * HOUR_S + slab.placed_s
        moist = self.dry.moist_share(moments_s)
        moist[moments_s[1:] > self.dry.ends_s] = self.dry.mean_moist_share
        return np.asarray(moist + (1.0 - moist) * counts)

    def curing_share_later(self) -> float:
        """Return the share that counts of the time past the simulation."""
        return 1.0 if self.dry is None else float(self.curing_share[-1, 0])

    def frost_strength(self) -> float:
        """Return the strength that withstands frost by the strictest rule, in MPa."""
        gates = self.practice.gates_of("frost-safe", self.job.slab.use)
        return max(gate.value or 0.0 for gate in gates)

    def longest_spacing(self) -> float:
        """Return the longest spacing of joints without cracks between them, in m."""
        by_thickness = self.practice["joints.spacing"] * self.job.slab.thickness
        return min(by_thickness, self.practice["joints.longest"])

    def slab_s(self, member: int) -> Floats:
        """Return the whole hours of a member's slab, UTC seconds, shape (h+1,)."""
        seconds: Floats = self.slab.placed_s[member] + self.slab.hours * HOUR_S
        return seconds


def simulate(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    *,
    typical: WeatherSeries | None = None,
    share: float = SHARE,
    members: int = MEMBERS,
    practice: Practice | None = None,
    days: int = DAYS,
) -> Simulation:
    """Simulate the slab of a job in its weather.

    Args:
        job: The record.
        weather: Hourly, from the hour of the pour or before; past its end, typical weather is used.
        as_of: Time of issue, aware.
        typical: A typical year of the place, from which the hours past the forecast are drawn.
        share: See `Simulation`; above 0.5 and below 1.
        members: Size of the ensemble.
        practice: Rules; None: those of the site's country.
        days: How long after the placement.

    Raises:
        UnusableInput: The weather is of another place or time; carries all findings.
        OutOfRange: ``as_of`` is not aware, or ``share`` out of its range.
    """
    if as_of.tzinfo is None:
        raise OutOfRange("as_of needs a time zone")
    if not _MEDIAN < share < 1.0:
        raise OutOfRange(f"share is above {_MEDIAN} and below 1, not {share}")
    practice = practice or rules_for(job)[0]
    until = job.placement.end.astimezone(UTC) + timedelta(days=days, hours=1)
    findings = check_fit(weather, job.site, job.placement.start, until, as_of)
    faults = [finding for finding in findings if finding.severity == "fault"]
    if faults:
        raise UnusableInput(faults)
    job = without_future_finish(with_coordinates(job, weather), as_of)
    whole, ensemble = prepare_ensemble(
        job, weather, as_of, until, practice=practice, members=members, typical=typical
    )
    by_mix = concrete_properties(job.mix, ensemble, practice)
    as_delivered, of_concrete = apply_concrete_measurements(job, by_mix, practice)
    ensemble, as_delivered, of_setting = condition_on_setting(job, whole, ensemble, as_delivered, practice)
    delivered = DeliveredConcrete(as_delivered, of_concrete + of_setting)
    bare, sheets = bare_before_sheet(job, whole, ensemble, as_delivered, practice)
    by_model = simulate_slab(job, whole, ensemble, as_delivered, practice, hours=24.0 * days, sheets=sheets)
    simulation = Simulation(
        job,
        whole,
        practice,
        ensemble,
        as_delivered,
        by_model,
        share,
        delivered=delivered,
        bare=bare,
        sheet_from_s=sheets[0].from_s if sheets else None,
    )
    return _with_slab(simulation, by_model)


def bare_before_sheet(
    job: JobRecord,
    weather: WeatherSeries,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    practice: Practice,
) -> tuple[SlabSimulation | None, tuple[SheetHours, ...]]:
    """Return the slab without the sheet that cures it, and from when that lies; nothing where none does.

    The crew may draw it over the slab after the last pass, or lay it once a step leaves no mark. The concrete
    placed first has it at once, which is warmer, for dates that must not be missed. The concrete placed last
    has it from its own final set on, for dates that must be safe.
    """
    if job.curing.method != SHEET:
        return None, ()
    bare = simulate_slab(job, weather, ensemble, concrete, practice, hours=_BARE_H)
    finished, placed_s = job.placement.finished, ensemble.placed_s
    if finished is None:
        over_s = placed_s + np.minimum(_whole_hours(bare, concrete.initial_set_h), bare.hours[-1]) * HOUR_S
    else:
        over_s = np.maximum(finished.timestamp(), placed_s)
    from_s = _sheet_from(over_s, bare, concrete, ensemble)
    return bare, (SheetHours(from_s, np.full(len(ensemble), np.inf)),)


def _sheet_from(
    over_s: Floats, bare: SlabSimulation, concrete: ConcreteProperties, ensemble: Ensemble
) -> Floats:
    """Return from when a sheet lies on each member, UTC seconds, shape (m,): see `bare_before_sheet`.

    Args:
        over_s: From when it may be drawn over the slab, UTC seconds, shape (m,).
        bare: The slab without it.
        concrete: Its concrete.
        ensemble: Its members.
    """
    is_set_h = np.minimum(_whole_hours(bare, concrete.final_set_h), min(bare.hours[-1], _BARE_H))
    from_s = np.maximum(over_s, bare.placed_s + is_set_h * HOUR_S)
    from_s[ensemble.first_placed] = over_s[ensemble.first_placed]
    return from_s


def _whole_hours(slab: SlabSimulation, age_h: Floats) -> Floats:
    """Return the first whole hour at which a slab has an age, shape (m,).

    Ages are kept by whole hours, and a set is found between two of them: a sheet that lay from the minute of
    the set on would move the set itself.
    """
    return np.asarray(np.ceil(hours_to_age(slab, age_h)))


def watered_until(simulation: Simulation, ends: datetime, cover_ends: datetime | None = None) -> Simulation:
    """Return a simulation whose curing water does not end before the watering plan.

    The same one where it ends with the plan or after it, and no sheet lies on the slab: that comes off when
    curing ends. A plan that ends early, because a wet slab would
    freeze, rests on a slab that stays wet: one that dried with it would not freeze, and so have no such end.

    Args:
        simulation: As it was planned by.
        ends: End of the watering plan.
        cover_ends: When a sheet that cures the slab comes off; None: past the estimate.
    """
    water_ends_s = float(simulation.slab.water_ends_s[CENTRAL])
    is_later = ends.timestamp() > water_ends_s
    if simulation.method is None or not (is_later or simulation.has_sheet):
        return simulation
    is_reached = not is_later and np.isfinite(water_ends_s)
    until = datetime.fromtimestamp(water_ends_s, ends.tzinfo) if is_reached else None
    slab = simulate_slab(
        simulation.job,
        simulation.weather,
        simulation.ensemble,
        simulation.delivered.concrete,
        simulation.practice,
        hours=float(simulation.slab.hours[-1]),
        water_ends=ends if is_later else until,
        sheets=_sheet_until(simulation, cover_ends),
    )
    return _with_slab(simulation, slab)


def _sheet_until(simulation: Simulation, ends: datetime | None) -> tuple[SheetHours, ...]:
    """Return the sheet that cures the slab, until an instant; None: it stays."""
    from_s = simulation.sheet_from_s
    if from_s is None:
        return ()
    return (SheetHours(from_s, np.full(len(from_s), np.inf if ends is None else ends.timestamp())),)


def with_dry_surface(simulation: Simulation, dry: DryHours) -> Simulation:
    """Return a simulation with its likely surface as hot as the dry hours of the watering plan leave it.

    In these hours nothing cools the surface by evaporation: what the pores still lose is left out, so that it
    is the hot end. Strength stays that of the wet slab, which is cooler and gains it later: an owner who
    waters more often than planned must not find a date too early. A slab with a temperature log keeps its
    surface, because the log has its dry hours.

    Args:
        simulation: All wet until curing ends.
        dry: At least one hour.
    """
    if simulation.measurements.log_correction is not None:
        return simulation
    surface = _likely_surface(simulation, float(simulation.slab.hours[-1]), dry=dry)
    return replace(
        simulation, likely_surface=surface._replace(evaporation=simulation.slab.evaporation[:, CENTRAL])
    )


def with_sheet_between(simulation: Simulation, spans: Iterable[tuple[datetime, datetime]]) -> Simulation:
    """Return a simulation with its likely surface under a sheet between its waterings, warmer than open.

    Strength stays that of the open slab, as it does with dry hours: dates do not count on the owner's sheet.

    Args:
        simulation: Open and wet.
        spans: From when until when the sheet lies on it.
    """
    if simulation.measurements.log_correction is not None:
        return simulation
    sheets = [SheetHours(*(np.array([each.timestamp()]) for each in span)) for span in spans]
    until_s = max(
        (float(each.until_s[0]) for each in sheets), default=float(simulation.slab.placed_s[CENTRAL])
    )
    hours = min(
        (until_s - float(simulation.slab.placed_s[CENTRAL])) / HOUR_S, float(simulation.slab.hours[-1])
    )
    return replace(simulation, likely_surface=_likely_surface(simulation, hours, sheets=sheets))


def _likely_surface(
    simulation: Simulation, hours: float, *, dry: DryHours | None = None, sheets: Sequence[SheetHours] = ()
) -> LikelySurface:
    """Simulate the likely case alone for some hours, with dry hours or under sheets; then as it was."""
    one, slab = np.array([CENTRAL]), simulation.slab
    ends_s = float(slab.water_ends_s[CENTRAL])
    likely = simulate_slab(
        simulation.job,
        simulation.weather,
        simulation.ensemble.subset(one),
        simulation.delivered.concrete.subset(one),
        simulation.practice,
        hours=hours,
        water_ends=datetime.fromtimestamp(ends_s, UTC) if np.isfinite(ends_s) else None,
        dry=dry,
        sheets=sheets,
    )
    known = _with_members(slab, likely, one)
    return LikelySurface(
        known.temperature_c[:, CENTRAL, 0], known.evaporation[:, CENTRAL], known.under_sheet[:, CENTRAL]
    )


def under_crews_sheet(simulation: Simulation, start: datetime, until: datetime) -> Simulation:
    """Return a simulation of the first days under a sheet that the crew draws over the open slab.

    For the hours of sawing alone: it is warmer under it, which counts for what must not be missed. It lies as
    one that cures the slab does: the concrete placed last has it from its own final set on.

    Args:
        simulation: The slab, open until first water.
        start: From when the sheet may lie.
        until: When it comes off.
    """
    ensemble, slab = simulation.ensemble, simulation.slab
    over_s = np.maximum(slab.placed_s, start.timestamp())
    from_s = _sheet_from(over_s, slab, simulation.delivered.concrete, ensemble)
    ends_s = float(slab.water_ends_s[CENTRAL])
    hours = float((until.timestamp() - slab.placed_s).max()) / HOUR_S + _BARE_H
    covered = simulate_slab(
        simulation.job,
        simulation.weather,
        ensemble,
        simulation.delivered.concrete,
        simulation.practice,
        hours=min(hours, float(slab.hours[-1])),
        water_ends=datetime.fromtimestamp(ends_s, UTC) if np.isfinite(ends_s) else None,
        sheets=[SheetHours(from_s, np.full(len(ensemble), until.timestamp()))],
    )
    return replace(simulation, slab=_with_members(slab, covered, np.arange(len(ensemble))))


def _with_members(slab: SlabSimulation, some: SlabSimulation, members: NDArray[np.int_]) -> SlabSimulation:
    """Return a slab with some members as in a shorter simulation; past its end they are as warm as before."""
    known, end = len(some.hours), len(some.hours) - 1
    temperature_c, age_h, under = slab.temperature_c.copy(), slab.age_h.copy(), slab.under_sheet.copy()
    evaporation = slab.evaporation.copy()
    age_h[known:, members] += some.age_h[end] - age_h[end, members]
    temperature_c[:known, members], age_h[:known, members] = some.temperature_c, some.age_h
    evaporation[:known, members], under[:known, members] = some.evaporation, some.under_sheet
    return replace(slab, temperature_c=temperature_c, age_h=age_h, evaporation=evaporation, under_sheet=under)


def _with_slab(simulation: Simulation, by_model: SlabSimulation) -> Simulation:
    """Return a simulation with a slab by the model, and what its warmth and its measurements change."""
    job, ensemble, practice = simulation.job, simulation.ensemble, simulation.practice
    as_delivered, of_concrete = simulation.delivered
    first_day_c = by_model.mean_until(practice["strength.warm-until"])
    warmed = after_first_day(as_delivered, first_day_c, practice)
    concrete, slab, of_slab = apply_slab_measurements(job, ensemble, warmed, by_model, practice)
    return replace(simulation, concrete=concrete, slab=slab, measurements=of_concrete + of_slab)


def without_future_finish(job: JobRecord, as_of: datetime) -> JobRecord:
    """Return a job without an end of finishing that lies ahead at the time of issue.

    It is a plan then: the concrete has not shown yet that it sets in time for it. As with a record that has
    none, the plan goes by the likely set, and the papers say "about".
    """
    finished = job.placement.finished
    if finished is None or finished.astimezone(UTC) <= as_of.astimezone(UTC):
        return job
    return job.model_copy(update={"placement": job.placement.model_copy(update={"finished": None})})


def with_coordinates(job: JobRecord, weather: WeatherSeries) -> JobRecord:
    """Return the job, with the place of its weather if the record has none."""
    if job.site.latitude is not None or weather.latitude is None:
        return job
    site = job.site.model_copy(update={"latitude": weather.latitude, "longitude": weather.longitude})
    return job.model_copy(update={"site": site})


def prepare_ensemble(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    until: datetime,
    *,
    practice: Practice,
    members: int,
    typical: WeatherSeries | None = None,
) -> tuple[WeatherSeries, Ensemble]:
    """Return the weather extended to an instant, and the members with their errors of it.

    Args:
        job: The record, with its place.
        weather: Hourly, as received.
        as_of: Time of issue, aware.
        until: End of the simulation, aware.
        practice: Rules.
        members: Size of the ensemble.
        typical: A typical year of the place, from which the hours past the forecast are drawn.
    """
    climate = climate_at(job.site)
    whole = extrapolate(weather, until, typical=typical, climate=climate)
    issued_s = (weather.issued_at or as_of).timestamp()
    ensemble = draw_ensemble(
        job,
        whole,
        practice,
        forecast_issued_s=issued_s,
        members=members,
        typical=typical,
        climate=climate,
    )
    return whole, ensemble
