"""The cover that keeps an open slab wet between waterings, where nobody is there to water it often enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.schedule.model import BetweenCover
from handover.schedule.watering import driest_day, plan_watering, slots_of_days

if TYPE_CHECKING:
    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.model import WateringDay
    from handover.schedule.simulation import Simulation

_OPEN = ("sprinkler", "soaker hose", "hose by hand")
"""Methods that leave nothing on the slab."""


def plan_covered(
    simulation: Simulation, dates: Dates, basis: BasisOf, *, lies: str | None = None
) -> tuple[tuple[WateringDay, ...], BetweenCover | None]:
    """Return the watering, and the least cover between its visits that keeps the slab wet long enough.

    Where an open slab would be dry for longer than the limit, and no timer waters it, the visits are those
    of a slab under the cover. Where no cover suffices it is the better one, a sheet. A slab that every cover
    would mark stays open. A cover that lies stays: nobody has brought another one.

    Args:
        simulation: The slab.
        dates: Its dates.
        basis: What kind of weather a time rests on.
        lies: The cover of the issue before.
    """
    slots_of = slots_of_days(simulation, dates)
    watering = plan_watering(simulation, slots_of, basis)
    curing, limit = simulation.job.curing, simulation.practice["water.dry-too-long"]
    open_h = driest_day(watering)
    covers = simulation.job.slab.covers
    kept = (lies,) if lies in covers else ()
    if curing.method not in _OPEN or curing.timer or not covers or (open_h < limit and not kept):
        return watering, None
    for name in kept or covers:
        planned = plan_watering(simulation, slots_of, basis, under=simulation.practice.methods[name])
        dry_h = driest_day(planned)
        if dry_h < limit:
            break
    return planned, BetweenCover(name, open_h, dry_h)
