"""Delivery tickets: when hydration began, and how much water was added to each load."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.curves import ScaledCurve
from handover.schedule.measurement_result import MeasurementResult
from handover.schedule.mix import set_time
from handover.schedule.model import Figure, Measurement

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord, Ticket
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties

TICKET_LIMIT, USUAL_LIMIT = "ticket_limit", "usual_limit"
"""Names of the figure of the time limit from batching to discharge, by what sets it."""

_STEP_MIN = 5
"""No time from batching to discharge is known better. [min]"""


@dataclass(frozen=True)
class Load:
    """One load as it was placed.

    Attributes:
        ticket: Its ticket.
        name: Its number, or its position among the tickets.
        on_the_way_h: From batching to the end of its discharge; None without a time of batching. [h]
        water_cementitious: With the water added at the site.
    """

    ticket: Ticket
    name: str
    on_the_way_h: float | None
    water_cementitious: float


def loads(job: JobRecord) -> tuple[Load, ...]:
    """Return the loads of a job, in the order of the tickets.

    No ticket says when its load was discharged. The loads are assumed to follow each other in the order of
    batching, at an even rate from the first concrete placed to the last.
    """
    tickets = job.ticket
    even = job.slab.area * job.slab.thickness / max(len(tickets), 1)
    volumes = [ticket.volume or even for ticket in tickets]
    start, end = (each.astimezone(UTC) for each in (job.placement.start, job.placement.end))
    order = sorted(range(len(tickets)), key=lambda at: (tickets[at].batched or start, at))
    emptied, placed = {}, 0.0
    for at in order:
        placed += volumes[at]
        emptied[at] = start + (end - start) * (placed / sum(volumes))
    wet = job.mix.water_cementitious
    return tuple(
        Load(
            ticket,
            ticket.number or str(at + 1),
            None if ticket.batched is None else (emptied[at] - ticket.batched) / timedelta(hours=1),
            # A litre is a kilogram, spread over the cementitious material of its load.
            wet + (ticket.water_added or 0.0) / (volumes[at] * job.mix.cementitious),
        )
        for at, ticket in enumerate(tickets)
    )


def truck_hours(job: JobRecord, ensemble: Ensemble, practice: Practice) -> Floats:
    """Return how long the concrete of each member had been hydrating when it was placed, in h, shape (m,).

    The concrete placed last is of the truck batched last. Its time counts only if every ticket has one, and
    only up to the usual time limit of discharge, because its dates must be safe: a ticket with a longer limit
    is of a mix that is held back. The concrete placed first is of the truck batched first, with all of its
    time.
    """
    times = [ticket.batched for ticket in job.ticket]
    known = [batched.timestamp() for batched in times if batched is not None]
    if not known:
        return np.zeros(len(ensemble))
    waited = np.zeros(len(ensemble))
    if len(known) == len(times):
        last = (job.placement.end.timestamp() - max(known)) / HOUR_S
        waited[ensemble.last_placed] = np.clip(last, 0.0, practice["delivery.discharge"])
    first = (job.placement.start.timestamp() - min(known)) / HOUR_S
    waited[ensemble.first_placed] = np.clip(first, 0.0, practice["delivery.longest"])
    return waited


def apply_tickets(
    job: JobRecord, concrete: ConcreteProperties, practice: Practice
) -> tuple[ConcreteProperties, MeasurementResult]:
    """Return the concrete of the wettest load, and the results of the tickets.

    Water added at the site makes concrete weaker, by Abrams' law, and slower to set. The load with the most
    water governs, because its position in the slab is unknown.
    """
    each = loads(job)
    wettest = max((load.water_cementitious for load in each), default=0.0)
    records = tuple(_record(load, job, practice) for load in each if _says_anything(load))
    measured = MeasurementResult(records, tuple(_cautions(each, job, practice)))
    if wettest <= job.mix.water_cementitious:
        return concrete, measured
    wetter = replace(
        concrete,
        initial_set_h=set_time(concrete.setting, wettest * concrete.water, practice["setting.initial"]),
        final_set_h=set_time(concrete.setting, wettest * concrete.water, practice["setting.final"]),
        curve=ScaledCurve(concrete.curve, strength_kept(job, wettest, practice)),
    )
    return wetter, measured


def strength_kept(job: JobRecord, water_cementitious: float, practice: Practice) -> float:
    """Return the share of strength that is left with more water than the record says.

    Source:
        Abrams' law, strength = A/B^(w/cm); B is rule `retemper.abrams`.
    """
    added = water_cementitious - job.mix.water_cementitious
    return float(practice["retemper.abrams"] ** -added)


def hottest_concrete(job: JobRecord) -> float | None:
    """Return the highest concrete temperature measured at discharge, in degC, or None."""
    measured = [job.placement.concrete_temperature, *(ticket.temperature for ticket in job.ticket)]
    return max((each for each in measured if each is not None), default=None)


def _says_anything(load: Load) -> bool:
    ticket = load.ticket
    entries = (ticket.batched, ticket.slump, ticket.temperature, ticket.water_added)
    return any(each is not None for each in entries)


def _record(load: Load, job: JobRecord, practice: Practice) -> Measurement:
    weaker = load.water_cementitious > job.mix.water_cementitious
    outcome = "load-weaker" if weaker else "load-hydrating" if load.on_the_way_h is not None else "load-noted"
    return Measurement(
        kind="ticket",
        name=load.name,
        at=load.ticket.batched,
        measured=tuple(_ticket_figures(load)),
        estimated=(Figure("water_cementitious", job.mix.water_cementitious, "1"),) if weaker else (),
        outcome=outcome,
        figures=tuple(_strength_loss(load, job, practice)) if weaker else (),
    )


def _ticket_figures(load: Load) -> Iterator[Figure]:
    ticket = load.ticket
    if load.on_the_way_h is not None:
        yield Figure("time_to_discharge", _in_minutes(load.on_the_way_h), "min")
    if ticket.temperature is not None:
        yield Figure("concrete_temperature", ticket.temperature, "degC")
    if ticket.slump is not None:
        yield Figure("slump", ticket.slump, "m")
    if ticket.water_added is not None:
        yield Figure("water_added", ticket.water_added, "L")


def _in_minutes(hours: float) -> float:
    """Return a time that is worked out from an even rate, in min, rounded up to five minutes."""
    return float(ceil(round(hours * 60 / _STEP_MIN, 6)) * _STEP_MIN)


def _time_and_limit(load: Load, practice: Practice) -> tuple[float, float]:
    """Return the hours from batching to empty, and those that the ticket allows, or usual ones without it.

    Source:
        ASTM C94/C94M-21, 6.1.10: the limit is established by purchaser or plant and stated on the ticket.
    """
    return load.on_the_way_h or 0.0, load.ticket.discharge_limit or practice["delivery.discharge"]


def limit_on_the_way(job: JobRecord, practice: Practice) -> Figure:
    """Return within which time each truck is empty: the least that a ticket states, else the usual one."""
    stated = [each.discharge_limit for each in job.ticket if each.discharge_limit is not None]
    if stated:
        return Figure("ticket_limit", min(stated) * 60, "min")
    return Figure("usual_limit", practice["delivery.discharge"] * 60, "min")


def _strength_loss(load: Load, job: JobRecord, practice: Practice) -> Iterator[Figure]:
    yield Figure("water_cementitious", load.water_cementitious, "1")
    yield Figure("strength_lost", 1.0 - strength_kept(job, load.water_cementitious, practice), "1")


def _late_load(each: tuple[Load, ...], practice: Practice) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield the load that is furthest past its limit, with what sets the limit; nothing if none is."""
    waits = [(*_time_and_limit(load, practice), load) for load in each]
    latest = max(waits, key=lambda wait: wait[0] - wait[1], default=None)
    if latest is None or latest[0] <= latest[1]:
        return
    late, limit, load = latest
    took = Figure("time_to_discharge", _in_minutes(late), "min")
    by = TICKET_LIMIT if load.ticket.discharge_limit else USUAL_LIMIT
    yield "late-discharge", (took, Figure("limit", limit * 60, "min"), Figure(by, limit * 60, "min"))


def _cautions(
    each: tuple[Load, ...], job: JobRecord, practice: Practice
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield the cautions of the tickets, each for the most affected load."""
    yield from _late_load(each, practice)
    wettest = max(each, key=lambda load: load.water_cementitious, default=None)
    if wettest and wettest.water_cementitious - job.mix.water_cementitious > practice["retemper.batching"]:
        yield "water-added", tuple(_strength_loss(wettest, job, practice))
    slump, most = max((load.ticket.slump or 0.0 for load in each), default=0.0), practice["slump.most"]
    if slump > most * (1.0 + 1e-6):
        yield "slump-high", (Figure("slump", slump, "m"), Figure("limit", most, "m"))
