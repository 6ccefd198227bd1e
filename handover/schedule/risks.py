"""Periods that may harm the slab, and the cautions for the reader."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from math import isclose
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.evaporation import evaporation_rate
from handover.schedule.delivery_tickets import hottest_concrete
from handover.schedule.ensemble import CENTRAL
from handover.schedule.ground import air_before
from handover.schedule.joints import do_parts_meet, is_sawn_in_parts
from handover.schedule.model import BURLAP, RAIN, Caution, Figure, MilestoneKind, Risk
from handover.schedule.rain import find_runs, rains_on_fresh
from handover.schedule.slab_age import hours_to_age
from handover.schedule.surroundings import is_room_assumed, room_state
from handover.schedule.watering import driest_day, plan_watering, slots_of_days
from handover.weather.series import Origin

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.schedule.dates import Dates
    from handover.schedule.model import Visit, WateringDay
    from handover.schedule.simulation import Simulation

    Watering = tuple[WateringDay, ...]


STEP_S = 300.0
"""Resolution of the drying of the fresh surface."""
_OPEN_WAYS = ("driveway", "walk")
"""Uses without outlets nearby, if nothing roofs them."""
_OF_HOMES = ("driveway", "garage floor", "walk")
"""Uses for which a truck is a guest, and not what the slab was built for."""
_REDUCED = ("curve-lowered", "curve-fitted", "field-weaker")


def find_risks(simulation: Simulation, dates: Dates) -> tuple[Risk, ...]:
    """Return the periods that may harm the slab, by time."""
    return tuple(
        sorted(
            (
                *_drying(simulation),
                *_precautions(simulation),
                *_frost(simulation, dates),
                *rains_on_fresh(simulation),
            ),
            key=lambda risk: (risk.start, risk.code),
        )
    )


def _drying(simulation: Simulation) -> Iterator[Risk]:
    """Yield when a wet surface dries too fast, from the first placement to its final set.

    There are two levels; the hours of the upper one are also hours of the lower one.
    """
    practice = simulation.practice
    first = simulation.ensemble.first_placed.start
    hours, rate = loss_while_fresh(simulation, first)
    time_s = simulation.bare_slab.placed_s[first] + hours * HOUR_S
    for level in ("watch", "precaution"):
        limit = practice[f"drying.{level}"]
        for run in find_runs(rate >= limit):
            peak = run.start + int(rate[run].argmax())
            error = practice["drying.error"]
            yield _risk(
                f"drying-{level}",
                simulation.job.zone,
                time_s[run],
                time_s[peak],
                Figure("peak", float(rate[peak]), "kg/m2/h"),
                Figure("low", float(rate[peak]) * (1.0 - error), "kg/m2/h"),
                Figure("high", float(rate[peak]) * (1.0 + error), "kg/m2/h"),
                Figure("limit", limit, "kg/m2/h"),
                Figure("hours_above", (run.stop - run.start) * STEP_S / HOUR_S, "h"),
            )


def _precautions(simulation: Simulation) -> Iterator[Risk]:
    """Yield when a measure against drying is worthwhile before final set, and the drying with it.

    A windbreak if it alone brings the loss below the limit, else fog; an evaporation retarder from the lower
    level on. All end with the last pass: then the surface is kept damp, covered or coated.
    """
    practice, first = simulation.practice, simulation.ensemble.first_placed.start
    fresh, rate = loss_while_fresh(simulation, first)
    time_s = simulation.slab.placed_s[first] + fresh * HOUR_S
    behind = _with_shelter(simulation, first, fresh, wind=practice["drying.windbreak"])
    in_fog = _with_shelter(simulation, first, fresh, humidity=practice["drying.fog"])
    limit = practice["drying.precaution"]
    worth = {
        "windbreak": ((rate >= limit) & (behind < limit), behind),
        "fog": ((rate >= limit) & (behind >= limit), in_fog),
        "evaporation-retarder": (rate >= practice["drying.watch"], None),
    }
    unfinished = _is_unfinished(time_s, simulation)
    for code, (hours, left) in worth.items():
        for run in find_runs(hours & unfinished):
            peak = run.start + int(rate[run].argmax())
            figures = [Figure("peak", float(rate[peak]), "kg/m2/h")]
            if left is not None:
                figures.append(Figure("left", float(left[peak]), "kg/m2/h"))
            yield _risk(code, simulation.job.zone, time_s[run], time_s[peak], *figures)


def _is_unfinished(time_s: Floats, simulation: Simulation) -> NDArray[np.bool_]:
    """Return for each instant whether finishing may still go on."""
    finished = simulation.job.placement.finished
    before: NDArray[np.bool_] = time_s < (np.inf if finished is None else finished.timestamp())
    return before


def _with_shelter(
    simulation: Simulation, member: int, hours: Floats, *, wind: float = 1.0, humidity: float = 0.0
) -> Floats:
    """Return the loss of a wet surface in calmer or damper air, at some hours, in kg/m2/h."""
    slab, air = simulation.bare_slab, simulation.bare_slab.air
    known = slice(0, int(np.ceil(hours[-1])) + 1)
    loss = evaporation_rate(
        slab.temperature_c[known, member, 0],
        air.air_c[known, member],
        np.maximum(air.relative_humidity[known, member], humidity),
        air.wind_ms[known, member] * wind,
    )
    return np.interp(hours, slab.hours[known], loss)


def loss_while_fresh(simulation: Simulation, member: int) -> tuple[Floats, Floats]:
    """Return the hours since placing in steps of `STEP_S` until final set, and the loss of the wet, bare top.

    Returns:
        Shape (n,) each. [h], [kg/m2/h]
    """
    slab = simulation.bare_slab
    hours = np.arange(0.0, hours_to_surface_set(simulation, member), STEP_S / HOUR_S)
    return hours, np.interp(hours, slab.hours, slab.evaporation[:, member])


def hours_to_surface_set(simulation: Simulation, member: int) -> float:
    """Return when the surface of a member sets: from then on it is dry and no longer a plastic mass.

    Returns:
        At least an hour, and within the simulation. [h]
    """
    slab = simulation.bare_slab
    final_h = float(hours_to_age(slab, simulation.concrete.final_set_h, 0)[member])
    return min(max(final_h, 1.0), float(slab.hours[-1]))


def _frost(simulation: Simulation, dates: Dates) -> Iterator[Risk]:
    """Yield when the slab may freeze while it is kept from frost.

    Before it is strong enough, its top counts at the cold end of the band; then, until cold protection ends,
    the likely frost of air and top.
    """
    last, slab = simulation.ensemble.last_placed, simulation.slab
    time_s = simulation.slab_s(CENTRAL)
    safe = dates.not_before(MilestoneKind.FROST_SAFE)
    young = time_s < (np.inf if safe is None else safe.timestamp())
    top, air = _coldest_weak_top(simulation, dates), simulation.cold_end(slab.air.air_c[:, last])
    freezes_c = simulation.practice["frost.freezes-below"]
    for run in find_runs((top < freezes_c) & young | _likely_frost(simulation, dates) & ~young):
        coldest = run.start + int(top[run].argmin())
        yield _risk(
            "frost",
            simulation.job.zone,
            time_s[run],
            time_s[coldest],
            Figure("coldest_surface", float(top[coldest]), "degC"),
            Figure("coldest_air", float(air[run].min()), "degC"),
            Figure("forecast_air", float(slab.air.air_c[run, CENTRAL].min()), "degC"),
        )


def _likely_frost(simulation: Simulation, dates: Dates) -> NDArray[np.bool_]:
    """Return for each hour whether frost is likely before cold protection ends, shape (h+1,).

    Under a sheet that lies until then only the top counts; under blankets nothing does.
    """
    slab, kept = simulation.slab, dates.kept_from_frost_until
    time_s = simulation.slab_s(CENTRAL)
    coldest = slab.temperature_c[:, CENTRAL, 0]
    if simulation.job.curing.method != "plastic sheet":
        coldest = np.minimum(coldest, slab.air.air_c[:, CENTRAL])
    frozen = coldest < simulation.practice["frost.freezes-below"]
    before = time_s < (np.inf if kept is None else kept.timestamp())
    return np.asarray(frozen & before & (not simulation.is_insulated))


def _coldest_weak_top(simulation: Simulation, dates: Dates) -> Floats:
    """Return the top at the cold end of the band, in degC, shape (h+1,); infinite where none is weak.

    Under blankets a member counts until it is strong enough itself, as where blankets are compared: it is
    cold or young, seldom both.
    """
    met_h = dates.met_h.get(MilestoneKind.FROST_SAFE)
    if not simulation.is_insulated or met_h is None:
        return simulation.coldest_top_c
    slab, last = simulation.slab, simulation.ensemble.last_placed
    weak = slab.hours[:, np.newaxis] <= np.broadcast_to(met_h, slab.placed_s.shape)[last]
    top = np.where(weak, slab.temperature_c[:, last, 0], np.inf)
    return np.asarray(np.quantile(top, 1.0 - simulation.share, axis=1, method="inverted_cdf"))


def _risk(code: str, zone: ZoneInfo, time_s: Floats, peak_s: float, *figures: Figure) -> Risk:
    start, end, peak = (
        datetime.fromtimestamp(each, UTC).astimezone(zone) for each in (time_s[0], time_s[-1], peak_s)
    )
    return Risk(code, start, end, peak, figures)


def compile_cautions(
    simulation: Simulation,
    dates: Dates,
    watering: Watering,
    dangers: tuple[Risk, ...],
    *,
    kept_wet: Dates | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions for the reader, in the order of the data; the general ones are always included.

    Args:
        simulation: The slab.
        dates: Its dates.
        watering: Its watering plan.
        dangers: Its risks.
        kept_wet: Its dates if it never fell dry between waterings; None: those it has.
    """
    rules = simulation.practice.cautions
    found = dict(_cautions(simulation, dates, watering, dangers))
    if "wet-dry" in found:
        found["wet-dry"] += tuple(_curing_times(simulation, dates, kept_wet or dates))
    worst = _coolest_visit(watering)
    hours = {} if worst is None else {"curing-water": worst.gentler_at}
    return tuple(
        Caution(code, found[code], rule.source, rule.mark, hours.get(code))
        for code, rule in rules.items()
        if code in found
    )


def _cautions(
    simulation: Simulation, dates: Dates, watering: Watering, dangers: tuple[Risk, ...]
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    yield "caustic", ()
    yield "children-animals", ()
    yield from _of_the_work(simulation, dates)
    yield from _of_the_slab(simulation, dates)
    yield from _of_the_weather(simulation, dates, watering, dangers)
    yield from _of_the_mix(simulation)
    yield from _of_the_winter(simulation, dates)
    yield from _of_the_frosts(simulation, dates)
    yield from _of_the_dates(simulation, dates)
    yield from simulation.measurements.cautions


def _of_the_work(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    job = simulation.job
    kinds = {each.kind for each in dates.milestones}
    watered = job.curing.method in simulation.practice.methods
    if MilestoneKind.SAW_JOINTS in kinds:
        yield "silica", ()
    if watered:
        yield "slips", ()
    if watered and _has_outlets(job):
        yield "electricity", ()
    if MilestoneKind.STRIP_EDGE_FORMS in kinds:
        yield "nails", ()
    if job.slab.has_tendons:
        yield "tendons", ()
    if MilestoneKind.HEAVY_VEHICLES in kinds and _is_thin_for_trucks(job, simulation.practice["trucks.thin"]):
        yield "heavy-trucks", ()
    limit = simulation.longest_spacing()
    spacing = job.slab.joint_spacing
    if spacing is not None and spacing > limit and not isclose(spacing, limit):  # 12 ft is 36 times 4 in
        yield "joint-spacing", (Figure("spacing", spacing, "m"), Figure("limit", limit, "m"))


def _is_thin_for_trucks(job: JobRecord, least_m: float) -> bool:
    """Return whether a slab of a home is thinner than what is built for trucks; 6 in is not under 6 in."""
    thickness = job.slab.thickness
    return job.slab.use in _OF_HOMES and thickness < least_m and not isclose(thickness, least_m)


def _has_outlets(job: JobRecord) -> bool:
    """Return whether cords and tools may lie on the wet slab: not on a sheet, nor on an open way."""
    open_way = job.slab.exposure == "outdoors" and job.slab.use in _OPEN_WAYS
    return job.curing.method != "plastic sheet" and not open_way


def _of_the_slab(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield what the surface, the fibres, the base and the slope of the slab call for."""
    job, practice = simulation.job, simulation.practice
    slab = job.slab
    present = {
        "coloured": not slab.covers,
        "stamped": slab.finish == "stamped",
        "exposed-aggregate": slab.finish == "exposed aggregate",
        "smooth-outdoors": slab.finish == "trowelled" and slab.exposure != "indoors",
        "fibres": slab.has_fibres(job.mix.admixtures),
        "flooring": slab.flooring,
        "bleeds-long": slab.on == "vapor retarder",
    }
    yield from ((code, ()) for code, is_present in present.items() if is_present)
    slope = slab.slope or 0.0
    if slope >= practice["slope.runs-off"] and job.curing.method in practice.methods:
        yield "steep", (Figure("slope", slope, "1"),)
    if slab.heated:
        yield from _of_the_pipes(simulation, dates)


def _of_the_pipes(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield what heating pipes in the slab call for."""
    yield "heated", (Figure("rise", simulation.practice["heating.rise"], "K"),)
    if _coldest_while_curing(simulation, dates) <= simulation.practice["frost.freezes-below"]:
        yield "pipes-freeze", ()


def _of_the_weather(
    simulation: Simulation, dates: Dates, watering: Watering, dangers: tuple[Risk, ...]
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    cold = _coldest_while_curing(simulation, dates)
    by_code = {risk.code: risk for risk in sorted(dangers, key=_peak_first)}
    if cold <= simulation.practice["frost.cold-weather"]:
        forecast = _forecast_while_curing(simulation, dates, simulation.air_c)
        yield (
            "cold-weather",
            (Figure("coldest_air", cold, "degC"), Figure("forecast_air", forecast, "degC")),
        )
    yield from _of_the_room(simulation, dates, may_freeze="frost" in by_code)
    early = [each for each in dangers if each.code == "frost" and _is_weak_at(each.start, dates)]
    if early:
        yield "frost", (*_coldest_of(early), *_strength_at(simulation, by_code["frost"].start))
    if RAIN in by_code:
        yield RAIN, by_code[RAIN].figures
    if "drying-precaution" in by_code:
        yield "drying", by_code["drying-precaution"].figures
    yield from _dry_between(simulation, dates, watering)
    yield from _cold_water(simulation, watering)
    yield from _hot_air(simulation)
    yield from _frozen_ground(simulation)
    yield from _cold_concrete(simulation, cold)


def _of_the_room(
    simulation: Simulation, dates: Dates, *, may_freeze: bool
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield what roof and room call for in cold weather, and whether a room is known at all.

    Under a roof a heater is likely where it is cold outdoors, above all where the room is warm.
    """
    job, practice, state = simulation.job, simulation.practice, room_state(simulation.job)
    outdoors = _forecast_while_curing(simulation, dates, simulation.weather.air_c)
    is_cold = outdoors <= practice["frost.cold-weather"]
    if may_freeze or (job.slab.exposure != "outdoors" and is_cold):
        yield "heaters", ()
    if state == "unknown":
        yield "room-unknown", ()
    if state in {"unknown", "unheated"}:
        yield "room-closed", ()
    if state in {"stated", "heated"} and is_cold:
        stated = job.site.room_temperature
        least = practice["room.heated-coldest"] if stated is None else stated
        yield "room-heat", (Figure("room_air", least, "degC"),)


def _hot_air(simulation: Simulation) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when the air at placement passes the limit of a country that sets one."""
    limit = simulation.practice.rules.get("heat.air")
    if limit is None:
        return
    placement, known = simulation.job.placement, simulation.weather.seconds
    placed = (known >= placement.start.timestamp() - HOUR_S) & (known <= placement.end.timestamp() + HOUR_S)
    air = float(simulation.weather.air_c[placed].max())
    if air > limit.value:
        most = simulation.practice["heat.air-most"]
        yield (
            "hot-air",
            (
                Figure("hottest_air", air, "degC"),
                Figure("limit", limit.value, "degC"),
                Figure("most", most, "degC"),
            ),
        )


def _frozen_ground(simulation: Simulation) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when the air before the placement is below freezing on average, over a day or some."""
    limit, air_c = simulation.practice["frost.freezes-below"], simulation.air_c[:, np.newaxis]
    coldest = float(air_before(simulation.job, simulation.weather, air_c, simulation.practice)[0])
    if coldest < limit:
        yield "frozen-ground", (Figure("coldest_before", coldest, "degC"), Figure("limit", limit, "degC"))


def _cold_concrete(simulation: Simulation, coldest_air_c: float) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when concrete was delivered colder than allowed in cold weather."""
    placed_c, limit = simulation.job.placement.concrete_temperature, simulation.practice["cold.placed"]
    if (
        placed_c is not None
        and placed_c < limit
        and coldest_air_c <= simulation.practice["frost.cold-weather"]
    ):
        yield (
            "cold-discharge",
            (Figure("concrete_temperature", placed_c, "degC"), Figure("limit", limit, "degC")),
        )


def _peak_first(risk: Risk) -> tuple[str, float]:
    """Order risks so that the first in time is the last of its code; the caution is for that one."""
    return risk.code, -risk.start.timestamp()


def _coldest_while_curing(simulation: Simulation, dates: Dates) -> float:
    """Return the coldest air while the slab cures, until it is safe from frost at the cold end of the band.

    From then on the expected air counts without its margin: over a week or more, the margin would find cold
    days in a mild September, and a frost in July.
    """
    ends, safe = dates.not_before(MilestoneKind.CURING_ENDS), dates.not_before(MilestoneKind.FROST_SAFE)
    time_s, air = simulation.slab_s(CENTRAL), simulation.slab.air.air_c
    never = np.inf
    curing = time_s <= (ends.timestamp() if ends else never)
    young = curing & (time_s <= (safe.timestamp() if safe else never))
    within = simulation.cold_end(air[young][:, simulation.ensemble.last_placed])
    return float(np.concatenate([within, air[curing, CENTRAL]]).min())


def _forecast_while_curing(simulation: Simulation, dates: Dates, air_c: Floats) -> float:
    """Return the coldest likely air while the slab cures; past the end of the forecast, of the typical hours.

    Args:
        simulation: The simulated job.
        dates: Its dates.
        air_c: Outdoors or around the slab, at the hours of the weather, in degC, shape (n,).
    """
    weather, placed_s = simulation.weather, simulation.job.placement.start.timestamp()
    ends = dates.not_before(MilestoneKind.CURING_ENDS)
    curing = (weather.seconds >= placed_s) & (
        weather.seconds <= (np.inf if ends is None else ends.timestamp())
    )
    forecast = curing & (weather.origin != Origin.TYPICAL)
    return float(air_c[forecast if forecast.any() else curing].min())


def _is_weak_at(when: datetime, dates: Dates) -> bool:
    """Return whether the slab may not be strong enough for a first frost at an instant."""
    safe = dates.not_before(MilestoneKind.FROST_SAFE)
    return safe is None or when < safe


def _coldest_of(frosts: list[Risk]) -> Iterator[Figure]:
    """Yield the figures of several frosts, each that of the coldest."""
    for name, unit in [(each.name, each.unit) for each in frosts[0].figures]:
        values = [one.value for each in frosts for one in each.figures if one.name == name]
        yield Figure(name, min(values), unit)


def _strength_at(simulation: Simulation, when: datetime) -> Iterator[Figure]:
    """Yield the strength at an instant, at the low end of the band, and the strength required by then.

    Past the simulation it is that of its end, which is less.
    """
    slab, last = simulation.slab, simulation.ensemble.last_placed
    hour = min(int(np.searchsorted(simulation.slab_s(CENTRAL), when.timestamp())), len(slab.hours) - 1)
    strength = simulation.concrete.strength(slab.age_h[hour : hour + 1, last], last).min(axis=2)
    yield Figure("strength_then", float(simulation.cold_end(strength)[0]), "MPa")
    yield Figure("frost_safe_strength", simulation.frost_strength(), "MPa")


def _cold_water(simulation: Simulation, watering: Watering) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when the water is much cooler than the surface at a visit."""
    worst = _coolest_visit(watering)
    if worst is None:
        return
    water, cooler = simulation.job.curing.water_temperature or 0.0, worst.cooler_k or 0.0
    yield (
        "curing-water",
        (
            Figure("water_temperature", water, "degC"),
            Figure("surface_temperature", water + cooler, "degC"),
            Figure("limit", simulation.practice["water.cooler"], "K"),
        ),
    )


def _coolest_visit(watering: Watering) -> Visit | None:
    """Return the visit with the coldest water relative to the allowed difference, or None."""
    cool = [visit for day in watering for visit in day.visits if visit.cooler_k is not None]
    return max(cool, key=lambda visit: visit.cooler_k or 0.0, default=None)


def _dry_between(
    simulation: Simulation, dates: Dates, watering: Watering
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when the plan leaves the surface dry for hours, with the dry hours of other methods."""
    dry = driest_day(watering)
    if dry < simulation.practice["water.dry-too-long"]:
        return
    curing = simulation.job.curing
    with_timer = _watering_by(simulation, dates, timer=True)
    with_burlap = _watering_by(simulation, dates, method=BURLAP, application_rate=curing.application_rate)
    yield (
        "wet-dry",
        (
            Figure("dry_hours", dry, "h"),
            Figure("dry_with_timer", driest_day(with_timer), "h"),
            Figure("dry_with_burlap", driest_day(with_burlap), "h"),
        ),
    )


def _curing_times(simulation: Simulation, dates: Dates, kept_wet: Dates) -> Iterator[Figure]:
    """Yield how long curing takes as planned, and how long if the slab never fell dry."""
    planned, wet = (_hours_of_curing(simulation, each) for each in (dates, kept_wet))
    if planned is not None:
        yield Figure("curing_time", planned, "h")
    if wet is not None:
        yield Figure("curing_time_wet", wet, "h")


def _hours_of_curing(simulation: Simulation, dates: Dates) -> float | None:
    ends = dates.not_before(MilestoneKind.CURING_ENDS)
    return None if ends is None else (ends - simulation.job.placement.end).total_seconds() / HOUR_S


def _watering_by(simulation: Simulation, dates: Dates, **curing: object) -> Watering:
    """Return the watering plan of the same slab with another method over the same time."""
    changed = simulation.job.curing.model_copy(update=curing)
    job = simulation.job.model_copy(update={"curing": changed})
    other = replace(simulation, job=job)
    return plan_watering(other, slots_of_days(other, dates), lambda _: "forecast")


def _of_the_mix(simulation: Simulation) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    hottest_c, limit = hottest_concrete(simulation.job), simulation.practice["heat.discharge"]
    if hottest_c is not None and hottest_c > limit:
        yield (
            "hot-discharge",
            (Figure("concrete_temperature", hottest_c, "degC"), Figure("limit", limit, "degC")),
        )
    inside_c, most = hottest_inside(simulation), simulation.practice["heat.inside"]
    if inside_c > most:
        yield "hot-inside", (Figure("hottest_inside", inside_c, "degC"), Figure("limit", most, "degC"))
    additions = simulation.job.mix.fly_ash + simulation.job.mix.slag
    if additions > simulation.practice["additions.slow-above"]:
        yield "slow-mix", (Figure("additions", additions, "1"),)


def hottest_inside(simulation: Simulation) -> float:
    """Return the highest temperature at any depth and hour, at the hot end of the band, in degC."""
    peaks = simulation.slab.temperature_c[:, simulation.ensemble.last_placed].max(axis=(0, 2))
    return float(np.quantile(peaks, simulation.share))


def _of_the_winter(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield what the mix lacks for repeated frost and for salt; a house slab is under a roof by then."""
    job, practice = simulation.job, simulation.practice
    if job.slab.exposure != "outdoors" or job.slab.use == "house slab":
        return
    least = practice["freeze-thaw.air"]
    if job.mix.air is not None and job.mix.air < least:
        yield "scaling", (Figure("air", job.mix.air, "1"), Figure("limit", least, "1"))
    for each in dates.milestones:
        if each.kind != MilestoneKind.FREEZE_THAW:
            continue
        needed = each.because.required_strength_mpa
        if needed is not None and job.mix.specified_strength < needed:
            figures = (
                Figure("specified_strength", job.mix.specified_strength, "MPa"),
                Figure("limit", needed, "MPa"),
            )
            yield "weak-in-frost", figures
        if job.mix.air is None and not any("air" in name.lower() for name in job.mix.admixtures):
            yield "air-unknown", (Figure("needed_air", least, "1"),)


def _of_the_frosts(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield that moist curing ends early, with the strength that the slab then has and would need."""
    for each in dates.milestones:
        if each.is_before_frosts and each.not_before is not None:
            asked = simulation.practice.gates_of("freeze-thaw", simulation.job.slab.use)
            then, _ = _strength_at(simulation, each.not_before)
            yield (
                "dry-before-frost",
                (then, Figure("limit", max(gate.value or 0.0 for gate in asked), "MPa")),
            )


def _of_the_dates(simulation: Simulation, dates: Dates) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    if is_sawn_in_parts(dates, simulation) and not is_room_assumed(simulation.job):
        yield "saw-in-order" if do_parts_meet(dates, simulation) else "saw-in-stages", ()
    # A mix too weak for repeated frost has a caution of its own; for joints without an hour, the crew a line.
    late = {each.kind for each in dates.milestones if each.not_before is None}
    if late - {MilestoneKind.FREEZE_THAW, MilestoneKind.SAW_JOINTS}:
        yield _why_not_reached(simulation)


def _weakest(simulation: Simulation) -> tuple[Figure, ...]:
    """Return the lowest strength of cylinders as a share of the estimate, if they lowered it."""
    shares = [
        figure
        for each in simulation.measurements.records
        if each.outcome in _REDUCED
        for figure in each.figures
        if figure.name == "strength_share" and figure.value < 1.0
    ]
    return (min(shares, key=lambda figure: figure.value),) if shares else ()


def _why_not_reached(simulation: Simulation) -> tuple[str, tuple[Figure, ...]]:
    """Return why milestones have no date: weak cylinders, else the cold."""
    weak = _weakest(simulation)
    return ("not-reached-weak", weak) if weak else ("not-reached", ())
