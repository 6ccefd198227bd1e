"""The values assumed for what the record leaves out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.practice.defaults import derived_defaults
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import Assumption

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.schedule.simulation import Simulation


def assumptions(simulation: Simulation) -> Iterator[Assumption]:
    """Yield each assumed value, with the field that the record leaves out and the reason."""
    job = simulation.job
    for assumed in job.assumed:
        yield Assumption(*assumed)
    if job.placement.concrete_temperature is None:
        yield _assume("placement.concrete_temperature", f"{simulation.slab.initial_c[CENTRAL]:.1f} degC")
    if job.placement.finished is None:
        yield _assume("placement.finished", "final set")
    if job.temperature_log is not None and job.temperature_log.depth is None:
        depth = simulation.practice["log.depth"] * job.slab.thickness
        yield _assume("temperature_log.depth", f"{depth:.3f} m")


def _assume(path: str, value: str) -> Assumption:
    return Assumption(path, value, derived_defaults()[path].why)
