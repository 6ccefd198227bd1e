"""What the crew sees of the surface: when finishing ended, whether a key marks it, how warm it is.

The last pass of the trowel lies between initial and final set. A surface that a key marks is not yet hard
enough for water; one that it does not mark has set. Each of them limits the factor on the time to set, in
each member by its own temperatures; the draw of that factor is moved into the limits and keeps its order.
Late evidence counts whole. Early evidence counts only to the early end of the spread, because a broom may
pass before concrete has begun to set. Where finishing ends long before nearly every member's first set, the
hour is wrong or the surface was closed over bleed water: the crew is asked, and no first set is printed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.ensemble import CENTRAL
from handover.schedule.measurement_result import MeasurementResult
from handover.schedule.model import Figure, Measurement
from handover.schedule.slab_simulation import simulate_slab
from handover.schedule.temperature_log import apply_correction

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from typing import Literal

    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.slab_simulation import SlabSimulation
    from handover.weather.series import WeatherSeries

    Kind = Literal["finishing", "scratch"]

SET_CONTRADICTED = "set-contradicted"
"""Outcome of a finishing hour that lies before the first set of nearly all members."""

_SURFACE = 0
_EARLY = "setting.observed-early"
_NORMAL = NormalDist()
_CERTAIN = 6.0  # standard deviations past which a limit is the value itself
_LEAST_P = 1e-12


@dataclass(frozen=True)
class _SettingLimits:
    """The limits that one observation puts on the factor on the time to set, shape (m,); 1 is as estimated.

    Attributes:
        lowest: Setting is no faster than this.
        highest: Setting is no slower than this.
    """

    kind: Kind
    name: str
    at: datetime
    lowest: Floats
    highest: Floats

    @property
    def outcome(self) -> str:
        """Code of the comparison with the central member."""
        if self.lowest[CENTRAL] > 1.0:
            return "set-later"
        return "set-sooner" if self.highest[CENTRAL] < 1.0 else "set-agrees"


def condition_on_setting(
    job: JobRecord,
    weather: WeatherSeries,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    practice: Practice,
) -> tuple[Ensemble, ConcreteProperties, MeasurementResult]:
    """Return the ensemble and its concrete, their time to set as the observations of the surface allow.

    The temperatures until then are simulated first, with the time to set as estimated: the heat of those
    hours hardly depends on it. Infrared readings correct them; a logger does not, because a few hours do not
    show whether it lies in the air.
    """
    times = _times(job)
    if not times:
        return ensemble, concrete, MeasurementResult()
    hours = (max(times).timestamp() - job.placement.start.timestamp()) / HOUR_S
    slab = simulate_slab(job, weather, ensemble, concrete, practice, hours=hours + practice[_EARLY])
    slab, _ = apply_infrared(job, ensemble, concrete, slab, practice)
    limits = tuple(_limits(job, concrete, slab, practice))
    drawn = ensemble.draws["setting"]
    spread = float(np.log(practice["spread.setting"]))
    moved = _within(drawn, limits, spread, practice["setting.observed-reach"])
    moved = moved[: ensemble.n_last]
    moved = np.concatenate([moved, moved[: len(ensemble) - ensemble.n_last]])  # of the same concrete
    factor = np.exp(spread * (moved - drawn))
    conditioned = replace(
        ensemble, setting=ensemble.setting * factor, draws={**ensemble.draws, "setting": moved}
    )
    slower = concrete.with_setting(factor)
    records = tuple(
        _early_record(each, _first_set_hours(job, weather, ensemble, concrete, practice), job)
        if _is_too_early(each, slab, ensemble, concrete, practice)
        else _record(each, job, concrete, slower)
        for each in limits
    )
    return conditioned, slower, MeasurementResult(records)


def _times(job: JobRecord) -> list[datetime]:
    """Return when the surface was seen in a state that says something about its setting."""
    finished = job.placement.finished
    return [*([finished] if finished else []), *(each.time for each in job.scratch)]


def _limits(
    job: JobRecord, concrete: ConcreteProperties, slab: SlabSimulation, practice: Practice
) -> Iterator[_SettingLimits]:
    initial_h, final_h = concrete.initial_set_h, concrete.final_set_h
    none, endless = np.zeros_like(final_h), np.full_like(final_h, np.inf)
    if (finished := job.placement.finished) is not None:
        age_h, margin = slab.age_at(finished, _SURFACE), practice["setting.observed-margin"]
        lowest, highest = age_h / (final_h * (1.0 + margin)), age_h / (initial_h * (1.0 - margin))
        yield _SettingLimits("finishing", "", finished, lowest, highest)
    for number, test in enumerate(job.scratch, 1):
        age_h = slab.age_at(test.time, _SURFACE)
        if test.marks:
            lowest = (age_h - practice["first-water.wait"]) / final_h
            yield _SettingLimits("scratch", str(number), test.time, np.maximum(lowest, none), endless)
        else:
            yield _SettingLimits("scratch", str(number), test.time, none, age_h / final_h)


def _within(drawn: Floats, limits: tuple[_SettingLimits, ...], spread: float, reach: float) -> Floats:
    """Return the standardised draws inside all limits; where two contradict each other, the later one counts.

    Args:
        drawn: Shape (m,).
        limits: Of each observation.
        spread: Logarithm of the factor that one standard deviation is.
        reach: How far early evidence moves a draw. [standard deviations]
    """
    lowest = np.maximum.reduce([each.lowest for each in limits])
    highest = np.minimum.reduce([each.highest for each in limits])
    with np.errstate(divide="ignore"):
        low = drawn + np.log(lowest) / spread
        high = drawn + np.log(highest) / spread
    high = np.maximum(high, -reach)
    high = np.where(high > low, high, np.inf)
    return np.array([_truncated_draw(*each) for each in zip(drawn, low, high, strict=True)])


def _truncated_draw(drawn: float, low: float, high: float) -> float:
    """Return the value at the same quantile of the normal distribution between two limits."""
    if low > _CERTAIN:
        return float(low)
    if low > 0.0:  # the mirror image is exact in the tail
        return -_truncated_draw(-drawn, -high, -low)
    below, above = _NORMAL.cdf(low), _NORMAL.cdf(high)
    share = below + _NORMAL.cdf(drawn) * (above - below)
    return _NORMAL.inv_cdf(min(max(share, _LEAST_P), 1.0 - _LEAST_P))


def _is_too_early(
    limits: _SettingLimits,
    slab: SlabSimulation,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    practice: Practice,
) -> bool:
    """Return whether finishing ended long before the first set of nearly all members.

    Then the hour is wrong, or the surface was closed over bleed water.
    """
    if limits.kind != "finishing":
        return False
    last, later = ensemble.last_placed, limits.at.astimezone(UTC) + timedelta(hours=practice[_EARLY])
    has_set = slab.age_at(later, _SURFACE)[last] >= concrete.initial_set_h[last]
    return bool(has_set.mean() < 1.0 - practice["spread.share"])


def _first_set_hours(
    job: JobRecord,
    weather: WeatherSeries,
    ensemble: Ensemble,
    concrete: ConcreteProperties,
    practice: Practice,
) -> tuple[float, float]:
    """Return the early end and the middle of first set without the finishing, in hours after placement."""
    set_h = concrete.initial_set_h
    slab = simulate_slab(
        job, weather, ensemble, concrete, practice, hours=practice["surface-check.latest"], until_h=set_h
    )
    has_set = slab.age_h[:, ensemble.last_placed, _SURFACE] >= set_h[ensemble.last_placed]
    first = np.where(has_set.any(axis=0), slab.hours[has_set.argmax(axis=0)], slab.hours[-1])
    early, middle = np.quantile(first, (1.0 - practice["spread.share"], 0.5))
    return float(early), float(middle)


def _early_record(limits: _SettingLimits, first_set: tuple[float, float], job: JobRecord) -> Measurement:
    """Return the record of finishing that ended before the concrete had begun to set."""
    since = (limits.at.astimezone(UTC) - job.placement.end.astimezone(UTC)).total_seconds() / HOUR_S
    early, middle = first_set
    return Measurement(
        kind=limits.kind,
        name=limits.name,
        at=limits.at,
        measured=(Figure("age", since, "h"),),
        estimated=(Figure("first_set_early", early, "h"), Figure("first_set", middle, "h")),
        outcome=SET_CONTRADICTED,
    )


def _record(
    limits: _SettingLimits, job: JobRecord, before: ConcreteProperties, after: ConcreteProperties
) -> Measurement:
    since = (limits.at.astimezone(UTC) - job.placement.end.astimezone(UTC)).total_seconds() / HOUR_S
    return Measurement(
        kind=limits.kind,
        name=limits.name,
        at=limits.at,
        measured=(Figure("age", since, "h"),),
        estimated=(Figure("final_set_age", float(before.final_set_h[CENTRAL]), "h"),),
        outcome=limits.outcome,
        figures=(Figure("final_set_age", float(after.final_set_h[CENTRAL]), "h"),),
    )


# ---- temperature of the surface ---------------------------------------------------------------------


def apply_infrared(
    job: JobRecord, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation, practice: Practice
) -> tuple[SlabSimulation, MeasurementResult]:
    """Return the slab corrected by the infrared readings of its surface, and their outcome.

    A reading moves the members towards it as far as it is surer than the model, and narrows them as much. Its
    correction grows from the placement on and fades after the reading. Where there is a logger, readings are
    only noted.
    """
    records = []
    for number, reading in enumerate(sorted(job.infrared, key=lambda each: each.time), 1):
        hour = (reading.time.timestamp() - slab.placed_s[CENTRAL]) / HOUR_S
        if not 0.0 < hour <= slab.hours[-1]:
            continue
        surface_c = slab.temperature_at(reading.time, _SURFACE)
        follows = job.temperature_log is None
        records.append(
            Measurement(
                kind="infrared",
                name=str(number),
                at=reading.time,
                measured=(Figure("surface_temperature", reading.temperature, "degC"),),
                estimated=(Figure("surface_temperature", float(surface_c[CENTRAL]), "degC"),),
                outcome="surface-followed" if follows else "surface-noted",
            )
        )
        if follows:
            correction = _infrared_correction(reading.temperature, surface_c, hour, slab, practice)
            slab = apply_correction(slab, ensemble, concrete, correction)
    return slab, MeasurementResult(tuple(records))


def _infrared_correction(
    measured_c: float, surface_c: Floats, hour: float, slab: SlabSimulation, practice: Practice
) -> Floats:
    """Return what to add to each member's slab, in K, shape (h, m)."""
    model, error = practice["log.offset"] ** 2, practice["infrared.error"] ** 2
    gain = model / (model + error)
    apart = surface_c - surface_c[CENTRAL]
    there = gain * (measured_c - surface_c[CENTRAL]) + (np.sqrt(1.0 - gain) - 1.0) * apart
    since = slab.hours - hour
    weight = np.where(
        since < 0.0, slab.hours / hour, np.exp(-np.maximum(since, 0.0) / practice["log.wander-hours"])
    )
    return np.asarray(weight[:, np.newaxis] * there)
