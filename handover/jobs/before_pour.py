"""A record before its pour: it needs no times of the placement, and what was measured is not there yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from handover.errors import Finding
from handover.jobs.reading import ExaminedRecord, examine_source
from handover.jobs.record import AFTER_THE_POUR

if TYPE_CHECKING:
    from handover.jobs.reading import RecordSource

_TIMES = ("start", "end")


@dataclass(frozen=True)
class PlannedJob:
    """The result of reading a record before its pour.

    Attributes:
        examined: The record; where it has no times of the placement, they are placeholders.
        placing: From the first concrete to the last by the record; None where it does not say.
    """

    examined: ExaminedRecord
    placing: timedelta | None


def examine_before_pour(source: RecordSource, as_of: datetime) -> PlannedJob:
    """Return the result of reading a record before its pour, with all faults and cautions.

    The times of the placement may be missing, and so may their table. Measurements are left out, with a
    caution.

    Args:
        source: The record as received.
        as_of: The time of the question, aware; the placeholder of a missing time is on its day.
    """
    noon = as_of.astimezone(UTC).replace(tzinfo=None, hour=12, minute=0, second=0, microsecond=0)
    left_out: list[str] = []
    has_times = False

    def complete(raw: Mapping[str, Any]) -> Mapping[str, Any]:
        nonlocal has_times
        left_out.extend(name for name in AFTER_THE_POUR if raw.get(name))
        kept = {name: table for name, table in raw.items() if name not in AFTER_THE_POUR}
        placement = raw.get("placement", {})
        if not isinstance(placement, Mapping):
            return kept  # a fault, which the reader reports
        has_times = all(placement.get(each) for each in _TIMES)
        if has_times:
            return kept
        placeholder = {"start": noon, "end": noon + timedelta(hours=1)}
        others = {name: value for name, value in placement.items() if name not in (*_TIMES, "finished")}
        return {**kept, "placement": {**others, **placeholder}}

    examined = examine_source(source, complete)
    cautions = tuple(
        Finding("is not used: the pour is still to come", source.name, field=name, severity="caution")
        for name in left_out
    )
    with_cautions = ExaminedRecord(examined.record, (*examined.findings, *cautions), examined.source)
    if examined.record is None or not has_times:
        return PlannedJob(with_cautions, None)
    placement = examined.record.placement
    start, end = (each.astimezone(UTC) for each in (placement.start, placement.end))
    return PlannedJob(with_cautions, end - start)
