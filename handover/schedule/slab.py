"""The slab of a job marched through its weather, for all cases at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.evaporation import evaporation_rate, wind_at
from handover.concrete.heat import Column, Exchange, Layer, Surface, column, exchange, march
from handover.concrete.heat import Concrete as Hydrating
from handover.concrete.psychrometrics import vapour_pressure
from handover.schedule.cases import air_error
from handover.schedule.course import HOUR

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from handover.jobs.model import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.cases import Cases
    from handover.schedule.mix import Concrete
    from handover.weather.series import WeatherSeries

    Floats = NDArray[np.float64]

DAYS = 28
_CELL = 0.0127  # m; about half an inch, 8 cells in a 4 in slab
_GROUND = 1.5  # m; the wave of a month is small below
_SKIN = 0.5  # m; how deep the warmth of the last days reaches into the ground
_FINE, _MIDDLING = 24, 48  # h; steps of 20 and 30 minutes up to here, of an hour after


@dataclass(frozen=True)
class Air:
    """Weather as each member meets it, at every whole hour since its placement, shape (h+1, m)."""

    air_c: Floats
    relative_humidity: Floats
    wind_ms: Floats  # near the slab


@dataclass(frozen=True)
class Slab:
    """What happened in the slab, hour by hour since placement, member by member.

    Attributes:
        hours: Since the member's placement, shape (h+1,). [h]
        placed_s: Placement of each member, UTC seconds, shape (m,).
        temperature_c: At surface, middle and bottom, shape (h+1, m, 3). [degC]
        age_h: Equivalent age at the reference of hydration, shape (h+1, m, 3). [h]
        air: The weather of those hours.
        evaporation: From the surface while wet, by each member's own factor, shape (h+1, m). [kg/m2/h]
        initial_c: Temperature of the concrete as placed, shape (m,). [degC]
    """

    hours: Floats
    placed_s: Floats
    temperature_c: Floats
    age_h: Floats
    air: Air
    evaporation: Floats
    initial_c: Floats


def reach_seconds() -> float:
    """Return how long after placement the slab is followed, in s."""
    return DAYS * 24 * HOUR


def follow(
    job: JobRecord,
    weather: WeatherSeries,
    cases: Cases,
    concrete: Concrete,
    practice: Practice,
    ahead_of_s: float,
) -> Slab:
    """March the slab of a job through its weather.

    Args:
        job: The record.
        weather: Unbroken from an hour before the first placement to `DAYS` after the last.
        cases: Members.
        concrete: Their concrete.
        practice: Rules and materials.
        ahead_of_s: When the forecast was made, UTC seconds: its error grows from there.
    """
    steps = _steps()
    instants = np.concatenate([[0.0], np.cumsum(steps)])
    moments = cases.placed_s + instants[:, np.newaxis]
    sampled = _sample(weather, moments, cases, practice, ahead_of_s)
    shelter = practice.materials["exposure"][job.slab.exposure]
    near = wind_at(sampled["wind_ms"]) * shelter["wind"]
    vapour = vapour_pressure(sampled["air_c"], sampled["relative_humidity"])
    cover = cover_resistance(job, practice)
    grid = _column(job, practice)
    initial = _placed_c(job, sampled["air_c"][0], practice)
    result = march(
        grid,
        _hydrating(concrete, practice),
        _exchange(practice, shelter, sampled, near, vapour, cover, cases),
        steps=steps,
        initial_c=_initial(grid, initial, weather, cases),
        deep_c=_mean_air(weather, cases.placed_s, DAYS),
        wetness=_wetness(job, concrete, practice),
        keep=np.isin(np.round(instants), np.arange(0.0, instants[-1] + 1.0, HOUR)),
    )
    whole = np.isin(np.round(instants), np.round(result.seconds))
    air = Air(sampled["air_c"][whole], sampled["relative_humidity"][whole], near[whole])
    return Slab(
        hours=result.seconds / HOUR,
        placed_s=cases.placed_s,
        temperature_c=result.temperature_c,
        age_h=result.equivalent_age_h,
        air=air,
        evaporation=cases.evaporation
        * evaporation_rate(result.temperature_c[:, :, 0], air.air_c, air.relative_humidity, air.wind_ms),
        initial_c=initial,
    )


def cover_resistance(job: JobRecord, practice: Practice) -> float:
    """Return the resistance of what the curing lays on the slab, in m2K/W."""
    told = job.curing.blanket_r_value
    if job.curing.method == "insulating blanket" and told is not None:
        return told
    return float(practice.materials["cover"].get(job.curing.method, 0.0))


def _steps() -> Floats:
    """Return the steps: short while the concrete sets, longer after, each hour met, in s, shape (s,)."""
    fine = np.full(_FINE * 3, HOUR / 3)
    middling = np.full((_MIDDLING - _FINE) * 2, HOUR / 2)
    return np.concatenate([fine, middling, np.full(DAYS * 24 - _MIDDLING, HOUR)])


def _sample(
    weather: WeatherSeries, moments: Floats, cases: Cases, practice: Practice, ahead_of_s: float
) -> dict[str, Floats]:
    """Return the weather at the step instants (s+1, m), and the sun over the steps (s, m)."""
    known = weather.time.astype("datetime64[s]").astype(np.float64)
    sampled = {
        name: np.interp(moments, known, getattr(weather, name))
        for name in ("air_c", "relative_humidity", "wind_ms", "cloud")
    }
    error = air_error((moments - ahead_of_s) / HOUR, practice)
    sampled["air_c"] = sampled["air_c"] - cases.slower * error
    fallen = np.concatenate([[0.0], np.cumsum(weather.shortwave_wm2[1:])]) * HOUR
    sampled["sun"] = np.diff(np.interp(moments, known, fallen), axis=0) / np.diff(moments, axis=0)
    return sampled


def _exchange(
    practice: Practice,
    shelter: dict[str, float],
    sampled: dict[str, Floats],
    near: Floats,
    vapour: Floats,
    cover: float,
    cases: Cases,
) -> Exchange:
    look = practice.materials["surface"]
    return exchange(
        Surface(look["absorptivity"], look["emissivity"], shelter["sky"], shelter["sun"]),
        air_c=sampled["air_c"],
        vapour_pa=vapour,
        wind_ms=near,
        cloud=sampled["cloud"],
        shortwave_wm2=sampled["sun"],
        cover=_laid(cover, len(sampled["sun"]))[:, np.newaxis],
        evaporation_factor=cases.evaporation,
    )


def _laid(cover: float, steps: int) -> Floats:
    """Return the resistance on the slab over each step: what is laid, is laid once the crew has finished."""
    laid = np.zeros(steps)
    laid[_BARE_STEPS:] = cover
    return laid


_BARE_STEPS = 12 * 3  # covers are counted from 12 h on: a slab that sets late stays open as long


def _column(job: JobRecord, practice: Practice) -> Column:
    materials = practice.materials
    slab = job.slab
    cells = max(6, 2 * round(slab.thickness / _CELL / 2))  # even: a node stands in the middle
    layers = [_layer(materials[name], 3) for name in materials["under"][slab.on]]
    soil = materials["soil"]
    return column(
        Layer(
            slab.thickness,
            materials["concrete"]["conductivity"],
            materials["concrete"]["heat_capacity"],
            cells,
        ),
        [*layers, Layer(_GROUND, soil["conductivity"], soil["heat_capacity"], 9, 1.4)],
    )


def _layer(material: dict[str, float], cells: int) -> Layer:
    return Layer(material["thickness"], material["conductivity"], material["heat_capacity"], cells)


def _placed_c(job: JobRecord, air_c: Floats, practice: Practice) -> Floats:
    """Return the concrete as placed: as measured, or as the air but no colder than mixes come."""
    told = job.placement.concrete_temperature
    if told is not None:
        return np.full_like(air_c, told)
    coldest: float = practice.materials["placing"]["coldest_mix_c"]
    return np.maximum(air_c, coldest)


def _mean_air(weather: WeatherSeries, placed_s: Floats, days: int) -> Floats:
    """Return the mean air temperature of the days from placement on, in degC, shape (m,)."""
    known = weather.time.astype("datetime64[s]").astype(np.float64)
    starts = np.searchsorted(known, placed_s)
    return np.array([weather.air_c[start : start + days * 24].mean() for start in starts])


def _initial(grid: Column, placed_c: Floats, weather: WeatherSeries, cases: Cases) -> Floats:
    """Return every node at placement: concrete as placed, ground between the days' air and the weeks'."""
    count = len(grid.concrete)
    deep, shallow = (_mean_air(weather, cases.placed_s, days)[:, np.newaxis] for days in (DAYS, 1))
    below = grid.depth - grid.depth[count - 1]
    initial: Floats = deep + (shallow - deep) * np.exp(-below / _SKIN)
    initial[:, :count] = placed_c[:, np.newaxis]
    return initial


def _hydrating(concrete: Concrete, practice: Practice) -> Hydrating:
    curve = concrete.hydration
    return Hydrating(
        curve.ultimate,
        curve.tau_h,
        curve.beta,
        concrete.heat_j_m3,
        curve.activation_energy,
        curve.reference_c,
        practice["setting.frozen-below"],
    )


def _wetness(job: JobRecord, concrete: Concrete, practice: Practice) -> Callable[[int, Floats], Floats]:
    """Return how wet the surface is: bleed water until final set, then dry until curing water comes."""
    watered = job.curing.method in practice.methods
    water_h = concrete.final_set_h + practice["first-water.wait"]

    def wet(_: int, age_h: Floats) -> Floats:
        return np.where(age_h < concrete.final_set_h, 1.0, np.where(watered & (age_h >= water_h), 1.0, 0.0))

    return wet
