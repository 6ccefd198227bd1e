"""The cover that keeps a slab wet between waterings, where nobody is there to water it often enough."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from handover.schedule.model import BURLAP, SHEET, BetweenCover, MilestoneKind
from handover.schedule.simulation import with_sheet_between
from handover.schedule.watering import driest_day, plan_watering, slots_of_days

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.model import WateringDay
    from handover.schedule.simulation import Simulation

_OPEN = ("sprinkler", "soaker hose", "hose by hand")
"""Methods that leave nothing on the slab."""


class CoveredPlan(NamedTuple):
    """The watering of a slab, the cover between its visits, and the slab with its likely surface under it."""

    simulation: Simulation
    watering: tuple[WateringDay, ...]
    between: BetweenCover | None


def plan_under_cover(
    simulation: Simulation, dates: Dates, basis: BasisOf, *, lies: str | None = None
) -> CoveredPlan:
    """Return the watering with its cover, in the temperatures and the drying of the surface under it.

    Only a sheet changes them: burlap evaporates like an open slab. The dry hours without it are those of the
    open slab.

    Args:
        simulation: The slab.
        dates: Its dates.
        basis: What kind of weather a time rests on.
        lies: The cover of the issue before.
    """
    watering, between = plan_covered(simulation, dates, basis, lies=lies)
    if between is None or between.cover != SHEET:
        return CoveredPlan(simulation, watering, between)
    covered = with_sheet_between(simulation, _spans(watering, dates.not_before(MilestoneKind.CURING_ENDS)))
    watering, under = plan_covered(covered, dates, basis, lies=SHEET)
    if under is not None:
        between = replace(between, dry_hours=under.dry_hours)
    return CoveredPlan(covered, watering, between)


def _spans(watering: tuple[WateringDay, ...], ends: datetime | None) -> Iterator[tuple[datetime, datetime]]:
    """Yield from when until when the cover lies: between two visits, and after the last until curing ends."""
    visits = [each for day in watering for each in day.visits]
    yield from ((one.end, other.start) for one, other in pairwise(visits))
    if visits and ends is not None and visits[-1].end < ends:
        yield visits[-1].end, ends


def plan_covered(
    simulation: Simulation, dates: Dates, basis: BasisOf, *, lies: str | None = None
) -> tuple[tuple[WateringDay, ...], BetweenCover | None]:
    """Return the watering, and the least cover between its visits that keeps the slab wet long enough.

    Where an open slab, or burlap, would be dry for longer than the limit, and no timer waters it, the visits
    are those of a slab under the cover. Where no cover suffices it is the better one, a sheet. A slab that
    every cover would mark stays open. A cover that lies stays: nobody has brought another one.

    Args:
        simulation: The slab.
        dates: Its dates.
        basis: What kind of weather a time rests on.
        lies: The cover of the issue before.
    """
    slots_of = slots_of_days(simulation, dates)
    watering = plan_watering(simulation, slots_of, basis)
    limit = simulation.practice["water.dry-too-long"]
    open_h = driest_day(watering)
    covers = _covers_between(simulation.job)
    kept = (lies,) if lies in covers else ()
    if not covers or (open_h < limit and not kept):
        return watering, None
    for name in kept or covers:
        planned = plan_watering(simulation, slots_of, basis, under=simulation.practice.methods[name])
        dry_h = driest_day(planned)
        if dry_h < limit:
            break
    return planned, BetweenCover(name, open_h, dry_h)


def _covers_between(job: JobRecord) -> tuple[str, ...]:
    """Return the covers that may lie between waterings, the lesser first; none under a timer."""
    if job.curing.timer:
        return ()
    if job.curing.method == BURLAP:  # it lies there all the time; a sheet over it keeps it wet
        return tuple(each for each in job.slab.covers if each == SHEET)
    return job.slab.covers if job.curing.method in _OPEN else ()
