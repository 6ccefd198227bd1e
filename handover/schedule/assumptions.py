"""What was assumed where the record says nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import Assumption

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.schedule.simulation import Simulation


def assumptions(simulation: Simulation) -> Iterator[Assumption]:
    """Yield each value that the record leaves out, what was assumed for it, and why."""
    job = simulation.job
    for assumed in job.assumed:
        yield Assumption(*assumed)
    if job.placement.concrete_temperature is None:
        yield Assumption(
            "placement.concrete_temperature",
            f"{simulation.slab.initial_c[CENTRAL]:.1f} degC",
            "Air temperature at placement, but no colder than ready-mix is delivered",
        )
    if job.placement.finished is None:
        yield Assumption("placement.finished", "final set", "Trowelling is over by final set")
    if job.temperature_log is not None and job.temperature_log.depth is None:
        middle = f"{job.slab.thickness / 2.0:.3f} m"
        yield Assumption("temperature_log.depth", middle, "A sensor hangs in the middle of the slab")
    if job.curing.method == "insulating blanket" and job.curing.blanket_r_value is None:
        cover = simulation.practice.materials["cover"]["insulating blanket"]
        yield Assumption("curing.blanket_r_value", f"{cover} m2K/W", "A common blanket, about R-4")
