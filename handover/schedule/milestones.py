"""The dates: each from the conditions that practice sets for it, the last to be met governing."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule import durations
from handover.schedule.cases import CENTRAL
from handover.schedule.country import circumstances
from handover.schedule.course import HOUR
from handover.schedule.measures import measure
from handover.schedule.model import Figure, Gate, Milestone, MilestoneKind, Reason, Refusal
from handover.schedule.moments import early, late, median
from handover.schedule.sawing import too_late_hours

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.practice.rules import GateRule, Practice
    from handover.schedule.course import Course
    from handover.schedule.model import Basis

    Floats = NDArray[np.float64]

_TENDONS = "engineer-decides-tendons"
_STILL_H = 0.25  # a date that moves by less than a quarter of an hour has no spread to speak of
_STANDS_OUT = 0.10  # a tenth of the spread: of seven uncertainties alike each would have a seventh
_NO_FIRST_WATER = ("curing compound", "insulating blanket")  # nothing to be wetted


def milestones(
    course: Course, basis: Callable[[datetime], Basis]
) -> tuple[tuple[Milestone, ...], tuple[Refusal, ...]]:
    """Return the dates of a job, in the order of `MilestoneKind`, and those that the tool will not give."""
    refused = tuple(refusals(course.job, course.practice))
    withheld = {refusal.kind for refusal in refused}
    slab = circumstances(course.job)
    found = []
    for kind in MilestoneKind:
        gates = course.practice.gates_for(kind, slab)
        if gates and kind not in withheld and _called_for(kind, course.job):
            found.append(_milestone(kind, gates, course, basis))
    return tuple(found), refused


def refusals(job: JobRecord, practice: Practice) -> Iterable[Refusal]:
    """Yield the dates that the tool must not give for this slab."""
    given = set()
    for rule in practice.refusals:
        if rule.code == _TENDONS and not job.slab.has_tendons:
            continue
        if rule.uses and job.slab.use not in rule.uses:
            continue
        for kind in rule.milestones:
            if kind not in given:
                given.add(kind)
                yield Refusal(kind, rule.code)


def _called_for(kind: MilestoneKind, job: JobRecord) -> bool:
    """Tell whether a job has such a date at all."""
    if kind == MilestoneKind.STRIP_EDGE_FORMS:
        return job.forms.edge
    if kind == MilestoneKind.FIRST_WATER:
        return job.curing.method not in _NO_FIRST_WATER
    if kind == MilestoneKind.DEICING_SALT:
        return job.slab.exposure != "indoors" or job.slab.use == "garage floor"
    return True


def _milestone(
    kind: MilestoneKind,
    rules: tuple[GateRule, ...],
    course: Course,
    basis: Callable[[datetime], Basis],
) -> Milestone:
    met = [measure(rule, course) for rule in rules]
    together = np.maximum.reduce(met)
    course.met[kind] = together
    for rule, hours in zip(rules, met, strict=True):
        course.opened[rule.rule] = np.maximum(course.opened.get(rule.rule, -np.inf), hours)
    gates = sorted(
        (_gate(rule, hours, course) for rule, hours in zip(rules, met, strict=True)),
        key=_not_before_last,
        reverse=True,
    )
    likely, not_before = median(together, course), late(together, course)
    return Milestone(
        kind=kind,
        likely=likely,
        not_before=not_before,
        because=Reason(gates[0], tuple(gates[1:])),
        basis="typical" if not_before is None else basis(not_before),
        confidence=course.share,
        not_after=early(too_late_hours(course), course) if kind == MilestoneKind.SAW_JOINTS else None,
        spread_by=_spread_by(together, course),
    )


def _not_before_last(gate: Gate) -> tuple[datetime, datetime]:
    never = datetime.max.replace(tzinfo=UTC)
    return gate.not_before or never, gate.likely or never


def _spread_by(hours: Floats, course: Course) -> tuple[Figure, ...]:
    """Return which uncertainty moves a date most, with its share of the spread, if one stands out.

    The share is the square of the correlation of ranks over the members: some may never get there.
    """
    last = course.cases.last
    moved = hours[last]
    low, high = np.quantile(moved, (1.0 - course.share, course.share), method="inverted_cdf")
    if not np.isfinite(low) or high - low < _STILL_H:
        return ()
    draws = {**course.cases.draws, "weather": _warmer_until(float(np.median(moved)), course)}
    shares = {name: _correlation(_ranks(draw[last]), _ranks(moved)) ** 2 for name, draw in draws.items()}
    most = max(shares, key=lambda name: shares[name])
    return (Figure(most, shares[most], "1"),) if shares[most] >= _STANDS_OUT else ()


def _warmer_until(hours: float, course: Course) -> Floats:
    """Return how much warmer each member's air is than told, in K on average until a date, shape (m,)."""
    since_h = (course.weather.seconds - course.slab.placed_s[CENTRAL]) / HOUR
    until = (since_h > -1.0) & (since_h <= max(hours, 1.0))
    mean: Floats = course.cases.errors["air_c"][until].mean(axis=0)
    return mean


def _ranks(values: Floats) -> Floats:
    """Return the rank of each value, alike for like values."""
    return np.unique(values, return_inverse=True)[1].astype(np.float64)


def _correlation(one: Floats, other: Floats) -> float:
    spread = float(one.std() * other.std())
    return 0.0 if spread == 0.0 else float(((one - one.mean()) * (other - other.mean())).mean()) / spread


def _gate(rule: GateRule, hours: Floats, course: Course) -> Gate:
    return Gate(
        rule=rule.rule,
        likely=median(hours, course),
        not_before=late(hours, course),
        source=rule.source,
        mark=rule.mark,
        figures=tuple(_figures(rule, course, float(hours[CENTRAL]))),
    )


def _figures(rule: GateRule, course: Course, until_h: float) -> Iterable[Figure]:
    """Yield the numbers that went into a condition."""
    concrete = course.concrete
    if rule.table is not None:
        yield from durations.figures(rule, course, until_h)
    elif rule.value is not None:
        yield Figure("needed", rule.value, rule.unit)
    if rule.above_c is not None:
        yield Figure("counted_above", rule.above_c, "degC")
    if rule.measure == "share of strength":
        yield Figure("specified_strength", concrete.specified_mpa, "MPa")
    if rule.measure == "hours of drying per metre after curing":
        yield Figure("thickness", course.job.slab.thickness, "m")
    if rule.measure == "degree of hydration":
        yield Figure("water_cementitious", course.job.mix.water_cementitious, "1")
