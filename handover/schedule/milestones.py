"""The dates: each from the conditions that practice sets for it, the last to be met governing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.cases import LIKELY
from handover.schedule.course import HOUR
from handover.schedule.measures import curing_hours, first_reached, measure
from handover.schedule.model import Figure, Gate, Milestone, MilestoneKind, Reason, Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from handover.jobs.model import JobRecord
    from handover.practice.rules import GateRule, Practice
    from handover.schedule.course import Course
    from handover.schedule.model import Basis

    Floats = NDArray[np.float64]

_TENDONS = "engineer-decides-tendons"
_NO_FIRST_WATER = ("curing compound", "insulating blanket")  # nothing to be wetted


def milestones(
    course: Course, basis: Callable[[datetime], Basis]
) -> tuple[tuple[Milestone, ...], tuple[Refusal, ...]]:
    """Return the dates of a job, in the order of `MilestoneKind`, and those that the tool will not give."""
    refused = tuple(refusals(course.job, course.practice))
    withheld = {refusal.kind for refusal in refused}
    found = []
    for kind in MilestoneKind:
        gates = course.practice.gates_of(kind, course.job.slab.use)
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
    met = {rule.rule: measure(rule, course) for rule in rules}
    together = np.maximum.reduce(list(met.values()))
    course.met[kind] = together
    gates = sorted(
        (_gate(rule, met[rule.rule], course) for rule in rules), key=_not_before_last, reverse=True
    )
    zone, placed = course.job.zone, course.cases.placed_s[course.cases.last][LIKELY]
    likely = moment(placed, together[course.cases.last][LIKELY], zone)
    not_before = moment(placed, together[course.cases.last].max(), zone)
    return Milestone(
        kind=kind,
        likely=likely,
        not_before=not_before,
        because=Reason(gates[0], tuple(gates[1:])),
        basis="typical" if not_before is None else basis(not_before),
        not_after=_too_late(course) if kind == MilestoneKind.SAW_JOINTS else None,
    )


def _not_before_last(gate: Gate) -> datetime:
    return gate.not_before or datetime.max.replace(tzinfo=UTC)


def _gate(rule: GateRule, hours: Floats, course: Course) -> Gate:
    zone, placed = course.job.zone, course.cases.placed_s[course.cases.last][LIKELY]
    return Gate(
        rule=rule.rule,
        likely=moment(placed, hours[course.cases.last][LIKELY], zone),
        not_before=moment(placed, hours[course.cases.last].max(), zone),
        source=rule.source,
        mark=rule.mark,
        figures=tuple(_figures(rule, course)),
    )


def _figures(rule: GateRule, course: Course) -> Iterable[Figure]:
    """Yield the numbers that went into a condition."""
    concrete = course.concrete
    if rule.per == "curing.days":
        yield Figure("needed", curing_hours(course.job, course.practice), "h")
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


def _too_late(course: Course) -> datetime | None:
    """Return when the concrete placed first may crack on its own, in the fast case."""
    hours = first_reached(course, course.practice["saw-joints.too-late"])
    return moment(
        course.cases.placed_s[course.cases.first][LIKELY], hours[course.cases.first].min(), course.job.zone
    )


def moment(placed_s: float, hours: float, zone: ZoneInfo) -> datetime | None:
    """Return the instant so many hours after placement, to the second, or None where it is never reached."""
    if not np.isfinite(hours):
        return None
    utc = datetime.fromtimestamp(placed_s, UTC) + timedelta(seconds=round(float(hours) * HOUR))
    return utc.astimezone(zone)
