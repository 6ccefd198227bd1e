"""When moist curing ends because a wet, young slab would freeze again and again.

Keeping a slab wet and letting it freeze is worse than letting it dry: ice breaks the pores that water fills.
So the slab is kept warm for the days of cold protection, and dries before the frosts that follow.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.cover_times import DUSK
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import CURE_MODES, REPEATED_FROST, Gate, MilestoneKind
from handover.schedule.printed_times import warmest_down

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date

    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation


def end_before_frosts(simulation: Simulation, dates: Dates, planned: datetime | None) -> Gate | None:
    """Return the condition that ends moist curing because of the frosts that follow cold protection, or None.

    Curing ends at the warmest hour, some hours before the first of those frosts, so that the slab dries, and
    never before its cold protection; with it, where blankets protect the slab. None where nothing is kept
    wet, where it freezes too seldom, where the slab is strong enough by then, or where no date says that it
    is safe from a first frost.

    Args:
        simulation: The simulated job.
        dates: Those that are known before the end of curing.
        planned: When curing would end otherwise; None: past the estimate.
    """
    practice, kinds = simulation.practice, (MilestoneKind.PROTECTION_ENDS, MilestoneKind.FROST_SAFE)
    protected = next((each for kind in kinds for each in dates.milestones if each.kind == kind), None)
    safe = None if protected is None else protected.not_before
    if protected is None or safe is None or CURE_MODES.get(simulation.job.curing.method) == "coat":
        return None
    ends = [each for each in (planned, dates.not_before(MilestoneKind.FREEZE_THAW)) if each is not None]
    reaches = float(simulation.slab_s(CENTRAL)[-1])
    is_beyond = safe.timestamp() >= reaches  # there the last weeks of the simulation come again
    after = (
        reaches - practice.duration("forecast.repeated").total_seconds() if is_beyond else safe.timestamp()
    )
    frosts = [
        each for each in _freezing_hours(simulation, after) if is_beyond or all(each < end for end in ends)
    ]
    if len(set(_nights(frosts))) < practice["wet-frost.nights"] or any(end <= safe for end in ends):
        return None
    dry = warmest_down(frosts[0] - practice.duration("frost.ahead"))
    if is_beyond or simulation.is_insulated:
        dry = safe  # nobody lays plastic for the days between
    rule = practice.rules["wet-frost.nights"]
    likely = max(dry, protected.likely or safe)
    return Gate(REPEATED_FROST, min(likely, max(dry, safe)), max(dry, safe), rule.source, rule.mark)


def hours_until(when: datetime | None, simulation: Simulation) -> Floats:
    """Return an instant in hours since the placement of each member, shape (m,)."""
    never = np.full(simulation.slab.placed_s.shape, np.inf)
    return never if when is None else np.asarray((when.timestamp() - simulation.slab.placed_s) / HOUR_S)


def _freezing_hours(simulation: Simulation, after_s: float) -> Iterator[datetime]:
    """Yield the whole hours after an instant in UTC seconds in which air and top freeze."""
    time_s, zone, practice = simulation.slab_s(CENTRAL), simulation.job.zone, simulation.practice
    frozen = simulation.slab.temperature_c[:, CENTRAL, 0] < practice["freezing.begins"]
    frozen &= simulation.slab.air.air_c[:, CENTRAL] < practice["frost.freezes-below"]
    for each in time_s[frozen & (time_s > after_s)]:
        yield datetime.fromtimestamp(float(each), UTC).astimezone(zone)


def _nights(hours: Iterable[datetime]) -> Iterator[date]:
    """Yield the night of each hour, by the day on whose dusk it begins."""
    for each in hours:
        yield each.date() - timedelta(days=each.time() < DUSK)
