"""When joints may be sawn: from when concrete no longer ravels until the hour before it cracks on its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S, distinct
from handover.concrete.restraint import (
    drying_shrinkage,
    elastic_modulus,
    mean_through_depth,
    restrained_tension,
    tensile_strength,
)
from handover.practice.silica import respirators
from handover.schedule.dates import SawLimits
from handover.schedule.model import CONVENTIONAL, EARLY_ENTRY, Joints, MilestoneKind, SawWindow
from handover.schedule.printed_times import half_hour_down, half_hour_up
from handover.schedule.quantiles import (
    early_instant,
    instant_after,
    median_instant,
    share_to_wait_for,
    smoothed_quantile,
)
from handover.schedule.slab_age import hours_to_age
from handover.schedule.surroundings import is_room_assumed

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation

_MIDDLE = 1
_MEDIAN = 0.5


class CutHours(NamedTuple):
    """The hours of sawing one part of the slab, or all of it.

    Attributes:
        trial: The hour of the first trial cut: when half of the members may be cut, and not past the last.
        best: The earliest hour that the wanted share of the members allows, or the most do, and not past the
            last hour; None: not within reach.
        share: Share of the members that allow it; None where it is only the last hour.
        last: When the cut is too late in more than the rest of the members; None: never.
    """

    trial: datetime | None
    best: datetime | None
    share: float | None
    last: datetime | None


def saw_limits(simulation: Simulation, firm_h: Floats) -> SawLimits:
    """Return from when and until when each saw that may come can cut, member by member.

    Too late is the earlier of the limit of practice and the last hour before tension exceeds strength. The
    limit of practice goes by the setting of the concrete itself: for a conventional saw a multiple of the age
    at final set, for an early-entry saw some hours of age after finishing.

    Args:
        simulation: The job.
        firm_h: When the conditions of the saw in the record are met, shape (m,).
    """
    slab, practice = simulation.slab, simulation.practice
    final_set_h = simulation.concrete.final_set_h
    cracking_h = _cracking_hours(simulation)
    finished_h = _age_at_finishing(simulation) + practice["saw-joints.early-entry"]
    set_h = hours_to_age(slab, final_set_h)
    opens = {EARLY_ENTRY: set_h}
    closes = {EARLY_ENTRY: hours_to_age(slab, finished_h, _MIDDLE)}
    if simulation.job.slab.joints == "sawn":  # an early-entry saw in the record comes alone
        opens[CONVENTIONAL] = firm_h
        closes[CONVENTIONAL] = hours_to_age(slab, practice["saw-joints.too-late"] * final_set_h, _MIDDLE)
    closes = {saw: np.minimum(hours, cracking_h) for saw, hours in closes.items()}
    free_h = _hours_to_finish(simulation, slab.placed_s)
    opens = {saw: np.maximum(hours, free_h) for saw, hours in opens.items()}
    return SawLimits(set_h, opens, closes, cracking_h)


def saw_of(job: JobRecord) -> str:
    """Return the saw by which the date for sawing goes."""
    return CONVENTIONAL if job.slab.joints == "sawn" else EARLY_ENTRY


def cut_hours(limits: SawLimits, saw: str, simulation: Simulation, part: str = "whole") -> CutHours:
    """Return the hours for a part of the slab: "first", "last", or "whole", which both of them must allow.

    Each member has its own window: it allows a cut once its concrete is firm, and until it is too late. No
    hour is before the cautious end of final set, nor before the end of finishing.
    """
    ensemble = simulation.ensemble
    late, early = _members_of(part, simulation)
    placed_s = float(ensemble.placed_s[ensemble.first_placed if part == "first" else ensemble.last_placed][0])
    lag_h = (placed_s - ensemble.placed_s[early][0]) / HOUR_S
    free_h = _hours_to_finish(simulation, np.array(placed_s))  # no saw while the machine is on the slab
    opens, closes = np.maximum(limits.opens_h[saw][late], free_h), limits.closes_h[saw][early] - lag_h
    # As final set is printed, so that no hour of sawing is before it.
    trial, floor, nearly_all = (
        smoothed_quantile(hours, share)
        for hours, share in (
            (opens, _MEDIAN),
            (limits.set_h[late], share_to_wait_for(MilestoneKind.FINAL_SET, simulation.share)),
            (opens, simulation.share),
        )
    )
    last = smoothed_quantile(closes, 1.0 - simulation.share)
    best, share = _best_hour(opens, closes, floor, last, simulation.share)
    zone = simulation.job.zone
    if part == "first" and _has_two_ends(simulation):  # the warm end leaves the time to saw
        sawing_h = simulation.practice.duration("visit.sawing").total_seconds() / HOUR_S
        trial = min(trial, max(last - sawing_h, float(free_h)))
    return CutHours(
        trial=instant_after(placed_s, min(trial, last), zone),
        best=instant_after(placed_s, best if np.isfinite(nearly_all) else np.inf, zone),
        share=share,
        last=instant_after(placed_s, last, zone),
    )


def hours_by_part(limits: SawLimits, saw: str, simulation: Simulation) -> dict[str, CutHours]:
    """Return the hours of a saw: for the whole slab, or for its first and last part if no hour fits both.

    Hours fit where there is time between them as printed, to the half hour. In a room whose air is assumed,
    the last part has no hours of its own: those of the cold end are too late if the room is warm.
    """
    whole = cut_hours(limits, saw, simulation)
    if whole.best is None or whole.last is None or half_hour_up(whole.best) < half_hour_down(whole.last):
        return {"whole": whole}
    if is_room_assumed(simulation.job):
        return {"first": cut_hours(limits, saw, simulation, "first")}
    return {part: cut_hours(limits, saw, simulation, part) for part in ("first", "last")}


def is_sawn_in_parts(dates: Dates, simulation: Simulation) -> bool:
    """Return whether there is a date for sawing, and no hour that fits the whole slab."""
    if dates.saw_limits is None or dates.not_before(MilestoneKind.SAW_JOINTS) is None:
        return False
    return "whole" not in hours_by_part(dates.saw_limits, saw_of(simulation.job), simulation)


def do_parts_meet(dates: Dates, simulation: Simulation) -> bool:
    """Return whether one hour is within the hours of both parts, so that one visit is enough for them."""
    if dates.saw_limits is None:
        return False
    first, *others = hours_by_part(dates.saw_limits, saw_of(simulation.job), simulation).values()
    return all(
        each.best is not None and first.last is not None and each.best <= first.last for each in others
    )


def hours_of_sawing(limits: SawLimits, simulation: Simulation) -> CutHours:
    """Return the hours of the date for sawing, for the saw of the record.

    Of a slab that is sawn part by part, they are those of the part placed first, which cannot wait. Where
    most members allow no hour, not even for the concrete placed last, or where it is too late in some of them
    before that has likely set, there is neither a best nor a last one.
    """
    saw = saw_of(simulation.job)
    first, *_ = hours_by_part(limits, saw, simulation).values()
    last_part = cut_hours(limits, saw, simulation, "last")
    is_seldom = (last_part.share or 0.0) < simulation.practice["joints.least-share"]
    if first.best is None or is_seldom or _is_over_before_set(last_part, limits, simulation):
        return CutHours(median_instant(limits.opens_h[saw], simulation), None, first.share, None)
    if first.last is None or first.best <= first.last:
        return first
    return first._replace(best=first.last, share=None)  # no hour that most members allow: a trial cut decides


def _is_over_before_set(last_part: CutHours, limits: SawLimits, simulation: Simulation) -> bool:
    """Return whether the last hour for the concrete placed last is before it has likely set.

    Not in a room whose air is assumed: if it is warm, the hours of the first part must not be missed.
    """
    likely = median_instant(limits.set_h, simulation)
    if is_room_assumed(simulation.job):
        return False
    return last_part.last is not None and (likely is None or last_part.last < likely)


def _members_of(part: str, simulation: Simulation) -> tuple[slice, slice]:
    """Return the members that say from when a part may be cut, and those that say until when.

    From when goes by the cold end, where there are two ends, whenever a part was placed.
    """
    ensemble = simulation.ensemble
    is_first = part == "first" and not _has_two_ends(simulation)
    late = ensemble.first_placed if is_first else ensemble.last_placed
    return late, ensemble.last_placed if part == "last" else ensemble.first_placed


def _has_two_ends(simulation: Simulation) -> bool:
    """Return whether the concrete placed first has a warm end that is assumed: of a room, or of the ground.

    Nothing is firm by that alone.
    """
    return is_room_assumed(simulation.job) or simulation.slab.is_ground_frozen


def _best_hour(
    opens: Floats, closes: Floats, floor: float, last: float, wanted: float
) -> tuple[float, float]:
    """Return the first hour from the floor to the last that the wanted share allows, or the most do.

    A member allows an hour when it is open and not yet closed; the first and the last concrete have different
    numbers of members, so both are counted as shares.
    """
    at = distinct(np.concatenate([opens[(opens >= floor) & (opens <= last)], [floor, max(floor, last)]]))
    is_open = (opens <= at[:, np.newaxis]).mean(axis=1)
    is_closed = (closes < at[:, np.newaxis]).mean(axis=1)
    allowed = np.maximum(is_open - is_closed, 0.0)
    best = int((allowed >= min(wanted, float(allowed.max()))).argmax())
    return float(at[best]), float(allowed[best])


def _age_at_finishing(simulation: Simulation) -> Floats:
    """Return the equivalent age of the middle when finishing ended, in h, shape (m,).

    Without a record it is that at final set. A broom may pass before the concrete has begun to set; hours
    count from initial set then.
    """
    finished, concrete = simulation.job.placement.finished, simulation.concrete
    if finished is None:
        return concrete.final_set_h
    return np.maximum(simulation.slab.age_at(finished, _MIDDLE), concrete.initial_set_h)


def _hours_to_finish(simulation: Simulation, placed_s: Floats) -> Floats:
    """Return when finishing ended by the record, in h after a placement in UTC seconds; without one, 0."""
    finished = simulation.job.placement.finished
    if finished is None:
        return np.zeros(placed_s.shape)
    return np.asarray((finished.timestamp() - placed_s) / HOUR_S)


def _cracking_hours(simulation: Simulation) -> Floats:
    """Return the last whole hour before tension exceeds tensile strength, shape (m,); inf: never.

    A simple model: the slab is free of stress at its highest temperature since final set. The ground partly
    prevents the shortening since then, by cooling and by drying.
    """
    slab, concrete, practice = simulation.slab, simulation.concrete, simulation.practice
    # Node by node: the minimum of three along the last axis would take ten times as long.
    age = np.minimum.reduce(np.moveaxis(slab.age_h, 2, 0))
    strength = concrete.strength(age[:, :, np.newaxis], slice(None))[:, :, 0]
    mean_c = mean_through_depth(*np.moveaxis(slab.temperature_c, 2, 0))
    set_already = age >= concrete.final_set_h
    warmest = np.maximum.accumulate(np.where(set_already, mean_c, -np.inf), axis=0)
    cooled = np.where(set_already, warmest - mean_c, 0.0)
    drying_days = np.cumsum(set_already, axis=0) / 24.0 * _drying_share(simulation)
    strain = practice["sawing.expansion"] * cooled + drying_shrinkage(
        drying_days, practice["sawing.shrinkage"]
    )
    tension = restrained_tension(
        strain, elastic_modulus(strength), practice["sawing.restraint"], practice["sawing.relaxation"]
    )
    passed = set_already & (tension > tensile_strength(strength))
    first = passed.argmax(axis=0)
    return np.where(passed.any(axis=0), slab.hours[np.maximum(first - 1, 0)], np.inf)


def _drying_share(simulation: Simulation) -> float:
    """Return how freely the slab dries: not at all while it is kept wet, partly under a coat."""
    return 0.0 if simulation.method is not None else simulation.practice["sawing.drying-share"]


def plan_joints(simulation: Simulation, dates: Dates) -> Joints | None:
    """Return the windows of the possible saws and the joints to cut; None if none are sawn.

    Where the record names an early-entry saw, a conventional one does not come. The saw of the record is the
    last of the windows. There are none where no hour could be computed: a trial cut decides.
    """
    limits = dates.saw_limits
    if limits is None:
        return None
    practice, thickness = simulation.practice, simulation.job.slab.thickness
    is_dated = dates.not_before(MilestoneKind.SAW_JOINTS) is not None
    saws = limits.opens_h if is_dated else ()
    windows = tuple(window for saw in saws for window in _windows(limits, saw, simulation))
    if any(
        each.saw == CONVENTIONAL for each in windows
    ):  # a cut that is too late when it begins is no choice
        windows = tuple(each for each in windows if each.saw == CONVENTIONAL or _lasts(each))
    return Joints(
        windows=windows,
        cracks_from=early_instant(limits.cracking_h, simulation),
        depth_m=practice["joints.depth"] * thickness,
        early_entry_depth_m=practice["joints.early-entry-depth"],
        longest_spacing_m=simulation.longest_spacing(),
        spacing_m=simulation.job.slab.joint_spacing,
        # Under a roof counts as enclosed.
        dust=tuple(
            row for row in respirators() if row.enclosed == (simulation.job.slab.exposure != "outdoors")
        ),
    )


def _windows(limits: SawLimits, saw: str, simulation: Simulation) -> Iterator[SawWindow]:
    """Yield the window of a saw for the whole slab, or for its first and last part if none fits both.

    Without the hour that most members allow where it is past the last hour: only a trial cut decides.
    """
    for part, hours in hours_by_part(limits, saw, simulation).items():
        is_late = hours.best is not None and hours.last is not None and hours.best > hours.last
        best, share = (None, None) if is_late else (hours.best, hours.share)
        yield SawWindow(saw, hours.trial, best, hours.last, part, share)


def _lasts(window: SawWindow) -> bool:
    """Return whether there is time between the trial cut and the last hour."""
    return window.opens is not None and (window.closes is None or window.opens < window.closes)
