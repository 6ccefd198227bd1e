"""The simulated slab, corrected by a temperature logger.

Until the last reading, the slab has the temperature of the log; the other depths keep their difference from
its depth in the model. Afterwards the model continues with a correction fitted to the readings: an offset,
and a gain on the excess over the air. Each member is corrected to the readings of a sensor with its own
error. So the members keep the remaining uncertainty: with many readings the errors of the sensor, with few
readings their own.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import sha256
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.evaporation import evaporation_rate
from handover.concrete.freezing import liquid_share
from handover.concrete.hydration import reaction_rate
from handover.schedule.ensemble import CENTRAL
from handover.schedule.measurement_result import LogCorrection, MeasurementResult
from handover.schedule.model import Figure, Measurement

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.slab_simulation import SlabSimulation


_FEWEST = 3  # readings for a fit


def depth_weights(depth: float, thickness: float) -> Floats:
    """Return the weights of surface, middle and bottom at a depth: linear between them, shape (3,)."""
    down = np.clip(2.0 * depth / thickness, 0.0, 2.0)
    return np.array([max(1.0 - down, 0.0), 1.0 - abs(down - 1.0), max(down - 1.0, 0.0)])


def apply_temperature_log(
    job: JobRecord, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation, practice: Practice
) -> tuple[SlabSimulation, MeasurementResult]:
    """Return the slab corrected by its logger, and the outcome of the readings."""
    log = job.temperature_log
    seconds, celsius = _readings(job, slab)
    if log is None or not len(seconds):
        return slab, MeasurementResult()
    depth = practice["log.depth"] * job.slab.thickness if log.depth is None else log.depth
    at_depth = depth_weights(depth, job.slab.thickness)
    there = slab.temperature_c @ at_depth
    if _in_the_air(seconds, celsius, there, slab, practice):
        figures = (Figure("readings", float(len(seconds)), "1"),)
        record = Measurement(
            "temperature-log", log.file, log.readings[-1].time, figures, (), "log-in-the-air"
        )
        return slab, MeasurementResult((record,), (("log-in-the-air", ()),))
    correction, log_correction, off = _corrections(job, ensemble, slab, at_depth, seconds, celsius, practice)
    corrected = apply_correction(slab, ensemble, concrete, correction)
    record = _record(job, slab, there, seconds, celsius, depth, off, log_correction)
    far = abs(off) > practice["log.far"]
    cautions = (("log-differs", (Figure("mean_difference", abs(off), "K"),)),) if far else ()
    return corrected, MeasurementResult((record,), cautions, log_correction=log_correction)


def with_log_correction(
    slab: SlabSimulation,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    log_correction: LogCorrection,
    practice: Practice,
) -> SlabSimulation:
    """Return a slab without a logger, under another cover, with the correction by the log.

    Only the fitted correction applies, not the readings: those belong to the slab under its own cover.
    """
    excess = slab.temperature_c @ log_correction.at_depth - slab.air.air_c
    since = np.maximum(slab.hours - log_correction.until_h, 0.0)
    return apply_correction(
        slab, ensemble, concrete, _fade(log_correction.correction(excess), since, practice)
    )


def _readings(job: JobRecord, slab: SlabSimulation) -> tuple[Floats, Floats]:
    """Return the readings from the last placement to the end of the estimate: UTC seconds and degC."""
    log = job.temperature_log
    rows = [(each.time.timestamp(), each.temperature) for each in log.readings] if log else []
    table = np.array(rows, dtype=np.float64).reshape(-1, 2)
    start = slab.placed_s[CENTRAL]
    within = (table[:, 0] >= start) & (table[:, 0] <= start + slab.hours[-1] * HOUR_S)
    return table[within, 0], table[within, 1]


def _at(hours: Floats, series: Floats) -> Floats:
    """Return hourly series (h, m) at fractional hours (k,), shape (k, m)."""
    index = np.clip(hours.astype(np.int64), 0, len(series) - 2)
    share = (hours - index)[:, np.newaxis]
    return np.asarray(series[index] * (1.0 - share) + series[index + 1] * share)


def _in_the_air(
    seconds: Floats, celsius: Floats, there: Floats, slab: SlabSimulation, practice: Practice
) -> bool:
    """Return whether the readings follow the air where the slab would not."""
    hours = (seconds - slab.placed_s[CENTRAL]) / HOUR_S
    early = (hours >= practice["log.settled"]) & (hours <= practice["log.like-slab"])
    if early.sum() < 2 * _FEWEST:
        return False
    air, model = (_at(hours[early], series[:, [CENTRAL]])[:, 0] for series in (slab.air.air_c, there))
    from_air, from_model = _rms(celsius[early] - air), _rms(celsius[early] - model)
    return from_air < practice["log.like-air"] and from_air * practice["log.nearer-air"] < from_model


def _rms(values: Floats) -> float:
    return float(np.sqrt((values**2).mean()))


def _corrections(
    job: JobRecord,
    ensemble: Ensemble,
    slab: SlabSimulation,
    at_depth: Floats,
    seconds: Floats,
    celsius: Floats,
    practice: Practice,
) -> tuple[Floats, LogCorrection | None, float]:
    """Return the addition to each member (h, m), the fitted correction, and the error of the model."""
    there = slab.temperature_c @ at_depth
    sensor = _sensor_errors(job, ensemble, celsius, practice)
    correction = np.empty_like(there)
    log_correction, off = None, 0.0
    for group in (ensemble.last_placed, ensemble.first_placed):
        hours = (seconds - slab.placed_s[group][0]) / HOUR_S
        excess = there[:, group] - slab.air.air_c[:, group]
        residual = celsius[:, np.newaxis] + sensor[:, group] - _at(hours, there[:, group])
        found = _fit_correction(hours, residual, _at(hours, excess), at_depth, practice)
        correction[:, group] = _during_readings(slab.hours, hours, residual, practice)
        beyond = slab.hours > hours[-1]
        correction[beyond, group] = _after_readings(
            slab.hours[beyond] - hours[-1],
            residual[-1],
            found,
            excess[beyond],
            _at(hours[-1:], excess),
            practice,
        )
        if group == ensemble.last_placed:
            log_correction, off = found, float(residual[:, CENTRAL].mean())
    return correction, log_correction, off


def _sensor_errors(job: JobRecord, ensemble: Ensemble, celsius: Floats, practice: Practice) -> Floats:
    """Return the error of the logger in each member, shape (k, m); none in the central member."""
    random = np.random.Generator(np.random.PCG64(int(sha256(f"{job.id}:log".encode()).hexdigest()[:16], 16)))
    half = random.standard_normal((2, ensemble.n_last // 2))
    drawn = np.concatenate([np.zeros((2, 1)), half, -half], axis=1)[:, : ensemble.n_last]
    offset, swing = np.concatenate([drawn, drawn[:, : len(ensemble) - ensemble.n_last]], axis=1)
    about = (celsius - celsius.mean())[:, np.newaxis]
    return np.asarray(practice["log.sensor"] * offset + practice["log.swing"] * swing * about)


def _fit_correction(
    hours: Floats, residual: Floats, excess: Floats, at_depth: Floats, practice: Practice
) -> LogCorrection | None:
    """Return offset and gain by least squares, with priors of zero and one.

    Readings close in time are correlated: only one counts for each span of the model's memory.
    """
    usable = hours >= practice["log.settled"]
    if usable.sum() < _FEWEST:
        return None
    residual, excess = residual[usable], excess[usable]
    span = float(hours[usable][-1] - hours[usable][0])
    count = min(1.0 + span / practice["log.wander-hours"], float(usable.sum()))
    noise = practice["log.wander"] ** 2
    about = excess.mean(axis=0)
    apart = excess - about
    precision = count / noise + 1.0 / practice["log.offset"] ** 2
    offset = residual.mean(axis=0) * (count / noise) / precision
    weight = count * (apart**2).mean(axis=0) / noise
    steady = 1.0 / practice["log.gain"] ** 2
    slope = count * (apart * residual).mean(axis=0) / noise / (weight + steady)
    return LogCorrection(
        at_depth,
        float(hours[-1]),
        offset,
        np.clip(slope, -practice["log.most-gain"], practice["log.most-gain"]),
        about,
        float(precision**-0.5),
        float((weight[CENTRAL] + steady) ** -0.5),
    )


def _during_readings(whole: Floats, hours: Floats, residual: Floats, practice: Practice) -> Floats:
    """Return the difference from the readings at each whole hour, linear between them, shape (h, m).

    At the placement, the concrete is as measured there, unless the first reading is of that time.
    """
    if hours[0] > 0.0:
        begin = residual[:1] if hours[0] <= practice["log.at-placement"] else np.zeros_like(residual[:1])
        hours, residual = np.concatenate([[0.0], hours]), np.concatenate([begin, residual])
    after = np.clip(np.searchsorted(hours, whole), 1, max(len(hours) - 1, 1))
    if len(hours) == 1:
        return np.repeat(residual, len(whole), axis=0)
    share = np.clip((whole - hours[after - 1]) / (hours[after] - hours[after - 1]), 0.0, 1.0)[:, np.newaxis]
    return np.asarray(residual[after - 1] * (1.0 - share) + residual[after] * share)


def _after_readings(
    since: Floats,
    last: Floats,
    log_correction: LogCorrection | None,
    excess: Floats,
    excess_then: Floats,
    practice: Practice,
) -> Floats:
    """Return the addition past the last reading, shape (h, m): its difference fades into the correction."""
    fading = np.exp(-since / practice["log.wander-hours"])[:, np.newaxis]
    if log_correction is None:
        held = last * fading
    else:
        held = log_correction.correction(excess) + (last - log_correction.correction(excess_then)[0]) * fading
    return _fade(held, since, practice)


def _fade(held: Floats, since: Floats, practice: Practice) -> Floats:
    """Return the remaining share of a correction some hours after the last reading, shape (h, m).

    A correction that warms the slab, and so brings dates forward, is discounted more the older it is; one
    that cools the slab is kept.
    """
    warm = np.exp(-since / practice["log.believed"])[:, np.newaxis]
    return np.asarray(np.where(held > 0.0, held * warm, held))


def apply_correction(
    slab: SlabSimulation,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    correction: Floats,
) -> SlabSimulation:
    """Return the slab with its temperatures corrected, and its equivalent age from them.

    Args:
        slab: The slab.
        ensemble: Its members.
        concrete: Their concrete.
        correction: Added to all depths, shape (h, m). [K]
    """
    temperature = slab.temperature_c + correction[:, :, np.newaxis]
    gained = np.diff(slab.age_h, axis=0)
    # The simulation has finer steps than hours; the difference is exactly zero for no correction.
    gained = gained + _hourly_age(temperature, concrete)
    gained = gained - _hourly_age(slab.temperature_c, concrete)
    age = slab.age_h[:1] + np.concatenate(
        [np.zeros_like(slab.age_h[:1]), np.cumsum(np.maximum(gained, 0.0), axis=0)]
    )
    air = slab.air
    drying = evaporation_rate(temperature[:, :, 0], air.air_c, air.relative_humidity, air.wind_ms)
    return replace(slab, temperature_c=temperature, age_h=age, evaporation=ensemble.evaporation * drying)


def _hourly_age(temperature: Floats, concrete: ConcreteProperties) -> Floats:
    """Return the equivalent age gained in each hour, by the mean rate of its ends, shape (h, m, 3)."""
    curve = concrete.hydration
    warm, cold = (
        np.asarray(each)[:, np.newaxis] for each in (curve.activation_energy, curve.cold_activation_energy)
    )
    by_node = replace(curve, activation_energy=warm, cold_activation_energy=cold)
    rate = reaction_rate(temperature, by_node) * liquid_share(temperature, concrete.freezing)
    return np.asarray((rate[1:] + rate[:-1]) / 2.0)


def _record(
    job: JobRecord,
    slab: SlabSimulation,
    there: Floats,
    seconds: Floats,
    celsius: Floats,
    depth: float,
    off: float,
    log_correction: LogCorrection | None,
) -> Measurement:
    log = job.temperature_log
    assert log is not None  # noqa: S101 - only a job with a log comes here
    hours = (seconds - slab.placed_s[CENTRAL]) / HOUR_S
    model = _at(hours, there[:, [CENTRAL]])[:, 0]
    correction = (
        ()
        if log_correction is None
        else (
            Figure("offset", float(log_correction.offset[CENTRAL]), "K"),
            Figure("offset_error", log_correction.offset_error, "K"),
            Figure("gain", 1.0 + float(log_correction.bend[CENTRAL]), "1"),
            Figure("gain_error", log_correction.gain_error, "1"),
        )
    )
    return Measurement(
        kind="temperature-log",
        name=log.file,
        at=log.readings[-1].time,
        measured=(
            Figure("readings", float(len(celsius)), "1"),
            Figure("depth", depth, "m"),
            Figure("mean_temperature", float(celsius.mean()), "degC"),
            Figure("warmest", float(celsius.max()), "degC"),
        ),
        estimated=(
            Figure("mean_temperature", float(model.mean()), "degC"),
            Figure("warmest", float(model.max()), "degC"),
            Figure("mean_difference", off, "K"),
        ),
        outcome="log-followed" if log_correction is None else "log-learnt",
        figures=correction,
    )
