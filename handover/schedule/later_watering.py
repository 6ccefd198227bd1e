"""The days of a watering plan past the simulation: each like the last day that was planned."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import cycle
from typing import TYPE_CHECKING

from handover.schedule.model import NO_LOOK
from handover.schedule.watering import whole_curing_span

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from handover.schedule.dates import Dates
    from handover.schedule.model import Visit, WateringDay
    from handover.schedule.simulation import Simulation

_BY_WEATHER = "rain"
"""Why a day has no watering that says nothing of the days after it."""


def until_curing_ends(
    watering: tuple[WateringDay, ...], simulation: Simulation, dates: Dates
) -> tuple[WateringDay, ...]:
    """Return a plan with the days that are left until curing ends; the same one where none are.

    Without them a table would end weeks before the date that it serves. Past the simulation the weather is
    typical: what the last planned day asks, the days after it ask as well.
    """
    if not watering:
        return watering
    usual = [each for each in watering if each.skipped_because != _BY_WEATHER] or [watering[-1]]
    rests = any(each.skipped_because == NO_LOOK for each in usual)
    like = usual[-int(simulation.practice["look.apart"]) :] if rests else usual[-1:]
    _, ends = whole_curing_span(simulation, dates)
    return (*watering, *_days_like(like, watering[-1].date, ends))


def _days_like(some: Sequence[WateringDay], after: date, ends: datetime) -> Iterator[WateringDay]:
    """Yield the days after one, before an instant, with the visits of others in turn, at the same hours."""
    day = after + timedelta(days=1)
    for like in cycle(some):
        if datetime.combine(day, time(), ends.tzinfo) >= ends:
            return
        visits = (_on(day, each) for each in like.visits)
        kept = tuple(each for each in visits if each.end <= ends)
        if kept or not like.visits:
            yield replace(like, date=day, visits=kept, basis="typical", rain_probability=None)
        day += timedelta(days=1)


def _on(day: date, visit: Visit) -> Visit:
    """Return a visit at its hours of another day, by the clock on the wall; it brings as much water."""
    start = datetime.combine(day, visit.start.time(), visit.start.tzinfo)
    apart = visit.end.date() - visit.start.date()
    return replace(visit, start=start, end=datetime.combine(day + apart, visit.end.time(), start.tzinfo))
