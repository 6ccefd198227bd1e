"""Dates that depend on others: first water on the end of frost, wheels and work on what lies on the slab."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.cover_times import NO_FROST_RULE, covers_off, water_after_frost
from handover.schedule.model import PONDING, Figure, Gate, Milestone, MilestoneKind, Reason
from handover.schedule.printed_times import half_hour_up
from handover.schedule.watering import freezing_ahead

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.model import WateringDay
    from handover.schedule.simulation import Simulation

    Watering = tuple[WateringDay, ...]

WHEELS = (MilestoneKind.LIGHT_VEHICLES, MilestoneKind.HEAVY_VEHICLES)
ATTENDED_RULE = "first-water.attended"
"""The condition of somebody's presence for first water."""

_ATTENDED = "The hours in which somebody can be at the slab: those of the record, else those of the day"
_COVER_OFF = {
    MilestoneKind.PROTECTION_ENDS: "Blankets come off when cold protection ends",
    MilestoneKind.CURING_ENDS: "What covers the slab comes off when curing ends",
}
_OFF_FOR_WATER = "A cover in place of water comes off with the next watering"


def apply_dependencies(
    simulation: Simulation, dates: Dates, watering: Watering, basis: BasisOf
) -> tuple[Milestone, ...]:
    """Return the milestones with the conditions that come from other dates.

    If frost delays the first watering of the plan, or nobody is there before it, first water waits for it; if
    frost leaves the plan no watering, there is no date for first water. Wheels wait until the cover is
    removed. Nobody works in a pond: light work waits until it is let off.
    """
    return tuple(_with_dependencies(simulation, dates, watering, basis))


def _with_dependencies(
    simulation: Simulation, dates: Dates, watering: Watering, basis: BasisOf
) -> Iterator[Milestone]:
    off = _cover_removal(simulation, dates, watering)
    waits = _waits_for_removal(simulation.job.curing.method)
    for each in dates.milestones:
        if each.kind == MilestoneKind.FIRST_WATER and _frozen_at_first(simulation, each, dates, watering):
            if (gate := _after_frost(simulation, watering)) is not None:
                yield _waiting(each, gate, basis)
        elif (gate := _attendance(each, watering)) is not None:
            yield _waiting(each, gate, basis)
        elif each.kind in waits and off is not None:
            yield _waiting(each, replace(off, rule=f"{each.kind}.cover-off"), basis)
        else:
            yield each


def _waits_for_removal(method: str) -> tuple[MilestoneKind, ...]:
    """Return the uses that wait until nothing lies on the slab: tools and furniture do not go into a pond."""
    return (MilestoneKind.LIGHT_WORK, *WHEELS) if method == PONDING else WHEELS


def _frozen_at_first(simulation: Simulation, first: Milestone, dates: Dates, watering: Watering) -> bool:
    """Return whether frost is possible when the surface could take its first water, or on all of that day."""
    if simulation.method is None:
        return False
    if watering and watering[0].skipped_because == "frost":
        return True
    if first.not_before is None:
        return False
    safe = dates.not_before(MilestoneKind.FROST_SAFE)
    return bool(freezing_ahead(np.array([first.not_before.timestamp()]), simulation, safe)[0])


def _attendance(milestone: Milestone, watering: Watering) -> Gate | None:
    """Return the condition of somebody's presence for first water, or None where somebody is there."""
    if milestone.kind != MilestoneKind.FIRST_WATER or milestone.not_before is None:
        return None
    first = _first_watering(watering)
    if first is None or first.astimezone(UTC) <= half_hour_up(milestone.not_before).astimezone(UTC):
        return None
    return Gate(ATTENDED_RULE, first, first, _ATTENDED, "common practice")


def _first_watering(watering: Watering) -> datetime | None:
    """Return when the plan waters first; None: never."""
    return next((visit.start for day in watering for visit in day.visits), None)


def _after_frost(simulation: Simulation, watering: Watering) -> Gate | None:
    """Return the condition of frost for first water, or None if the plan has no watering."""
    rule = simulation.practice.rules["frost.no-water-below"]
    first = _first_watering(watering)
    if first is None:
        return None
    needed = Figure("needed", rule.value, rule.unit)
    return Gate(NO_FROST_RULE, first, first, rule.source, rule.mark, (needed,))


def _cover_removal(simulation: Simulation, dates: Dates, watering: Watering) -> Gate | None:
    """Return the condition of the last cover for wheels, or None if the slab is bare.

    A cover in place of water comes off with the next watering, as the papers have it.
    """
    is_frozen, water = water_after_frost(watering)
    kinds = covers_off(simulation.job.curing.method, stays=is_frozen and water is None)
    gates = [
        Gate("", each.likely, each.not_before, _COVER_OFF[each.kind], "common practice")
        for each in dates.milestones
        if each.kind in kinds
    ]
    if water is not None:
        gates.append(Gate("", water, water, _OFF_FOR_WATER, "common practice"))
    never = datetime.max.replace(tzinfo=UTC)
    return max(gates, key=lambda gate: gate.not_before or never, default=None)


def _waiting(milestone: Milestone, gate: Gate, basis: BasisOf) -> Milestone:
    """Return a milestone with one more condition."""
    because = milestone.because
    likely = gate.likely and milestone.likely and max(gate.likely, milestone.likely)
    if milestone.not_before is None or (gate.not_before and gate.not_before <= milestone.not_before):
        reason = Reason(because.governing, (*because.others, gate))
        return replace(milestone, likely=likely, because=reason)
    return replace(
        milestone,
        likely=likely,
        not_before=gate.not_before,
        because=Reason(gate, (because.governing, *because.others)),
        basis="typical" if gate.not_before is None else basis(gate.not_before),
        spread_by=(),
        later_in_tests=None,
    )
