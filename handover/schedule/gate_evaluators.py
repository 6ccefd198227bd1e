"""One function for each kind of condition: when it is first met, member by member."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.practice.rules import general_rules
from handover.schedule import durations
from handover.schedule.circumstances import slab_circumstances
from handover.schedule.printed_times import half_hour_down
from handover.schedule.protection_period import (
    KEPT_WARM,
    NEAR_THE_AIR,
    age_kept_warm,
    coldest_of_the_next_day,
    largest_drop,
    mild_hours,
)
from handover.schedule.slab_age import age_at, hours_to_age, hours_to_value

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.practice.rules import GateRule
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation


REACH_H = general_rules()["forecast.reach"]
"""How far ahead a condition is evaluated, in hours; beyond it the result is "not within reach"."""
_DAY = 24

_CYLINDERS = ("standard-cylinder", "field-cylinder")
AFTER_ANOTHER_DATE = "after another date"
"""The measure of a condition that only keeps two dates in their order."""
MILD_DAYS = "week of mild days"
"""The measure of a condition that waits for a week in which the air is warm for some hours of the day."""
DAYS_OF_CURING = ("hours warm enough", "duration by temperature")
"""The measures by which the rules count the days of curing."""
DRYING = "hours of drying per metre after curing"
"""The measure of a condition that waits for a slab to dry by its thickness."""


def evaluate_gate(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return when a condition is first met, in hours since placement, shape (m,); inf: not within reach."""
    hours = np.broadcast_to(
        GATE_EVALUATORS[gate.measure](gate, simulation, earlier), simulation.slab.placed_s.shape
    )
    hours = np.minimum(hours, gate.at_most or np.inf)
    return np.where(hours > limit_hours(gate), np.inf, hours)


def limit_hours(gate: GateRule) -> float:
    """Return how far ahead a condition may be met: fixed ages have no limit, the others are estimates."""
    return REACH_H if gate.measure in _ESTIMATED else np.inf


def threshold(gate: GateRule) -> float:
    """Return the threshold of a gate whose measure requires one."""
    if gate.value is None:
        raise ValueError(f"rule {gate.rule} needs a value")
    return gate.value


def _degree(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    concrete = simulation.concrete
    at_set = {"setting.initial": concrete.initial_set_h, "setting.final": concrete.final_set_h}
    return _as_finished(gate, hours_to_age(simulation.slab, at_set[gate.per or ""]), simulation)


def _as_finished(gate: GateRule, hours: Floats, simulation: Simulation) -> Floats:
    """Return the hours of a set as the recorded end of finishing allows: it lies between the two sets.

    The end is rounded to the half hour before it for initial set, because that is printed by the half hour.
    """
    finished, end = simulation.job.placement.finished, simulation.job.placement.end
    if finished is None:
        return hours
    if gate.milestone == "initial-set":
        before = half_hour_down(finished)
        return np.minimum(hours, _hours_since_placed(before if before > end else finished, simulation))
    if gate.milestone == "final-set":
        return np.maximum(hours, _hours_since_placed(finished, simulation))
    return hours


def _hours_since_placed(when: datetime, simulation: Simulation) -> Floats:
    return np.maximum((when.timestamp() - simulation.slab.placed_s) / HOUR_S, 0.0)


def _after_final_set(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    return hours_to_age(simulation.slab, simulation.concrete.final_set_h + threshold(gate))


def _finishing_hours(_: GateRule, simulation: Simulation, __: Dates) -> Floats:
    """Return when finishing ended: as recorded, or at final set, when trowelling must be over."""
    finished = simulation.job.placement.finished
    if finished is None:
        return hours_to_age(simulation.slab, simulation.concrete.final_set_h)
    return _hours_since_placed(finished, simulation)


def _equivalent_age(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    return hours_to_age(simulation.slab, threshold(gate))


def _age(gate: GateRule, _: Simulation, __: Dates) -> Floats:
    return np.array(threshold(gate))


def _age_or_cylinders(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return the age, or when the estimate reaches the specified strength, once a cylinder has shown it."""
    if not _is_full_strength_measured(simulation):
        return np.array(threshold(gate))
    full = hours_to_strength(simulation.concrete.specified_mpa, simulation, earlier)
    return np.minimum(full, threshold(gate))


def _is_full_strength_measured(simulation: Simulation) -> bool:
    """Return whether a cylinder that counts had the specified strength or more."""
    needed = simulation.concrete.specified_mpa
    return any(
        figure.name == "strength" and figure.value is not None and figure.value >= needed
        for each in simulation.measurements.records
        if each.kind in _CYLINDERS and each.outcome != "too-young"
        for figure in each.measured
    )


def _strength(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    return hours_to_strength(threshold(gate), simulation, earlier)


def _share_of_strength(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    return hours_to_strength(threshold(gate) * simulation.concrete.specified_mpa, simulation, earlier)


def hours_to_strength(strength_mpa: float, simulation: Simulation, earlier: Dates) -> Floats:
    """Return when a strength is reached, in hours, shape (m,); more slowly once curing has ended."""
    slab, needed = simulation.slab, simulation.concrete.age_at_strength(strength_mpa)
    moist = hours_to_age(slab, needed)
    ends = earlier.moist_h
    if ends is None or np.all(moist <= ends):
        return moist
    met = [
        hours_to_age(slab, _age_needed(needed, at_end, simulation), depth)
        for depth, at_end in enumerate(np.moveaxis(age_at(slab, ends), 1, 0))
    ]
    later: Floats = np.maximum.reduce(met)
    return later


def _drying_h(simulation: Simulation) -> float:
    """Return the equivalent age in which hydration falls to 1/e once curing has ended: D of the rules."""
    rules, thickness = simulation.practice, simulation.job.slab.thickness
    return float(rules["strength.drying"] * _DAY * (thickness / rules["strength.drying-size"]) ** 2)


def _age_needed(needed_h: Floats, at_end_h: Floats, simulation: Simulation) -> Floats:
    """Return the equivalent age at which strength is that of an age all moist; inf: it never is."""
    dried = _drying_h(simulation)
    with np.errstate(invalid="ignore"):  # an infinite age within one that is infinite too is just that
        share = np.where(needed_h > at_end_h, needed_h - at_end_h, 0.0) / dried
    later = -dried * np.log1p(-np.minimum(share, np.nextafter(1.0, 0.0)))
    return np.where(share <= 0.0, needed_h, np.where(share < 1.0, at_end_h + later, np.inf))


def age_of_strength(simulation: Simulation, earlier: Dates) -> Floats:
    """Return the equivalent age that strength goes by, which is less than the slab's once curing has ended.

    Returns:
        Shape (h+1, m, 3). [h]
    """
    slab, ends = simulation.slab, earlier.moist_h
    if ends is None:
        return slab.age_h
    at_end = age_at(slab, ends)
    dried = _drying_h(simulation)
    after = np.maximum(slab.age_h - at_end, 0.0)
    slowed: Floats = np.minimum(slab.age_h, at_end) + dried * -np.expm1(-after / dried)
    return slowed


def _hours_above(gate: GateRule, simulation: Simulation, temperature_c: Floats) -> Floats:
    """Return when enough hours above a temperature have added up; gaps between them are allowed.

    Of curing, an hour in which the surface is dry for a while counts for less.
    """
    slab, above_c = simulation.slab, -np.inf if gate.above_c is None else gate.above_c
    counted, counted_later = durations.curing_shares(gate, simulation)
    warm = (temperature_c[:-1] >= above_c) * counted
    total = np.concatenate([np.zeros((1, warm.shape[1])), np.cumsum(warm, axis=0)])
    hours = threshold(gate)

    def later() -> tuple[Floats, Floats]:
        added = slab.later.accumulate(temperature_c, lambda each: each >= above_c)
        return slab.later.hours, added * counted_later

    met = hours_to_value(slab.hours, total, hours, later)
    if gate.at_most_times is None:
        return met
    return _most_of_cold_days(met, np.asarray(hours * gate.at_most_times), gate, simulation)


def _most_of_cold_days(met: Floats, most_h: Floats, gate: GateRule, simulation: Simulation) -> Floats:
    """Return when a count of warm hours is over: as met, or after the most hours asked where it is cold.

    Strength decides for a slab that was cold. It does not for one that was dry: a dry hour is none of the
    most hours asked.

    Args:
        met: When the count is complete, in hours since placement, shape (m,).
        most_h: The most hours asked, warm or cold, shape (m,) or (). [h]
        gate: The condition that counts.
        simulation: The simulation.
    """
    slab = simulation.slab
    counted, counted_later = durations.curing_shares(gate, simulation)
    hours = np.broadcast_to(counted, (len(counted), len(slab.placed_s)))
    total = np.concatenate([np.zeros((1, hours.shape[1])), np.cumsum(hours, axis=0)])

    def later() -> tuple[Floats, Floats]:
        return slab.later.hours, np.outer(slab.later.hours * counted_later, np.ones(hours.shape[1]))

    return np.minimum(met, hours_to_value(slab.hours, total, most_h, later))


def _by_temperature(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    """Return when the required time of a table is complete; a long working time adds its excess."""
    done = durations.share_of_duration(gate, simulation)
    later = partial(durations.later_share, gate, simulation)
    up = hours_to_value(simulation.slab.hours, done, 1.0, later)
    met = _most_of_cold_days(up, durations.longest_duration(gate, simulation), gate, simulation)
    if gate.working_time is None:
        return met
    workable = hours_to_age(simulation.slab, simulation.concrete.initial_set_h)
    return met + np.maximum(workable - gate.working_time, 0.0)


def _warm_air(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    """Count the hours of warm air; under a cover the air around the concrete is as warm as the concrete."""
    slab = simulation.slab
    around = slab.temperature_c.min(axis=2) if simulation.is_insulated else slab.air.air_c
    return _hours_above(gate, simulation, around)


def _warm_slab(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    # Node by node: faster than along the last axis.
    coldest_c = np.minimum.reduce(np.moveaxis(simulation.slab.temperature_c, 2, 0))
    return _hours_above(gate, simulation, coldest_c)


def _kept_warm(gate: GateRule, simulation: Simulation, _: Dates) -> Floats:
    """Return when a time at a temperature has passed; colder concrete takes longer, by its equivalent age."""
    aged = hours_to_age(simulation.slab, age_kept_warm(gate, simulation.concrete))
    return np.maximum(aged, threshold(gate))


def _near_the_air(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return the first hour in which blankets may come off once the other conditions of the date are met.

    At once where no blankets lie, and past the simulation, in which an hour after its last day is as mild as
    that day's.
    """
    if not simulation.is_insulated:
        return np.zeros(1)
    ready = _when_others_are_met(gate, simulation, earlier)
    slab = simulation.slab
    surface_c, air_c = slab.temperature_c[:, :, 0], slab.air.air_c
    drop_k = largest_drop(simulation.job, simulation.practice)
    mild = mild_hours(surface_c, air_c, coldest_of_the_next_day(air_c), simulation.practice, drop_k)
    allowed = mild & (slab.hours[:, np.newaxis] >= ready)
    first = np.where(allowed.any(axis=0), slab.hours[allowed.argmax(axis=0)], np.inf)
    return np.where(ready > slab.hours[-1], np.where(mild[-_DAY:].any(axis=0), ready, np.inf), first)


def _mild_days(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return the first week with days as mild as the rule asks for, once the other conditions are met.

    The weeks are those past the simulation, because the other conditions are met by then; where they are met
    before, from its end on. A week is mild by the mean of the members: between a mild fall and the spring
    there is no date that is right for some of them.
    """
    slab, above_c = simulation.slab, -np.inf if gate.above_c is None else gate.above_c
    warm_h = slab.later.accumulate(slab.air.air_c, lambda each: each >= above_c)
    weeks = slab.later.hours
    hours_a_day = np.diff(warm_h.mean(axis=1)) / np.diff(weeks) * _DAY
    ready = _when_others_are_met(gate, simulation, earlier) - slab.hours[-1]
    allowed = (hours_a_day >= threshold(gate))[:, np.newaxis] & (weeks[1:, np.newaxis] > ready)
    first = np.where(allowed.any(axis=0), weeks[allowed.argmax(axis=0)], np.inf)
    return np.asarray(slab.hours[-1] + np.maximum(first, ready))


def _when_others_are_met(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return when the other conditions of a date are met, but those of the same measure, shape (m,)."""
    others = simulation.practice.gates_for(gate.milestone, slab_circumstances(simulation.job))
    met: Floats = np.maximum.reduce(
        [evaluate_gate(each, simulation, earlier) for each in others if each.measure != gate.measure]
    )
    return met


def _after_another_date(gate: GateRule, _: Simulation, earlier: Dates) -> Floats:
    """Return when the date that must come first is met; at once where the slab has no such date."""
    return earlier.met_h.get(gate.after or "", np.zeros(1))


def _after_curing(gate: GateRule, _: Simulation, earlier: Dates) -> Floats:
    return earlier.met_h["curing-ends"] + threshold(gate)


def _drying(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    return earlier.met_h["curing-ends"] + threshold(gate) * simulation.job.slab.thickness


def _first_winter(_: GateRule, simulation: Simulation, __: Dates) -> Floats:
    """Return the end of the first winter, which comes half a year later south of the equator."""
    month = int(simulation.practice["winter.over"])
    if (simulation.job.site.latitude or 0.0) < 0.0:
        month = (month + 5) % 12 + 1
    placed = simulation.job.placement.end
    ends = [datetime(year, month, 1, tzinfo=placed.tzinfo) for year in (placed.year, placed.year + 1)]
    end = next(each for each in ends if each > placed)
    return np.asarray((end.astimezone(UTC).timestamp() - simulation.slab.placed_s) / HOUR_S)


def _mild_weeks(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return when the slab has been warm for some weeks: so long after its first winter at the latest."""
    return np.minimum(
        _warm_slab(gate, simulation, earlier), _first_winter(gate, simulation, earlier) + threshold(gate)
    )


def _dry_weeks(gate: GateRule, simulation: Simulation, earlier: Dates) -> Floats:
    """Return when the slab has dried for some weeks after curing, which is over by the end of the winter."""
    cured = np.minimum(earlier.met_h["curing-ends"], _first_winter(gate, simulation, earlier))
    return cured + threshold(gate)


GATE_EVALUATORS: dict[str, Callable[[GateRule, Simulation, Dates], Floats]] = {
    "degree of hydration": _degree,
    "hours after final set": _after_final_set,
    "finishing done": _finishing_hours,
    "equivalent age": _equivalent_age,
    "age": _age,
    "age, or full strength by cylinders": _age_or_cylinders,
    "strength": _strength,
    "share of strength": _share_of_strength,
    "hours of warm air": _warm_air,
    "hours warm enough": _warm_slab,
    "duration by temperature": _by_temperature,
    KEPT_WARM: _kept_warm,
    NEAR_THE_AIR: _near_the_air,
    AFTER_ANOTHER_DATE: _after_another_date,
    "hours after curing": _after_curing,
    DRYING: _drying,
    "end of first winter": _first_winter,
    "mild weeks": _mild_weeks,
    MILD_DAYS: _mild_days,
    "dry weeks": _dry_weeks,
}
_ESTIMATED = frozenset(
    {"degree of hydration", "hours after final set", "equivalent age", "strength", "share of strength"}
    | {"hours of warm air", "hours warm enough", "duration by temperature", KEPT_WARM, NEAR_THE_AIR}
    | {MILD_DAYS}
)
