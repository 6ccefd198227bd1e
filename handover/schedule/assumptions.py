"""The values assumed for what the record leaves out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.practice.defaults import derived_defaults
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import Assumption
from handover.schedule.surroundings import room_state

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
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
    yield from assumed_of_room(job, simulation.practice)
    if job.temperature_log is not None and job.temperature_log.depth is None:
        depth = simulation.practice["log.depth"] * job.slab.thickness
        yield _assume("temperature_log.depth", f"{depth:.3f} m")


def assumed_of_room(job: JobRecord, practice: Practice) -> Iterator[Assumption]:
    """Yield what is assumed of the room of a slab indoors: whether it is heated, and its air."""
    state = room_state(job)
    coldest, warmest = practice["room.heated-coldest"], practice["room.heated-warmest"]
    values = {
        "heated": f"{coldest:g} to {warmest:g} degC",
        "unheated": "follows the air outdoors",
        "unknown": "follows the air outdoors, or heated",
    }
    if state == "unknown":
        yield _assume("site.room_heated", "not known")
    if state in values:
        yield _assume("site.room_temperature", values[state])


def _assume(path: str, value: str) -> Assumption:
    return Assumption(path, value, derived_defaults()[path].why)
