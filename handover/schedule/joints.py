"""When joints may be sawn: from when concrete no longer ravels until the hour before it cracks on its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.restraint import (
    drying_shrinkage,
    elastic_modulus,
    mean_through_depth,
    restrained_tension,
    tensile_strength,
)
from handover.practice.silica import respirators
from handover.schedule.dates import SawLimits
from handover.schedule.gate_evaluators import hours_to_age, hours_to_age_at_any_depth
from handover.schedule.model import Joints, MilestoneKind, SawWindow
from handover.schedule.quantiles import early_instant, late_instant, median_instant

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation


def saw_limits(simulation: Simulation) -> SawLimits:
    """Return when it is too late to saw each member: by practice or by cracking, whichever is earlier.

    By practice, 18 hours at 21.1 degC, but no sooner than 12 by the clock; by the model, in the last hour
    before tension exceeds strength.
    """
    practice = simulation.practice
    by_practice = np.maximum(
        hours_to_age_at_any_depth(simulation.slab, practice["saw-joints.too-late"]),
        practice["saw-joints.too-late-by-clock"],
    )
    cracking_h = _cracking_hours(simulation)
    return SawLimits(cracking_h, np.minimum(by_practice, cracking_h))


def _cracking_hours(simulation: Simulation) -> Floats:
    """Return the last whole hour before tension exceeds tensile strength, shape (m,); inf: never.

    A simple model: the slab is free of stress at its highest temperature since final set. The ground partly
    prevents the shortening since then, by cooling and by drying.
    """
    slab, concrete, practice = simulation.slab, simulation.concrete, simulation.practice
    # Node by node: the minimum of three along the last axis would take ten times as long.
    age = np.minimum.reduce(np.moveaxis(slab.age_h, 2, 0))
    strength = np.minimum.reduce(np.moveaxis(concrete.strength(slab.age_h, slice(None)), 2, 0))
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
    """Return the windows of the possible saws and the joints to cut; None if there is no date for sawing.

    Where the record names an early-entry saw, a conventional one does not come.
    """
    limits = dates.saw_limits
    if limits is None or dates.not_before(MilestoneKind.SAW_JOINTS) is None:
        return None
    practice, thickness = simulation.practice, simulation.job.slab.thickness
    opens = {"early-entry": hours_to_age(simulation.slab, simulation.concrete.final_set_h)}
    if simulation.job.slab.joints == "sawn":
        opens["conventional"] = dates.met_h["saw-joints"]
    closes = early_instant(limits.too_late_h, simulation)
    windows = tuple(
        SawWindow(saw, median_instant(hours, simulation), late_instant(hours, simulation), closes)
        for saw, hours in opens.items()
    )
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
