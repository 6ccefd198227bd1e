"""Measurements override the estimate: first those of the concrete, then those of the slab.

Between them, what was seen of the surface: see `surface_observations.condition_on_setting`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.schedule.cylinders import apply_field_cylinders, apply_standard_cylinders
from handover.schedule.delivery_tickets import apply_tickets
from handover.schedule.surface_observations import apply_infrared
from handover.schedule.temperature_log import apply_temperature_log

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.measurement_result import MeasurementResult
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.slab_simulation import SlabSimulation


def apply_concrete_measurements(
    job: JobRecord, concrete: ConcreteProperties, practice: Practice
) -> tuple[ConcreteProperties, MeasurementResult]:
    """Return the concrete corrected by its standard-cured cylinders and tickets, before the simulation.

    The cylinders need not be of the load with the most water, so the loss of strength by that water is added
    to the correction by cylinders.
    """
    concrete, of_cylinders = apply_standard_cylinders(job, concrete, practice)
    concrete, of_tickets = apply_tickets(job, concrete, practice)
    return concrete, of_tickets + of_cylinders


def apply_slab_measurements(
    job: JobRecord, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation, practice: Practice
) -> tuple[ConcreteProperties, SlabSimulation, MeasurementResult]:
    """Return concrete and slab corrected by logger, infrared readings and cylinders beside the slab."""
    slab, of_log = apply_temperature_log(job, ensemble, concrete, slab, practice)
    slab, of_infrared = apply_infrared(job, ensemble, concrete, slab, practice)
    concrete, of_cylinders = apply_field_cylinders(job, ensemble, concrete, slab, practice)
    return concrete, slab, of_log + of_infrared + of_cylinders
