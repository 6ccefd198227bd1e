"""Stretches of hours that may harm the slab, and what the reader must be told."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.cases import FAST, LIKELY, SLOW
from handover.schedule.model import Caution, Figure, MilestoneKind, Risk
from handover.schedule.slab import HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from handover.schedule.cases import Cases
    from handover.schedule.measures import Ground
    from handover.schedule.model import Milestone, WateringDay
    from handover.weather.series import WeatherSeries

    Floats = NDArray[np.float64]

_HALF_HOUR = 0.5
_LIGHT_RAIN_MM = 0.5
_THIN_M = 0.1524  # 6 in


@dataclass(frozen=True)
class Findings:
    """What risks and cautions are judged from."""

    ground: Ground
    cases: Cases
    weather: WeatherSeries
    milestones: tuple[Milestone, ...]
    watering: tuple[WateringDay, ...]

    def date(self, kind: MilestoneKind) -> datetime | None:
        """Return the cautious date of a milestone, or None."""
        return next((each.not_before for each in self.milestones if each.kind == kind), None)


def risks(found: Findings) -> tuple[Risk, ...]:
    """Return the stretches of hours that may harm the slab, by time."""
    return tuple(
        sorted((*_drying(found), *_frost(found), *_rain(found)), key=lambda risk: (risk.start, risk.code))
    )


def _drying(found: Findings) -> Iterator[Risk]:
    """Yield when a wet surface dries too fast, from the first placement to the first water.

    Two levels; the lower one leaves out nothing that the upper one holds.
    """
    practice = found.ground.practice
    first = found.cases.first.start + LIKELY
    time_s, rate = _fresh_hours(found, first)
    for code, limit in (
        ("drying-watch", practice["drying.watch"]),
        ("drying-precaution", practice["drying.precaution"]),
    ):
        for run in _runs(rate >= limit):
            peak = run.start + int(rate[run].argmax())
            error = practice["drying.error"]
            yield _risk(
                code,
                found.ground.job.zone,
                time_s[run],
                time_s[peak],
                Figure("peak", float(rate[peak]), "kg/m2/h"),
                Figure("low", float(rate[peak]) * (1.0 - error), "kg/m2/h"),
                Figure("high", float(rate[peak]) * (1.0 + error), "kg/m2/h"),
                Figure("limit", limit, "kg/m2/h"),
            )


def _fresh_hours(found: Findings, member: int) -> tuple[Floats, Floats]:
    """Return the hours from the first placement to first water, and how fast the surface loses water in them."""
    slab = found.ground.slab
    time_s = slab.placed_s[member] + slab.hours * HOUR
    until = found.date(MilestoneKind.FIRST_WATER) or found.date(MilestoneKind.FINAL_SET)
    fresh = time_s <= (time_s[24] if until is None else until.timestamp())
    return time_s[fresh], slab.evaporation[fresh, member]


def _frost(found: Findings) -> Iterator[Risk]:
    """Yield when the slab's top may freeze before it is strong enough, in the slow case."""
    ground = found.ground
    slow = found.cases.last.start + SLOW
    slab = ground.slab
    time_s = slab.placed_s[slow] + slab.hours * HOUR
    safe = found.date(MilestoneKind.FROST_SAFE)
    young = time_s < (np.inf if safe is None else safe.timestamp())
    top = slab.temperature_c[:, slow, 0]
    for run in _runs((top < 0.0) & young):
        coldest = run.start + int(top[run].argmin())
        yield _risk(
            "frost",
            ground.job.zone,
            time_s[run],
            time_s[coldest],
            Figure("coldest_surface", float(top[coldest]), "degC"),
            Figure("coldest_air", float(slab.air.air_c[run, slow].min()), "degC"),
        )


def _rain(found: Findings) -> Iterator[Risk]:
    """Yield when rain is likely on concrete that it can still mark."""
    ground, weather = found.ground, found.weather
    if ground.job.slab.exposure != "outdoors":
        return
    start = ground.job.placement.start.timestamp()
    end = ground.job.placement.end.timestamp() + ground.practice["rain.keep-off"] * HOUR
    known = weather.time.astype("datetime64[s]").astype(np.float64)
    chance = np.nan_to_num(weather.precipitation_probability, nan=1.0)
    wet = (
        (weather.precipitation_mm >= _LIGHT_RAIN_MM)
        & (chance >= _HALF_HOUR)
        & (known > start)
        & (known <= end)
    )
    for run in _runs(wet):
        peak = run.start + int(weather.precipitation_mm[run].argmax())
        yield _risk(
            "rain-on-fresh",
            ground.job.zone,
            known[run],
            known[peak],
            Figure("rain", float(weather.precipitation_mm[run].sum()), "mm"),
        )


def _runs(which: NDArray[np.bool_]) -> list[slice]:
    """Return the stretches in which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which.astype(np.int8), [0]])))
    return [slice(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]


def _risk(code: str, zone: ZoneInfo, time_s: Floats, peak_s: float, *figures: Figure) -> Risk:
    start, end, peak = (
        datetime.fromtimestamp(each, UTC).astimezone(zone) for each in (time_s[0], time_s[-1], peak_s)
    )
    return Risk(code, start, end, peak, figures)


def cautions(found: Findings, dangers: tuple[Risk, ...]) -> tuple[Caution, ...]:
    """Return what the reader must be told, in the order of the data; the general ones are never left out."""
    rules = found.ground.practice.cautions
    told = dict(_told(found, dangers))
    return tuple(
        Caution(code, told[code], rule.source, rule.mark) for code, rule in rules.items() if code in told
    )


def _told(found: Findings, dangers: tuple[Risk, ...]) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    yield "caustic", ()
    yield "children-animals", ()
    yield from _of_the_work(found)
    yield from _of_the_weather(found, dangers)
    yield from _of_the_mix(found)
    yield from _of_the_dates(found)


def _of_the_work(found: Findings) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    job = found.ground.job
    kinds = {each.kind for each in found.milestones}
    watered = job.curing.method in found.ground.practice.methods
    if MilestoneKind.SAW_JOINTS in kinds:
        yield "silica", ()
    if watered:
        yield "slips", ()
        yield "electricity", ()
    if MilestoneKind.STRIP_EDGE_FORMS in kinds:
        yield "nails", ()
    if job.slab.has_tendons:
        yield "tendons", ()
    if MilestoneKind.HEAVY_VEHICLES in kinds and job.slab.thickness < _THIN_M:
        yield "heavy-trucks", ()
    limit = min(
        found.ground.practice["joints.spacing"] * job.slab.thickness, found.ground.practice["joints.longest"]
    )
    if job.slab.joint_spacing is not None and job.slab.joint_spacing > limit:
        yield "joint-spacing", (Figure("spacing", job.slab.joint_spacing, "m"), Figure("limit", limit, "m"))


def _of_the_weather(found: Findings, dangers: tuple[Risk, ...]) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    ground = found.ground
    slow = found.cases.last.start + SLOW
    cold = _coldest_while_curing(found, slow)
    by_code = {risk.code: risk for risk in sorted(dangers, key=_peak_first)}
    if cold <= ground.practice["frost.cold-weather"]:
        yield "cold-weather", (Figure("coldest_air", cold, "degC"),)
        yield "heaters", ()
    if "frost" in by_code:
        yield "frost", (*by_code["frost"].figures, *_strength_at(found, by_code["frost"].start))
    if "rain-on-fresh" in by_code:
        yield "rain-on-fresh", by_code["rain-on-fresh"].figures
    if "drying-precaution" in by_code:
        yield "drying", by_code["drying-precaution"].figures
    dry = max((day.dry_hours for day in found.watering), default=0.0)
    if dry >= 1.0:
        yield "wet-dry", (Figure("dry_hours", dry, "h"),)
    yield from _cold_water(found)


def _peak_first(risk: Risk) -> tuple[str, float]:
    """Order risks so that the last of a code is the one to tell of: the first in time."""
    return risk.code, -risk.start.timestamp()


def _coldest_while_curing(found: Findings, member: int) -> float:
    slab = found.ground.slab
    ends = found.date(MilestoneKind.CURING_ENDS)
    time_s = slab.placed_s[member] + slab.hours * HOUR
    curing = time_s <= (np.inf if ends is None else ends.timestamp())
    return float(slab.air.air_c[curing, member].min())


def _strength_at(found: Findings, when: datetime) -> Iterator[Figure]:
    """Yield the strength of the slowest concrete at an instant, and the strength it needs by then."""
    ground, slow = found.ground, found.cases.last.start + SLOW
    slab = ground.slab
    hours = (when.timestamp() - slab.placed_s[slow]) / HOUR
    age = np.interp(hours, slab.hours, slab.age_h[:, slow].min(axis=1))
    strength = ground.concrete.strength(np.asarray(age), ground.concrete.final_set_h[slow])
    yield Figure("strength_then", float(strength), "MPa")
    gates = ground.practice.gates_of(MilestoneKind.FROST_SAFE, ground.job.slab.use)
    yield Figure("strength_needed", max(gate.value or 0.0 for gate in gates), "MPa")


def _cold_water(found: Findings) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution when the water is much cooler than the surface at a visit."""
    ground = found.ground
    water, limit = ground.job.curing.water_temperature, ground.practice["water.cooler"]
    if water is None:
        return
    slab, member = ground.slab, found.cases.last.start + FAST
    time_s = slab.placed_s[member] + slab.hours * HOUR
    starts = [visit.start.timestamp() for day in found.watering for visit in day.visits]
    surface = np.interp(starts, time_s, slab.temperature_c[:, member, 0]) if starts else np.zeros(0)
    if len(surface) and surface.max() - water > limit:
        yield (
            "curing-water",
            (
                Figure("water_temperature", water, "degC"),
                Figure("surface_temperature", float(surface.max()), "degC"),
                Figure("limit", limit, "K"),
            ),
        )


def _of_the_mix(found: Findings) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    ground = found.ground
    told, limit = ground.job.placement.concrete_temperature, ground.practice["heat.discharge"]
    if told is not None and told > limit:
        yield "hot-discharge", (Figure("concrete_temperature", told, "degC"), Figure("limit", limit, "degC"))
    additions = ground.job.mix.fly_ash + ground.job.mix.slag
    if additions > ground.practice.curing_days["more_than"]:
        yield "slow-mix", (Figure("additions", additions, "1"),)


def _of_the_dates(found: Findings) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    for each in found.milestones:
        if each.kind == MilestoneKind.SAW_JOINTS and each.not_after and each.not_before:
            if each.not_after <= each.not_before:
                yield "saw-in-stages", ()
    if any(each.not_before is None for each in found.milestones):
        yield "not-reached", ()
