"""Measurements take over from the estimate: first those of the concrete, then those of the slab."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.schedule.cylinders import field_cured, standard_cured
from handover.schedule.delivery import delivered
from handover.schedule.logged import logged

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.cases import Cases
    from handover.schedule.measured import Measured
    from handover.schedule.mix import Concrete
    from handover.schedule.slab import Slab


def as_measured(job: JobRecord, concrete: Concrete, practice: Practice) -> tuple[Concrete, Measured]:
    """Return the concrete as its standard-cured cylinders and its tickets show it, before it is followed.

    The cylinders are not known to be of the load that got the most water; so what that water costs comes on
    top of what they show.
    """
    concrete, of_cylinders = standard_cured(job, concrete, practice)
    concrete, of_tickets = delivered(job, concrete, practice)
    return concrete, of_tickets + of_cylinders


def taken_over(
    job: JobRecord, cases: Cases, concrete: Concrete, slab: Slab, practice: Practice
) -> tuple[Concrete, Slab, Measured]:
    """Return concrete and slab as the logger and the cylinders beside the slab show them."""
    slab, of_log = logged(job, cases, concrete, slab, practice)
    concrete, of_cylinders = field_cured(job, cases, concrete, slab, practice)
    return concrete, slab, of_log + of_cylinders
