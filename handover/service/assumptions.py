"""What is assumed for the fields that a record leaves out, in the units of its reader."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from handover.jobs.fields import QuantityField
from handover.jobs.record import AssumedValue, declaration_of, mark_of
from handover.practice.rules import rules_of
from handover.schedule.assumptions import assumed_of_room
from handover.schedule.figure_kinds import SI_UNITS
from handover.units import format_for_reader

if TYPE_CHECKING:
    from handover.documents.quantity_format import Units
    from handover.jobs.record import JobRecord


def assumed_values(job: JobRecord, units: Units | None = None) -> tuple[AssumedValue, ...]:
    """Return what is assumed before any weather is known: field, value in the reader's unit, why.

    Args:
        job: The record.
        units: "us" or "si"; as the record is written if left out.
    """
    room = assumed_of_room(job, rules_of(job.site.country))
    found = (*job.assumed, *(AssumedValue(each.field, each.value, each.why) for each in room))
    system = units or job.written_in
    return tuple(each._replace(value=_in_units(each, system)) for each in found)


def _in_units(assumed: AssumedValue, units: Units) -> str:
    """Return a value, or a range of values, in the reader's unit; a text without a quantity as it is."""
    try:
        quantity = mark_of(declaration_of(assumed.field), QuantityField)
    except KeyError:
        return assumed.value
    number = r"(-?[0-9.]+)"
    found = re.fullmatch(rf"{number}(?: to {number})? (\S+)", assumed.value)
    if quantity is None or found is None or found[3] != SI_UNITS[quantity.kind]:
        return assumed.value
    ends = [format_for_reader(float(each), quantity.kind, units) for each in found.groups()[:2] if each]
    return " to ".join(ends)
