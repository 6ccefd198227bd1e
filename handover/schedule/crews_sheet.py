"""The sheet that the crew draws over the bare top: its warmth counts for the hours of sawing."""

from __future__ import annotations

from datetime import UTC, timedelta
from itertools import islice
from typing import TYPE_CHECKING

from handover.schedule.cover_times import SHEETS
from handover.schedule.milestones import with_saw_hours
from handover.schedule.model import SHEET
from handover.schedule.simulation import under_crews_sheet
from handover.schedule.surface_task import plan_surface
from handover.schedule.surroundings import is_room_assumed
from handover.schedule.watering import plan_watering, slots_of_days

if TYPE_CHECKING:
    from datetime import datetime

    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.model import BetweenCover, SurfaceTask
    from handover.schedule.simulation import Simulation

_DAYS = 2
"""Days of watering that are planned for the hour of the first one."""

_COATS = ("curing compound", "insulating blanket")


def saw_under_crews_sheet(
    simulation: Simulation, dates: Dates, basis: BasisOf, between: BetweenCover | None
) -> Dates:
    """Return the dates with the hours of sawing under the sheet that the crew draws over the slab.

    The same ones where no joints are sawn, a sheet cures the slab, no way to keep the top damp has one, or
    readings show how warm the slab is. Nor where the air of a room is assumed: its warm end is warmer than a
    sheet makes the slab of a usual one. Other dates stay those of the open slab, which is cooler: the
    crew may choose another way.

    Args:
        simulation: The slab, open until first water.
        dates: Its dates.
        basis: What kind of weather a time rests on.
        between: The cover between waterings, which the crew lays first: burlap warms no slab. None: the crew
            chooses one, which may be a sheet.
    """
    job = simulation.job
    is_covered = simulation.has_sheet or job.curing.method in _COATS
    if dates.saw_limits is None or is_covered or is_room_assumed(job) or _is_read(simulation):
        return dates
    first_days = dict(islice(slots_of_days(simulation, dates).items(), _DAYS))
    watering = plan_watering(simulation, first_days, basis)
    task = plan_surface(simulation, dates, watering, ()).task
    has_burlap = between is not None and between.cover != SHEET
    span = None if task is None else _hours_of_sheet(task, has_burlap=has_burlap)
    return dates if span is None else with_saw_hours(dates, under_crews_sheet(simulation, *span), basis)


def _is_read(simulation: Simulation) -> bool:
    """Return whether a logger or infrared readings correct the temperatures of the slab as it lies."""
    measured = simulation.measurements
    has_infrared = any(each.kind == "infrared" for each in measured.records)
    return measured.log_correction is not None or has_infrared


def _hours_of_sheet(task: SurfaceTask, *, has_burlap: bool) -> tuple[datetime, datetime] | None:
    """Return from when until when a sheet may lie, by the way that lays it first; None: no way has one."""
    ways = {each.how for each in task.choices}
    if "sheet-blankets" in ways:
        return task.start, (task.start.astimezone(UTC) + timedelta(days=1)).astimezone(task.start.tzinfo)
    if ways & {*SHEETS}:
        return task.start, task.until
    if "fog-cover" in ways and not has_burlap and task.cover_from is not None:
        return task.cover_from, task.until
    return None
