"""The schedule of a job: the one place where job, weather, physics and rules meet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.hydration import degree_of_hydration
from handover.concrete.maturity import temperature_time_factor
from handover.errors import OutOfRange, UnusableInput
from handover.schedule.apply_measurements import apply_concrete_measurements, apply_slab_measurements
from handover.schedule.date_dependencies import apply_dependencies
from handover.schedule.dates import compute_dates
from handover.schedule.ensemble import CENTRAL, MEMBERS, draw_ensemble
from handover.schedule.frost_protection import plan_protection
from handover.schedule.joints import plan_joints
from handover.schedule.mix import concrete_properties
from handover.schedule.model import (
    Assumption,
    Band,
    CureSchedule,
    Depths,
    Figure,
    MilestoneKind,
    SlabHistory,
    WeatherBasis,
)
from handover.schedule.risks import compile_cautions, find_risks
from handover.schedule.rule_selection import rules_for
from handover.schedule.simulation import Simulation
from handover.schedule.slab_simulation import DAYS, simulate_slab
from handover.schedule.watering import plan_watering
from handover.weather.beyond import extend
from handover.weather.check import check_fit
from handover.weather.series import Origin

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.model import Basis
    from handover.weather.series import WeatherSeries


SHARE = 0.90
_MEDIAN = 0.5
_BASIS: dict[int, Basis] = {
    Origin.OBSERVED: "observed",
    Origin.FORECAST: "forecast",
    Origin.TYPICAL: "typical",
}


def plan_cure(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    *,
    revision: int = 1,
    typical: WeatherSeries | None = None,
    share: float = SHARE,
    members: int = MEMBERS,
    rules: str | None = None,
) -> CureSchedule:
    """Return the schedule of a job under its weather.

    Args:
        job: The record.
        weather: Hourly, from the hour of the pour or before; what lies past its end is filled in as typical.
        as_of: Time of issue, aware.
        revision: Of the issue, 1 and up.
        typical: A typical year of the place, from which the hours past the forecast are drawn.
        share: Share of the cases that a "not before" is late enough for, above 0.5 and below 1.
        members: How many cases are reckoned with.
        rules: Code of the rules to plan by ("us", "de", "strictest"); None: those of the site's country.

    Raises:
        UnusableInput: The weather is of another place or time, or there are no such ``rules``; carries all
            that is wrong.
        OutOfRange: ``as_of`` is not aware, or ``share`` out of its range.
    """
    practice, ruled = rules_for(job, rules)
    simulation = simulate(
        job, weather, as_of, typical=typical, share=share, members=members, practice=practice
    )
    job, whole = simulation.job, simulation.weather
    basis = _basis_of(whole)
    simulation.milestones, refused = compute_dates(simulation, basis)
    simulation.watering = plan_watering(simulation, basis)
    dangers = find_risks(simulation)
    return CureSchedule(
        job=job.id,
        revision=revision,
        issued_at=as_of.astimezone(job.zone),
        timezone=job.site.timezone,
        placement_start=job.placement.start,
        placement_end=job.placement.end,
        finished=job.placement.finished,
        area_m2=job.slab.area,
        thickness_m=job.slab.thickness,
        specified_strength_mpa=job.mix.specified_strength,
        curing_method=job.curing.method,
        weather=_weather_basis(job, weather, whole),
        milestones=apply_dependencies(simulation, basis),
        watering=simulation.watering,
        risks=dangers,
        cautions=compile_cautions(simulation, dangers),
        history=_history(simulation),
        assumed=(*_assumptions(simulation), ruled),
        refusals=refused,
        figures=tuple(_figures(simulation)),
        protection=plan_protection(simulation),
        joints=plan_joints(simulation) if simulation.date(MilestoneKind.SAW_JOINTS) else None,
        measurements=simulation.measured.records,
        strength_fit=simulation.measured.fit,
    )


def simulate(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    *,
    typical: WeatherSeries | None = None,
    share: float = SHARE,
    members: int = MEMBERS,
    practice: Practice | None = None,
) -> Simulation:
    """Follow the slab of a job through its weather: `plan_cure` without the dates."""
    if as_of.tzinfo is None:
        raise OutOfRange("as_of needs a time zone")
    if not _MEDIAN < share < 1.0:
        raise OutOfRange(f"share is above {_MEDIAN} and below 1, not {share}")
    practice = practice or rules_for(job)[0]
    until = job.placement.end.astimezone(UTC) + timedelta(days=DAYS, hours=1)
    findings = check_fit(weather, job.site, job.placement.start, until, as_of)
    faults = [finding for finding in findings if finding.severity == "fault"]
    if faults:
        raise UnusableInput(faults)
    job = _with_coordinates(job, weather)
    whole = extend(weather, until, typical=typical)
    forecast_issued_s = (weather.issued_at or as_of).timestamp()
    drawn = draw_ensemble(
        job, whole, practice, forecast_issued_s=forecast_issued_s, members=members, typical=typical
    )
    concrete, measured = apply_concrete_measurements(
        job, concrete_properties(job.mix, drawn, practice), practice
    )
    slab = simulate_slab(job, whole, drawn, concrete, practice)
    concrete, slab, found = apply_slab_measurements(job, drawn, concrete, slab, practice)
    return Simulation(job, whole, practice, drawn, concrete, slab, share, measured + found)


def _with_coordinates(job: JobRecord, weather: WeatherSeries) -> JobRecord:
    """Return the job with the place of its weather where the record gives none."""
    if job.site.latitude is not None or weather.latitude is None:
        return job
    site = job.site.model_copy(update={"latitude": weather.latitude, "longitude": weather.longitude})
    return job.model_copy(update={"site": site})


def _basis_of(weather: WeatherSeries) -> Callable[[datetime], Basis]:
    """Return a function that tells the weakest kind of hour that an instant rests on."""
    known = weather.seconds
    weakest = np.maximum.accumulate(weather.origin)

    def basis(until: datetime) -> Basis:
        at = int(np.searchsorted(known, until.timestamp()))
        return _BASIS[int(weakest[min(at, len(weakest) - 1)])]

    return basis


def _weather_basis(job: JobRecord, given: WeatherSeries, whole: WeatherSeries) -> WeatherBasis:
    first = np.datetime64(int(job.placement.start.timestamp()) // 3600 * 3600, "s")
    kept = whole.time >= first
    typical_from = whole.typical_from
    columns = ("air_c", "relative_humidity", "wind_ms", "shortwave_wm2", "precipitation_mm")
    return WeatherBasis(
        source=given.source,
        issued_at=given.issued_at,
        first_hour=given.first_hour.astimezone(job.zone),
        last_hour=given.last_hour.astimezone(job.zone),
        typical_from=typical_from and typical_from.astimezone(job.zone),
        methods=whole.methods,
        time=whole.time[kept],
        precipitation_probability=whole.precipitation_probability[kept],
        **{name: getattr(whole, name)[kept] for name in columns},
    )


def _history(simulation: Simulation) -> SlabHistory:
    """Return what happens in the concrete placed last, as a band."""
    slab, concrete, last = simulation.slab, simulation.concrete, simulation.ensemble.last_placed
    age = slab.age_h[:, last]
    curve = concrete.hydration
    degree = replace(curve, tau_h=np.asarray(curve.tau_h)[last, np.newaxis])
    on_curve = age * concrete.per_hydration_hour[last, np.newaxis]
    evaporation = np.quantile(slab.evaporation[:, last], _ends(simulation.share), axis=1)
    middle = slab.temperature_c[:, CENTRAL, 1]
    datum_c = simulation.practice["maturity.datum"]
    return SlabHistory(
        hours=slab.hours,
        time=simulation.slab_s(CENTRAL).astype("int64").astype("datetime64[s]"),
        temperature_c=_band(slab.temperature_c[:, last], simulation.share),
        equivalent_age_h=_band(on_curve, simulation.share),
        hydration=_band(degree_of_hydration(age, degree), simulation.share),
        strength_mpa=_band(concrete.strength(age, last), simulation.share),
        evaporation=evaporation[1],
        evaporation_low=evaporation[0],
        evaporation_high=evaporation[2],
        reference_c=concrete.reference_c,
        temperature_time_factor=temperature_time_factor(
            slab.hours, (middle[:-1] + middle[1:]) / 2.0, datum_c
        ),
        datum_c=datum_c,
    )


def _ends(share: float) -> tuple[float, float, float]:
    """Return the quantiles of a band: its low end, its middle, its high end."""
    return 1.0 - share, _MEDIAN, share


def _band(values: Floats, share: float) -> Band:
    """Return a quantity (hours, members, depths) as likely, low and high."""
    ordered = np.sort(values, axis=1)
    last = values.shape[1] - 1
    low, likely, high = (_depths(ordered[:, round(end * last)]) for end in _ends(share))
    return Band(likely, low, high)


def _depths(values: Floats) -> Depths:
    return Depths(values[:, 0], values[:, 1], values[:, 2])


def _assumptions(simulation: Simulation) -> Iterable[Assumption]:
    """Yield what was taken for something that the record leaves out."""
    job = simulation.job
    for assumed in job.assumed:
        yield Assumption(*assumed)
    if job.placement.concrete_temperature is None:
        yield Assumption(
            "placement.concrete_temperature",
            f"{simulation.slab.initial_c[CENTRAL]:.1f} degC",
            "Air temperature at placement, but no colder than ready-mix is delivered",
        )
    if job.placement.finished is None:
        yield Assumption("placement.finished", "final set", "Trowelling is over by final set")
    if job.temperature_log is not None and job.temperature_log.depth is None:
        middle = f"{job.slab.thickness / 2.0:.3f} m"
        yield Assumption("temperature_log.depth", middle, "A sensor hangs in the middle of the slab")
    if job.curing.method == "insulating blanket" and job.curing.blanket_r_value is None:
        cover = simulation.practice.materials["cover"]["insulating blanket"]
        yield Assumption("curing.blanket_r_value", f"{cover} m2K/W", "A common blanket, about R-4")


def _figures(simulation: Simulation) -> Iterable[Figure]:
    """Yield the numbers of the mix that the schedule rests on, and the water it takes in all."""
    job, concrete = simulation.job, simulation.concrete
    curve = concrete.hydration
    yield Figure("water_cementitious", job.mix.water_cementitious, "1")
    yield Figure("cementitious", job.mix.cementitious, "kg/m3")
    yield Figure("activation_energy", float(np.ravel(curve.activation_energy)[0]), "J/mol")
    yield Figure("ultimate_hydration", float(np.ravel(curve.ultimate)[0]), "1")
    yield Figure("hydration_time", float(np.ravel(curve.tau_h)[CENTRAL]), "h")
    yield Figure("hydration_slope", float(np.ravel(curve.beta)[0]), "1")
    yield Figure("initial_set_age", float(concrete.initial_set_h[CENTRAL]), "h")
    yield Figure("final_set_age", float(concrete.final_set_h[CENTRAL]), "h")
    yield Figure("reference_temperature", concrete.reference_c, "degC")
    litres = sum(visit.litres for day in simulation.watering for visit in day.visits)
    if litres:
        yield Figure("water_total", litres, "L")
        yield Figure("garden_days", litres / simulation.practice["water.garden-day"], "1")
