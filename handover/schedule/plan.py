"""The schedule of a job: the one place where job, weather, physics and rules meet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.assumptions import assumptions
from handover.schedule.basis import basis_of, room_basis, weather_basis
from handover.schedule.between import plan_under_cover
from handover.schedule.coat_after_cover import spray_after_covers
from handover.schedule.cover_times import (
    cover_due,
    keep_forms_under_covers,
    keep_people_off_covers,
    leave_out_looks_under_covers,
    missed_water,
)
from handover.schedule.crews_sheet import saw_under_crews_sheet
from handover.schedule.date_dependencies import apply_dependencies
from handover.schedule.delivery_tickets import limit_on_the_way
from handover.schedule.ensemble import CENTRAL, MEMBERS
from handover.schedule.frost_protection import blankets_laid, plan_protection
from handover.schedule.history import slab_history
from handover.schedule.joints import plan_joints
from handover.schedule.later_watering import until_curing_ends
from handover.schedule.milestones import compute_dates
from handover.schedule.model import CureSchedule, Figure, MilestoneKind, Refusal
from handover.schedule.printed_times import print_dates
from handover.schedule.risks import compile_cautions, find_risks
from handover.schedule.rule_selection import rules_for
from handover.schedule.simulation import SHARE, simulate, watered_until, with_dry_surface
from handover.schedule.surface_task import plan_surface
from handover.schedule.tasks import are_joints_in_doubt, is_sawing_over, with_tasks
from handover.schedule.watering import curing_span, dry_hours

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.model import BetweenCover, Caution, Milestone, WateringDay
    from handover.schedule.simulation import Simulation
    from handover.schedule.surface_task import SurfacePlan
    from handover.weather.series import WeatherSeries


OF_DUST = "silica"

OF_THE_SAW = (OF_DUST, "saw-in-stages", "saw-in-order")
"""Cautions about how joints are sawn: of its dust, and of a slab whose parts are cut at other hours."""


def plan_cure(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    *,
    revision: int = 1,
    typical: WeatherSeries | None = None,
    share: float = SHARE,
    members: int = MEMBERS,
    rules: str | None = None,
    cover: str | None = None,
    covered_since: datetime | None = None,
    brought_by: datetime | None = None,
) -> CureSchedule:
    """Return the schedule of a job under its weather.

    Args:
        job: The record.
        weather: Hourly, from the hour of the pour or before; past its end, typical weather is used.
        as_of: Time of issue, aware.
        revision: Of the issue, 1 and up.
        typical: A typical year of the place, from which the hours past the forecast are drawn.
        share: Share of the members for which a "not before" is late enough, above 0.5 and below 1.
        members: Size of the ensemble.
        rules: Code of the rules to plan by ("us", "de", "strictest"); None: those of the site's country.
        cover: The cover that lies between the waterings since the issue before; None: none.
        covered_since: When the cover against frost of the issue before was laid; None: none lies.
        brought_by: By when the crew was to bring ``cover``; None: it left it on the slab.

    Raises:
        UnusableInput: The weather is of another place or time, or there are no such ``rules``; carries all
            findings.
        OutOfRange: ``as_of`` is not aware, or ``share`` out of its range.
    """
    practice, rule_choice = rules_for(job, rules)
    simulation = simulate(
        job, weather, as_of, typical=typical, share=share, members=members, practice=practice
    )
    job, basis = simulation.job, basis_of(simulation.weather)
    dates = compute_dates(simulation, basis)
    simulation, dates = _with_water(simulation, dates, basis)
    covered, watering, between = plan_under_cover(simulation, dates, basis, lies=cover)
    kept_wet = dates
    dry = None if between is not None else dry_hours(simulation, dates, watering)
    if dry is not None:  # its dry hours are no curing, and its surface is hotter when the water comes
        simulation = replace(simulation, dry=dry)
        simulation, dates = _with_water(simulation, compute_dates(simulation, basis), basis)
        warmed = simulation if job.curing.water_temperature is None else with_dry_surface(simulation, dry)
        covered, watering, between = plan_under_cover(warmed, dates, basis, lies=cover)
    dates = saw_under_crews_sheet(simulation, dates, basis, between)
    risks = find_risks(simulation, dates)
    cautions = compile_cautions(simulation, dates, watering, risks, kept_wet=kept_wet)
    watering = until_curing_ends(watering, simulation, dates)
    refusals = (*dates.refusals, *_refusals_by_caution(simulation, dates, cautions))
    refused = {each.kind for each in refusals}
    protection = plan_protection(simulation, dates)
    bare = None if protection is None else protection.blankets[0]
    surface = plan_surface(
        simulation, dates, watering, risks, freezes_from=None if bare is None else bare.freezes_from
    )
    milestones = _with_window(apply_dependencies(simulation, dates, watering, basis), surface)
    schedule = CureSchedule(
        job=job.id,
        revision=revision,
        issued_at=as_of.astimezone(job.zone),
        timezone=job.site.timezone,
        placement_start=job.placement.start,
        placement_end=job.placement.end,
        finished=job.placement.finished,
        area_m2=job.slab.area,
        thickness_m=job.slab.thickness,
        specified_strength_mpa=job.mix.specified_strength,
        curing_method=job.curing.method,
        weather=weather_basis(job, weather, simulation.weather, as_of),
        milestones=print_dates((each for each in milestones if each.kind not in refused), job.placement.end),
        watering=watering,
        risks=risks,
        cautions=cautions,
        history=slab_history(covered, dates),
        assumed=(*assumptions(simulation), rule_choice),
        refusals=refusals,
        figures=tuple(_figures(simulation, watering, between, as_of)),
        protection=protection,
        between=between,
        surface=surface.task,
        blankets_on=blankets_laid(simulation, None if bare is None else bare.freezes_from),
        covered_since=covered_since,
        room=room_basis(job, simulation.weather, simulation.air_c),
        joints=plan_joints(simulation, dates),
        measurements=simulation.measurements.records,
        strength_fit=simulation.measurements.fit,
    )
    whole = keep_forms_under_covers(leave_out_looks_under_covers(schedule))
    whole = spray_after_covers(keep_people_off_covers(whole))
    is_known = between is not None and between.cover == cover
    due = brought_by if is_known else cover_due(whole)
    whole = replace(whole, missed_water=missed_water(whole), cover_due=due)
    return _without_saw(with_tasks(whole, job))


def _without_saw(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule without the cautions about the saw once its hours are past.

    That about its dust stays where nobody knows whether the joints were cut: the crew may cut them yet.
    """
    if not is_sawing_over(schedule):
        return schedule
    left = {OF_DUST} if are_joints_in_doubt(schedule) else set()
    over = {*OF_THE_SAW} - left
    return replace(schedule, cautions=tuple(each for each in schedule.cautions if each.code not in over))


def _with_water(simulation: Simulation, dates: Dates, basis: BasisOf) -> tuple[Simulation, Dates]:
    """Return a simulation whose slab is watered until curing ends, and its dates."""
    ends = curing_span(simulation, dates)[1]
    watered = watered_until(simulation, ends, dates.not_before(MilestoneKind.CURING_ENDS))
    return (simulation, dates) if watered is simulation else (watered, compute_dates(watered, basis))


def _with_window(milestones: tuple[Milestone, ...], surface: SurfacePlan) -> tuple[Milestone, ...]:
    """Return the milestones, first water with its late end.

    It has none where the crew fills the gap, nor where frost puts water off past it: covers lie until then.
    """
    late = surface.not_after if surface.task is None else None
    return tuple(
        replace(each, not_after=_unless_before(late, each.not_before))
        if each.kind == MilestoneKind.FIRST_WATER
        else each
        for each in milestones
    )


def _unless_before(late: datetime | None, begins: datetime | None) -> datetime | None:
    """Return a late end; None where it is before the beginning."""
    if late is None or begins is None:
        return late
    return None if late.astimezone(UTC) < begins.astimezone(UTC) else late


def _refusals_by_caution(
    simulation: Simulation, dates: Dates, cautions: tuple[Caution, ...]
) -> Iterator[Refusal]:
    """Yield the dates that a caution forbids for good: of salt, where the mix is not made for it."""
    codes, kinds = {each.code for each in cautions}, {each.kind for each in dates.milestones}
    for rule in simulation.practice.refusals:
        if codes & {*rule.cautions}:
            yield from (Refusal(kind, rule.code) for kind in rule.milestones if kind in kinds)


def _figures(
    simulation: Simulation, watering: tuple[WateringDay, ...], between: BetweenCover | None, as_of: datetime
) -> Iterator[Figure]:
    """Yield the figures of the mix, of the trucks until the pour is over, and of the water."""
    job, concrete = simulation.job, simulation.concrete
    curve = concrete.hydration
    yield Figure("water_cementitious", job.mix.water_cementitious, "1")
    yield Figure("cementitious", job.mix.cementitious, "kg/m3")
    yield Figure("activation_energy", float(np.ravel(curve.activation_energy)[0]), "J/mol")
    yield Figure("ultimate_hydration", float(np.ravel(curve.ultimate)[0]), "1")
    yield Figure("hydration_time", float(np.ravel(curve.tau_h)[CENTRAL]), "h")
    yield Figure("hydration_slope", float(np.ravel(curve.beta)[0]), "1")
    yield Figure("initial_set_age", float(concrete.initial_set_h[CENTRAL]), "h")
    yield Figure("final_set_age", float(concrete.final_set_h[CENTRAL]), "h")
    yield Figure("reference_temperature", concrete.reference_c, "degC")
    if as_of.astimezone(UTC) < job.placement.end.astimezone(UTC):
        yield limit_on_the_way(job, simulation.practice)
    litres = sum(visit.litres for day in watering for visit in day.visits)
    if litres:
        yield Figure("water_total", litres, "L")
        yield Figure("garden_days", litres / simulation.practice["water.garden-day"], "1")
    if between is not None:
        yield Figure("dry_open", between.open_dry_hours, "h")
        yield Figure("dry_covered", between.dry_hours, "h")
