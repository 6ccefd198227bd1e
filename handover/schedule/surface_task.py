"""The surface between the last pass of the trowel and the first water: how long it may be bare, and who acts.

A finished surface that is not yet hard enough for water dries. How much it may lose is a rule. When it has
lost as much is the late end of a window, so the early end of its band is the cautious one. Where the first
water of the plan comes later, the crew keeps the surface damp or covers it before it leaves; compound needs
no water. A sheet or burlap that cures the slab is laid as soon as a step leaves no mark, whenever its first
water comes.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.cover_times import COMPOUNDS, SHEET_RAIN, SPRAYING, washing_rains
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import BURLAP, RAIN, SHEET, Figure, MilestoneKind, SurfaceChoice, SurfaceTask
from handover.schedule.printed_times import COVERING, SLEEPING_HOUR, by_day, half_hour_down, half_hour_up
from handover.schedule.quantiles import instant_after, smoothed_quantile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.schedule.dates import Dates
    from handover.schedule.model import Risk, WateringDay
    from handover.schedule.simulation import Simulation

    Watering = tuple[WateringDay, ...]

STEP_H = 1.0 / 12.0
"""Resolution of the drying of the bare surface. [h]"""

_COMPOUND = "curing compound"
_COVER = BURLAP  # whose water a cover takes
_LAID = (SHEET, BURLAP)  # methods whose cover the crew lays before it leaves


class _Bare(NamedTuple):
    """When a bare surface has lost what it may, and when it may freeze; None: it does not."""

    dries: datetime | None
    freezes: datetime | None


class SurfacePlan(NamedTuple):
    """The bare surface of a job.

    Attributes:
        not_after: When the bare surface has lost what it may, the early end of the band; None: not within a
            day of its first water.
        task: What the crew does about it; None where the first water comes in time.
    """

    not_after: datetime | None
    task: SurfaceTask | None


def plan_surface(
    simulation: Simulation,
    dates: Dates,
    watering: Watering,
    risks: tuple[Risk, ...],
    *,
    freezes_from: datetime | None = None,
) -> SurfacePlan:
    """Return until when the finished surface may be bare, and what the crew does if water comes later.

    Where frost keeps water off on the first day, a sheet goes on before the cover against frost; where
    blankets cure the slab, they are the plan. A sheet or burlap that cures it is laid on that day, frost or
    not. Compound goes on early enough to dry before likely rain, else after it.

    Args:
        simulation: The slab.
        dates: Its dates.
        watering: Its watering plan.
        risks: Its risks.
        freezes_from: When the bare top may freeze; None: it does not.
    """
    start = _end_of_finishing(simulation, dates)
    if start is not None and simulation.job.curing.method in _LAID:
        return _laid_plan(start, simulation, dates, watering, freezes_from)
    if start is not None and _is_frosty(watering) and simulation.method is not None:
        return _under_blankets(start, simulation, freezes_from)
    is_coated = simulation.job.curing.method == _COMPOUND
    until = start if is_coated else _first_visit(watering)
    if start is None or until is None:
        return SurfacePlan(None, None)
    not_after = _dried_by(start, until + timedelta(days=1), simulation)
    if is_coated:
        return SurfacePlan(not_after, _coating(start, not_after, simulation, risks))
    if not_after is None or _seconds(until) <= not_after.timestamp():
        return SurfacePlan(not_after, None)
    return SurfacePlan(not_after, _filling(start, until, not_after, simulation, dates, risks))


def _seconds(when: datetime) -> float:
    return when.timestamp()


def _end_of_finishing(simulation: Simulation, dates: Dates) -> datetime | None:
    """Return when the last pass ended: as recorded, else likely initial set, from which it may end.

    The bare hours then are no fewer than they may be.
    """
    if simulation.job.placement.finished is not None:
        return simulation.job.placement.finished
    likely = next((each.likely for each in dates.milestones if each.kind == MilestoneKind.INITIAL_SET), None)
    return None if likely is None else half_hour_down(likely)


def _first_visit(watering: Watering) -> datetime | None:
    """Return the first watering of the plan; None where there is none, or frost comes before it."""
    for day in watering:
        if day.skipped_because == "frost":
            return None
        if day.visits:
            return day.visits[0].start
    return None


def _dried_by(start: datetime, end: datetime, simulation: Simulation) -> datetime | None:
    """Return when the surface, bare from an instant on, has lost what it may; None: not by the end."""
    group = simulation.ensemble.last_placed
    hours, loss = _bare_loss(start, end, group, simulation)
    dried = loss >= _allowed_loss(simulation)
    reached = np.where(dried.any(axis=0), hours[dried.argmax(axis=0)], np.inf)
    found = smoothed_quantile(reached, 1.0 - simulation.share)
    return instant_after(simulation.ensemble.placed_s[group][0], found, simulation.job.zone)


def _allowed_loss(simulation: Simulation) -> float:
    """Return the water that a finished surface may lose before it is wetted, covered or coated, in mm."""
    return simulation.practice["drying.precaution"] * simulation.practice["surface.bare-time"]


def _bare_loss(
    start: datetime, end: datetime, members: slice, simulation: Simulation
) -> tuple[Floats, Floats]:
    """Return the water that the bare surface loses from an instant on, summed up.

    Losses that water from the pores replaces do not count, as in the watering plan.

    Returns:
        Hours since placement, shape (n,) [h]; the loss until then, shape (n, m) [mm].
    """
    slab = simulation.bare_slab
    placed_s = float(slab.placed_s[members][0])
    first, last = ((each.timestamp() - placed_s) / HOUR_S for each in (start, end))
    middle = np.arange(first, last, STEP_H) + STEP_H / 2
    at = np.clip(middle.astype(np.int64), 0, len(slab.hours) - 2)
    share = np.clip(middle - at, 0.0, 1.0)[:, np.newaxis]
    series = slab.evaporation[:, members]
    rate = series[at] * (1.0 - share) + series[at + 1] * share
    counted = np.where(rate > simulation.practice["water.shows"], rate, 0.0)
    return middle + STEP_H / 2, np.cumsum(counted * STEP_H, axis=0)


def _likely_loss(start: datetime, end: datetime, simulation: Simulation) -> float:
    """Return the likely loss of the bare surface between two instants, in mm."""
    _, loss = _bare_loss(start, end, slice(CENTRAL, CENTRAL + 1), simulation)
    return float(loss[-1, 0]) if len(loss) else 0.0


def _coating(
    start: datetime, not_after: datetime | None, simulation: Simulation, risks: tuple[Risk, ...]
) -> SurfaceTask:
    """Return the spraying of the compound: right after the last pass, or after likely rain."""
    rule = simulation.practice.rules["visit.compound"]
    begins, rain = _spraying(start, simulation, risks)
    end = begins + SPRAYING
    late = _no_earlier(start, not_after)
    if begins > start:
        late = None  # rain and the cover keep it wet
    elif rain is not None:
        dry_by = half_hour_down(rain - _drying_time(simulation))
        late = dry_by if late is None else min(late, dry_by, key=_seconds)
    how = "compound" if begins == start else "compound-after-rain"
    return SurfaceTask(
        work="compound",
        start=start,
        not_after=late,
        cover_from=None,
        until=end,
        finish_recorded=simulation.job.placement.finished is not None,
        choices=(SurfaceChoice(how, begins, end, rule.value, 0.0),),
        figures=() if rain is None else (Figure("drying_time", simulation.practice["compound.dry"], "h"),),
        source=rule.source,
        mark=rule.mark,
    )


def _spraying(
    start: datetime, simulation: Simulation, risks: tuple[Risk, ...]
) -> tuple[datetime, datetime | None]:
    """Return when the compound is sprayed, and the start of the next likely rain, if there is one.

    It has to dry before the rain. Where it cannot, it waits under a cover until the rain is over, and then
    for an hour at which somebody works.
    """
    begins = start
    rains = [each for each in risks if each.code == RAIN and _seconds(each.end) > _seconds(start)]
    for rain in rains:
        if _seconds(begins + SPRAYING + _drying_time(simulation)) <= _seconds(rain.start):
            return begins, rain.start
        begins = by_day(half_hour_up(rain.end))
    return begins, None


def _drying_time(simulation: Simulation) -> timedelta:
    return timedelta(hours=simulation.practice["compound.dry"])


def _laid_plan(
    start: datetime,
    simulation: Simulation,
    dates: Dates,
    watering: Watering,
    freezes_from: datetime | None,
) -> SurfacePlan:
    """Return the laying of the sheet or burlap that cures the slab; past the estimate, nothing is planned."""
    not_after = _dried_by(start, start + timedelta(days=1), simulation)
    firm = dates.not_before(MilestoneKind.FINAL_SET)
    if firm is None:
        return SurfacePlan(not_after, None)
    ready = half_hour_up(max(firm, start, key=_seconds))
    choice = _laying(start, ready, _Bare(not_after, freezes_from), simulation, watering)
    laid = (choice.until.astimezone(UTC) - COVERING).astimezone(choice.until.tzinfo)
    return _cover_plan(start, not_after, choice, simulation, cover_from=laid, until=choice.until)


def _under_blankets(start: datetime, simulation: Simulation, freezes_from: datetime | None) -> SurfacePlan:
    """Return the sheet for a slab that frost lets nobody wet: it keeps the water in, under the blankets.

    Nothing is planned where the bare surface does not dry within a day, or a sheet would mark it.
    """
    not_after = _dried_by(start, start + timedelta(days=1), simulation)
    if not_after is None or not simulation.job.slab.covers:
        return SurfacePlan(not_after, None)
    drawn = start + COVERING
    frost = drawn if freezes_from is None else half_hour_down(freezes_from)
    choice = SurfaceChoice("sheet-blankets", start, drawn, _hours(start, drawn), 0.0)
    until = min(max(drawn, frost, key=_seconds), start + timedelta(days=1), key=_seconds)
    return _cover_plan(start, not_after, choice, simulation, cover_from=None, until=until)


def _cover_plan(
    start: datetime,
    not_after: datetime | None,
    choice: SurfaceChoice,
    simulation: Simulation,
    *,
    cover_from: datetime | None,
    until: datetime,
) -> SurfacePlan:
    """Return the plan of one way to cover the bare surface, from when and until when it takes."""
    rule = simulation.practice.rules["surface.bare-time"]
    task = SurfaceTask(
        work="cover",
        start=start,
        not_after=_no_earlier(start, not_after),
        cover_from=cover_from,
        until=until,
        finish_recorded=simulation.job.placement.finished is not None,
        choices=(choice,),
        figures=(Figure("limit", _allowed_loss(simulation), "mm"),),
        source=rule.source,
        mark=rule.mark,
    )
    return SurfacePlan(not_after, task)


def _laying(
    start: datetime, ready: datetime, bare: _Bare, simulation: Simulation, watering: Watering
) -> SurfaceChoice:
    """Return how the cover that cures the slab is laid, once a step leaves no mark.

    Nobody comes at night. A sheet that is held clear of it bridges the hours for which the bare surface
    cannot wait: at night, and before a frost. By day fog does.
    """
    area, morning = simulation.job.slab.area, by_day(ready) + COVERING
    frosty = _is_frosty(watering) and _is_before(bare.freezes, morning)
    store_mm = simulation.practice.methods[_COVER].store_mm
    soaked = 0.0 if _is_dry_laid(simulation, watering) else store_mm * area
    laid = by_day(ready)
    ends = laid + COVERING
    freezes = _is_before(bare.freezes, laid)
    if not freezes and not _is_before(bare.dries, laid):
        return SurfaceChoice("lay", laid, ends, _hours(laid, ends), soaked)
    if freezes or frosty or _seconds(ready) < _seconds(laid):
        return SurfaceChoice("sheet-lay", start, ends, 2.0 * _hours(laid, ends), soaked)
    fogged = _likely_loss(start, laid, simulation) * area
    return SurfaceChoice("fog-lay", start, ends, _hours(start, ends), fogged + soaked, soaked)


def _is_before(when: datetime | None, other: datetime) -> bool:
    return when is not None and _seconds(when) < _seconds(other)


def _is_dry_laid(simulation: Simulation, watering: Watering) -> bool:
    """Return whether the cover is laid without water: a sheet keeps that of the slab, wet cloth freezes."""
    return _is_frosty(watering) or simulation.job.curing.method != _COVER


def _is_frosty(watering: Watering) -> bool:
    """Return whether frost keeps water off on the first day of curing."""
    return bool(watering) and watering[0].skipped_because == "frost"


def _filling(
    start: datetime,
    until: datetime,
    not_after: datetime,
    simulation: Simulation,
    dates: Dates,
    risks: tuple[Risk, ...],
) -> SurfaceTask:
    """Return how the crew fills the bare hours until the first water of the plan."""
    rule = simulation.practice.rules["surface.bare-time"]
    cover_from = _cover_from(start, until, dates) if simulation.job.slab.covers else None
    return SurfaceTask(
        work="damp",
        start=start,
        not_after=_no_earlier(start, not_after),
        cover_from=cover_from,
        until=until,
        finish_recorded=simulation.job.placement.finished is not None,
        choices=tuple(_choices(start, cover_from, until, simulation, _rains(start, until, risks))),
        figures=(
            Figure("bare_hours", (until.timestamp() - start.timestamp()) / HOUR_S, "h"),
            Figure("bare_loss", _likely_loss(start, until, simulation), "mm"),
            Figure("limit", _allowed_loss(simulation), "mm"),
        ),
        source=rule.source,
        mark=rule.mark,
    )


def _no_earlier(start: datetime, when: datetime | None) -> datetime | None:
    """Return the half hour before an instant, but not before the start; None where there is none."""
    return None if when is None else max(half_hour_down(when), start, key=_seconds)


def _cover_from(start: datetime, until: datetime, dates: Dates) -> datetime | None:
    """Return from when a step no longer marks the surface; None where a cover would lie for no time."""
    firm = dates.not_before(MilestoneKind.FINAL_SET)
    if firm is None:
        return None
    ready = half_hour_up(max(firm, start, key=_seconds))
    return ready if _seconds(ready + COVERING) < _seconds(until) else None


def _choices(
    start: datetime,
    cover_from: datetime | None,
    until: datetime,
    simulation: Simulation,
    rains: tuple[Risk, ...] = (),
) -> Iterator[SurfaceChoice]:
    """Yield the ways to fill the bare hours, the usual one first, with the crew's time and the water.

    Where rain is likely before the first water, one sheet keeps off both rain and drying until then. Compound
    that would be wet in that rain is no way, unless there is no other one.
    """
    dry = tuple(_ways_in_dry_weather(start, cover_from, until, simulation))
    ways = [each for each in dry if each.how not in COMPOUNDS or not washing_rains(start, rains)]
    if not ways and not simulation.job.slab.covers:
        ways = [*dry]
    if rains and simulation.job.slab.covers:
        covered = start + COVERING
        yield SurfaceChoice(SHEET_RAIN, start, covered, _hours(start, covered), 0.0)
        ways = [each for each in ways if each.how in COMPOUNDS]
    yield from ways


def _rains(start: datetime, until: datetime, risks: tuple[Risk, ...]) -> tuple[Risk, ...]:
    """Return the likely rains on the finished surface before its first water."""
    rains = (each for each in risks if each.code == RAIN)
    return tuple(each for each in rains if each.start < until and each.end > start)


def _ways_in_dry_weather(
    start: datetime, cover_from: datetime | None, until: datetime, simulation: Simulation
) -> Iterator[SurfaceChoice]:
    """Yield the ways to fill the bare hours that no rain meets, the usual one first.

    Wind takes fog away, and nobody fogs into the night: there a sheet, drawn over the slab from its edge, and
    compound come first. On a slab that a cover would mark, a clear compound does, and fog within an evening.
    """
    fogs = tuple(_fogging(start, cover_from, until, simulation))
    sprayed, covered = start + SPRAYING, start + COVERING
    way = "compound" if simulation.job.slab.covers else "clear-compound"
    compound = SurfaceChoice(way, start, sprayed, _hours(start, sprayed), 0.0)
    if not simulation.job.slab.covers:
        yield compound
        if _is_same_evening(start, until):
            yield from fogs
    elif (windy := _is_windy(start, cover_from or until, simulation)) or _is_at_night(cover_from):
        sheet = "sheet" if windy else "sheet-overnight"
        yield SurfaceChoice(sheet, start, covered, _hours(start, covered), 0.0)
        yield compound
        yield from fogs
    else:
        yield from fogs
        yield compound


def _fogging(
    start: datetime, cover_from: datetime | None, until: datetime, simulation: Simulation
) -> Iterator[SurfaceChoice]:
    """Yield the ways with fog: until a cover may be laid and, within an evening, until the first water."""
    area = simulation.job.slab.area
    if cover_from is not None:
        fogged = _likely_loss(start, cover_from, simulation) * area
        soaked = simulation.practice.methods[_COVER].store_mm * area
        ends = cover_from + COVERING
        yield SurfaceChoice("fog-cover", start, ends, _hours(start, ends), fogged + soaked, soaked)
    if cover_from is None or _is_same_evening(start, until):
        litres = _likely_loss(start, until, simulation) * area
        yield SurfaceChoice("fog", start, until, _hours(start, until), litres, 0.0)


def _is_at_night(when: datetime | None) -> bool:
    return when is not None and _seconds(by_day(when)) > _seconds(when)


def _is_windy(start: datetime, end: datetime, simulation: Simulation) -> bool:
    """Return whether the forecast's mean wind between two instants takes fog away."""
    if simulation.job.slab.exposure != "outdoors":
        return False
    known = simulation.weather.seconds
    within = (known >= _seconds(start) - HOUR_S) & (known <= _seconds(end))
    wind = simulation.weather.wind_ms[within]
    return bool(len(wind)) and float(wind.mean()) >= simulation.practice["surface.fog-wind"]


def _is_same_evening(start: datetime, until: datetime) -> bool:
    return start.date() == until.date() and until.time() <= SLEEPING_HOUR


def _hours(start: datetime, end: datetime) -> float:
    return timedelta(seconds=_seconds(end) - _seconds(start)) / timedelta(hours=1)
