"""The watering that remains when a schedule is issued."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule, WateringDay


@dataclass(frozen=True)
class RemainingWatering:
    """The remaining part of a watering plan.

    Attributes:
        days: From the day of issue on, with the visits that are not over by then.
        began: Whether some visits are past.
        litres: Water of the remaining visits. [L]
        garden_days: The same, in days of watering a garden; 0 where the plan has no water. [1]
    """

    days: tuple[WateringDay, ...]
    began: bool
    litres: float
    garden_days: float

    @property
    def watered_days(self) -> int:
        """Number of days with water."""
        return sum(day.litres > 0.0 for day in self.days)


def remaining_watering(schedule: CureSchedule) -> RemainingWatering:
    """Return the remaining part of the watering plan of a schedule at its time of issue."""
    issued = schedule.issued_at.astimezone(UTC)
    days = []
    for day in schedule.watering:
        visits = tuple(each for each in day.visits if each.end.astimezone(UTC) > issued)
        if visits or (not day.visits and day.date >= schedule.issued_at.date()):
            days.append(replace(day, visits=visits))
    left, planned = (sum(len(day.visits) for day in each) for each in (days, schedule.watering))
    litres = sum(visit.litres for day in days for visit in day.visits)
    totals = {each.name: each.value for each in schedule.figures}
    share = totals["garden_days"] * litres / totals["water_total"] if "water_total" in totals else 0.0
    return RemainingWatering(tuple(days), left < planned, litres, share)
