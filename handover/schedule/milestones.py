"""The milestones: each from its conditions in the rules of practice; the last condition to be met governs."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.practice.backtest import backtest, season_of
from handover.practice.rules import general_rules
from handover.schedule import durations
from handover.schedule.circumstances import slab_circumstances
from handover.schedule.dates import Dates
from handover.schedule.ensemble import CENTRAL, Ranks
from handover.schedule.gate_evaluators import (
    AFTER_ANOTHER_DATE,
    DAYS_OF_CURING,
    DRYING,
    evaluate_gate,
    threshold,
)
from handover.schedule.joints import hours_of_sawing, saw_limits
from handover.schedule.model import Figure, Gate, Milestone, MilestoneKind, Reason, Refusal
from handover.schedule.printed_times import warmest_up
from handover.schedule.quantiles import (
    late_instant,
    median_instant,
    share_to_wait_for,
    smoothed_quantile,
)
from handover.schedule.surface_observations import SET_CONTRADICTED
from handover.schedule.wet_frost import end_before_frosts, hours_until

if TYPE_CHECKING:
    from collections.abc import Iterable

    from handover.jobs.record import JobRecord
    from handover.practice.rules import GateRule, Practice
    from handover.schedule.basis import BasisOf
    from handover.schedule.simulation import Simulation


_TENDONS = "engineer-decides-tendons"
_STILL_H = general_rules()["spread.still"]
_NOTABLE_SHARE = general_rules()["spread.notable"]
_SLOWED = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
)
_COMPUTED = (*(kind for kind in MilestoneKind if kind not in _SLOWED), *_SLOWED)
"""The order in which dates are computed: strength grows more slowly once curing has ended."""
_NO_FIRST_WATER = ("curing compound", "insulating blanket")  # not watered


def compute_dates(simulation: Simulation, basis: BasisOf) -> Dates:
    """Return the dates of a job, and its refusals. Later dates may depend on earlier ones."""
    refused = (*refusals(simulation.job, simulation.practice), *_contradicted_sets(simulation))
    dates = Dates(refusals=refused)
    withheld = {refusal.kind for refusal in dates.refusals}
    slab = slab_circumstances(simulation.job)
    for kind in _COMPUTED:
        gates = simulation.practice.gates_for(kind, slab)
        if gates and kind not in withheld and _applies(kind, simulation, dates):
            dates = _with_milestone(dates, kind, gates, simulation, basis)
    return dates.in_order()


def with_saw_hours(dates: Dates, simulation: Simulation, basis: BasisOf) -> Dates:
    """Return dates with the hours of sawing of another simulation, and with the others as they are."""
    kind = MilestoneKind.SAW_JOINTS
    others = replace(dates, milestones=tuple(each for each in dates.milestones if each.kind != kind))
    rules = simulation.practice.gates_for(kind, slab_circumstances(simulation.job))
    return _with_milestone(others, kind, rules, simulation, basis).in_order()


def refusals(job: JobRecord, practice: Practice) -> Iterable[Refusal]:
    """Yield the dates that the program must not give for this slab; none for uses that it does not have."""
    refused, slab = set(), slab_circumstances(job)
    for rule in practice.refusals:
        if rule.cautions or (rule.code == _TENDONS and not job.slab.has_tendons):
            continue
        if rule.uses and _recorded_use(job) not in rule.uses:
            continue
        if rule.exposures and job.slab.exposure not in rule.exposures:
            continue
        for kind in rule.milestones:
            if kind not in refused and practice.gates_for(kind, slab):
                refused.add(kind)
                yield Refusal(kind, rule.code, tuple(_drying(job, practice.gates_for(kind, slab))))


def _drying(job: JobRecord, gates: Iterable[GateRule]) -> Iterable[Figure]:
    """Yield how long the conditions of a date let a slab dry, where one of them does."""
    for gate in gates:
        if gate.measure == DRYING:
            yield Figure("drying", threshold(gate) * job.slab.thickness, "h")


def _contradicted_sets(simulation: Simulation) -> Iterable[Refusal]:
    """Yield initial set where the recorded end of finishing lies hours before it: one of them is wrong."""
    if any(each.outcome == SET_CONTRADICTED for each in simulation.measurements.records):
        yield Refusal(MilestoneKind.INITIAL_SET, SET_CONTRADICTED)


def _recorded_use(job: JobRecord) -> str:
    """Return the use of the slab; "unknown" where the record leaves it out."""
    return "unknown" if any(path == "slab.use" for path, *_ in job.assumed) else job.slab.use


def _applies(kind: MilestoneKind, simulation: Simulation, earlier: Dates) -> bool:
    """Return whether a job has such a date at all."""
    job, safe = simulation.job, earlier.not_before(MilestoneKind.FROST_SAFE)
    if kind == MilestoneKind.PROTECTION_ENDS:
        return simulation.is_insulated or simulation.is_cold_until(safe)
    if kind == MilestoneKind.FREEZE_THAW:
        return job.slab.exposure == "outdoors" and _may_freeze(simulation, safe)
    if kind == MilestoneKind.STRIP_EDGE_FORMS:
        return job.forms.edge
    if kind == MilestoneKind.FIRST_WATER:
        return job.curing.method not in _NO_FIRST_WATER
    if kind == MilestoneKind.DEICING_SALT:
        return job.slab.exposure != "indoors" or job.slab.use == "garage floor"
    return True


def _may_freeze(simulation: Simulation, safe: datetime | None) -> bool:
    """Return whether it may freeze before the slab is safe from a first frost, or is likely to in weeks."""
    coldest_c = min(simulation.coldest_air(safe), float(simulation.slab.air.air_c[:, CENTRAL].min()))
    return coldest_c <= simulation.practice["frost.freezes-below"]


def _with_milestone(
    earlier: Dates,
    kind: MilestoneKind,
    rules: tuple[GateRule, ...],
    simulation: Simulation,
    basis: BasisOf,
) -> Dates:
    """Return the earlier dates with that of a kind, which waits for the last of its conditions."""
    met = [evaluate_gate(rule, simulation, earlier) for rule in rules]
    together = np.maximum.reduce(met)
    limits = saw_limits(simulation, together) if kind == MilestoneKind.SAW_JOINTS else None
    gates = sorted(
        (_gate(rule, hours, kind, simulation) for rule, hours in zip(rules, met, strict=True)),
        key=_not_before_last,
        reverse=True,
    )
    likely = median_instant(together, simulation)
    not_before = _not_before(together, kind, list(zip(rules, met, strict=True)), simulation, earlier)
    share: float | None = share_to_wait_for(kind, simulation.share)
    not_after = None
    if limits is not None:
        likely, not_before, share, not_after = hours_of_sawing(limits, simulation)
    milestone = Milestone(
        kind=kind,
        likely=likely,
        not_before=not_before,
        because=_reason(rules, gates),
        basis="typical" if not_before is None else basis(not_before),
        confidence=share,
        not_after=not_after,
        spread_by=_spread_by(together, simulation),
        later_in_tests=_later_in_tests(kind, simulation),
    )
    dates = earlier.plus(milestone, together, limits)
    if kind != MilestoneKind.CURING_ENDS:
        return dates
    moist_h = _moist_hours(rules, _met_wet(rules, met, simulation, earlier), simulation.practice)
    frosts = end_before_frosts(simulation, earlier, not_before)
    if frosts is None:
        return replace(dates, moist_h=moist_h)
    until_h = hours_until(frosts.not_before, simulation)
    ended = earlier.plus(_dry_before(frosts, milestone, basis), np.minimum(together, until_h))
    return replace(ended, moist_h=np.minimum(moist_h, until_h))


def _dry_before(frosts: Gate, milestone: Milestone, basis: BasisOf) -> Milestone:
    """Return the end of moist curing where frosts end it, with the conditions that it does not wait for."""
    likely = [each for each in (frosts.likely, milestone.likely) if each is not None]
    return replace(
        milestone,
        likely=min(likely, default=None),
        not_before=frosts.not_before,
        because=Reason(frosts, (milestone.because.governing, *milestone.because.others)),
        basis="typical" if frosts.not_before is None else basis(frosts.not_before),
        spread_by=(),
        later_in_tests=None,
    )


def _not_before(
    hours: Floats,
    kind: MilestoneKind,
    gates: list[tuple[GateRule, Floats]],
    simulation: Simulation,
    earlier: Dates,
) -> datetime | None:
    """Return the cautious end of a date: after that of a date which must come first, by what it needs.

    Two dates wait for different shares of the members, so that their cautious ends may touch. Between them
    lies the time that the strength of the later one takes after the earlier one, at the least.
    """
    own = late_instant(hours, simulation, kind)
    first = {MilestoneKind(each.after) for each, _ in gates if each.after is not None}
    strength = [met for each, met in gates if each.measure == "strength"]
    before = [
        (earlier.not_before(each), _least_wait(strength, each, simulation, earlier))
        for each in first
        if each in earlier.met_h
    ]
    waited = [own, *(None if each is None else _later(each, wait) for each, wait in before)]
    printed = [each for each in waited if each is not None]
    if len(printed) < len(waited):
        return None
    return warmest_up(max(printed)) if kind == MilestoneKind.PROTECTION_ENDS else max(printed)


def _least_wait(
    strength: list[Floats], first: MilestoneKind, simulation: Simulation, earlier: Dates
) -> float:
    """Return how long after an earlier date a strength comes, in h, at the least: 0 where none is asked.

    That is the likely time between the two, or that of the slow members at the share which the earlier date
    waits for, if it is shorter. In frost it is: who is slow to set has the mild weeks before them in which
    the others have hardened.

    Args:
        strength: When each strength is reached, in hours since placement, shape (m,); inf: never.
        first: The earlier date.
        simulation: The simulation.
        earlier: The dates that are known.
    """
    if not strength:
        return 0.0
    last, share = simulation.ensemble.last_placed, share_to_wait_for(first, simulation.share)
    needed, first_h = np.maximum.reduce(strength)[last], earlier.met_h[first][last]
    known = np.isfinite(needed) & np.isfinite(first_h)
    if not known.any():
        return 0.0
    likely = float(np.median(np.maximum(needed[known] - first_h[known], 0.0)))
    late, soon = smoothed_quantile(needed, share), smoothed_quantile(first_h, share)
    return min(likely, max(late - soon, 0.0)) if np.isfinite(late) else likely


def _later(when: datetime, hours: float) -> datetime:
    """Return the instant some hours after another, to the second."""
    return (when.astimezone(UTC) + timedelta(seconds=round(hours * HOUR_S))).astimezone(when.tzinfo)


def _later_in_tests(kind: MilestoneKind, simulation: Simulation) -> float | None:
    """Return how often test pours of the same season came later than such a date; None: not known."""
    tested = backtest()
    if simulation.share != tested.share or kind == MilestoneKind.SAW_JOINTS:
        return None
    row = tested.rows.get((kind, season_of_pour(simulation.job)))
    return None if row is None else row.too_early


def season_of_pour(job: JobRecord) -> str:
    """Return the season in which the concrete of a job was placed: winter, spring, summer or fall."""
    return season_of(job.placement.end.month, job.site.latitude)


def _met_wet(
    rules: tuple[GateRule, ...], met: list[Floats], simulation: Simulation, earlier: Dates
) -> list[Floats]:
    """Return when the conditions of curing would be met by a slab that is never dry: as moist as they ask."""
    if simulation.dry is None:
        return met
    wet = replace(simulation, dry=None)
    return [evaluate_gate(rule, wet, earlier) for rule in rules]


def _moist_hours(rules: tuple[GateRule, ...], met: list[Floats], practice: Practice) -> Floats:
    """Return until when the slab counts as cured: by the set that ends curing first, where there are several.

    Otherwise the longest curing of all sets would make strength, and the dates that wait for it, earlier by
    the strictest rules than by one of them.
    """
    ends = [
        np.maximum.reduce([hours for rule, hours in zip(rules, met, strict=True) if rule in own])
        for own in practice.gates_by_set or (rules,)
    ]
    first: Floats = np.minimum.reduce(ends)
    return first


def _reason(rules: tuple[GateRule, ...], gates: list[Gate]) -> Reason:
    """Return the conditions, the last to be met first; one of order alone is named only where it governs."""
    order = {each.rule for each in rules if each.measure == AFTER_ANOTHER_DATE}
    governing, *others = gates
    return Reason(governing, tuple(each for each in others if each.rule not in order))


def _not_before_last(gate: Gate) -> tuple[datetime, datetime]:
    never = datetime.max.replace(tzinfo=UTC)
    return gate.not_before or never, gate.likely or never


def _spread_by(hours: Floats, simulation: Simulation) -> tuple[Figure, ...]:
    """Return the uncertainty that moves a date most, with its share of the spread, if it is notable.

    The share is the square of the correlation of ranks over the members, because some may never reach the
    date.
    """
    last = simulation.ensemble.last_placed
    moved = hours[last]
    low, high = np.quantile(moved, (1.0 - simulation.share, simulation.share), method="inverted_cdf")
    if not np.isfinite(low) or high - low < _STILL_H:
        return ()
    warmer = Ranks.of(_warmer_until(float(np.median(moved)), simulation)[last])
    drawn, ranks = {**simulation.ensemble.ranks, "weather": warmer}, Ranks.of(moved)
    shares = {name: each.correlation(ranks) ** 2 for name, each in drawn.items()}
    most = max(shares, key=lambda name: shares[name])
    return (Figure(most, shares[most], "1"),) if shares[most] >= _NOTABLE_SHARE else ()


def _warmer_until(hours: float, simulation: Simulation) -> Floats:
    """Return how much warmer each member's air is than forecast, in K on average until a date, shape (m,)."""
    since_h = (simulation.weather.seconds - simulation.slab.placed_s[CENTRAL]) / HOUR_S
    until = (since_h > -1.0) & (since_h <= max(hours, 1.0))
    mean: Floats = simulation.ensemble.errors["air_c"][until].mean(axis=0)
    return mean


def _gate(rule: GateRule, hours: Floats, kind: MilestoneKind, simulation: Simulation) -> Gate:
    return Gate(
        rule=rule.rule,
        likely=median_instant(hours, simulation),
        not_before=late_instant(hours, simulation, kind),
        source=rule.source,
        mark=rule.mark,
        figures=tuple(_figures(rule, simulation, float(hours[CENTRAL]))),
    )


def _dry_hours(simulation: Simulation, until_h: float) -> float:
    """Return the hours until an age that do not count as curing, of the likely case, in h."""
    last_h = float(simulation.slab.hours[-1])
    simulated = 1.0 - simulation.curing_share[: round(min(until_h, last_h)), CENTRAL]
    later_h = max(until_h - last_h, 0.0) if np.isfinite(until_h) else 0.0
    return float(simulated.sum()) + later_h * (1.0 - simulation.curing_share_later())


def _figures(rule: GateRule, simulation: Simulation, until_h: float) -> Iterable[Figure]:
    """Yield the figures of a condition."""
    concrete = simulation.concrete
    if rule.table is not None:
        yield from durations.figures(rule, simulation, until_h)
    elif rule.value is not None:
        yield Figure("needed", rule.value, rule.unit)
    if simulation.dry is not None and rule.measure in DAYS_OF_CURING and rule.milestone == "curing-ends":
        yield Figure("dry_not_counted", _dry_hours(simulation, until_h), "h")
    if rule.at_c is not None:
        yield Figure("kept_at", rule.at_c, "degC")
    if rule.above_c is not None:
        yield Figure("counted_above", rule.above_c, "degC")
    if rule.measure == "share of strength":
        yield Figure("specified_strength", concrete.specified_mpa, "MPa")
    if rule.measure == DRYING:
        yield Figure("thickness", simulation.job.slab.thickness, "m")
    if rule.measure == "degree of hydration":
        yield Figure("water_cementitious", simulation.job.mix.water_cementitious, "1")
