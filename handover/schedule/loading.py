"""What the crew loads before the pour, from the risks and tasks that are still ahead at the time of issue."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from handover.base.arrays import HOUR_S
from handover.practice.rules import general_rules, practice
from handover.schedule.cover_times import (
    bare_frost,
    early_frosts,
    is_sheet_in_doubt,
    is_soft,
    soft_top_cover,
    ways_left,
)
from handover.schedule.daily_history import peak_drying
from handover.schedule.model import BURLAP, RAIN, SHEET, MilestoneKind
from handover.schedule.printed_times import COVERING
from handover.schedule.tasks import (
    BLANKETS_OFF,
    BLANKETS_ON,
    BRING_BLANKETS,
    BUILD_RIM,
    COVERS,
    LAY_HOSE,
    LOOK_COAT,
    LOOK_JOINTS,
    RUB_EDGES,
    SURFACE,
    UNDATED,
    cover_tasks,
    is_over,
    waterings_ahead,
    with_tasks,
)
from handover.weather.daylight import sun_height

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Protection, SurfaceTask, Task

MaterialCode = Literal[
    "shade-water",
    "windbreak",
    "vented-heat",
    "fog-nozzle",
    "evaporation-retarder",
    "rain-plastic",
    "rain-plastic-wide",
    "compound",
    "clear-compound",
    "plastic",
    "white-plastic",
    "boards",
    "burlap",
    "burlap-plastic",
    "burlap-or-plastic",
    "saw",
    "saw-in-frost",
    "respirator",
    "patch",
    "lights",
    "pond-rim",
    "soaker-hose",
    "timer",
    "blankets",
    "blankets-laid",
    "blankets-owner",
    "plastic-over-blankets",
    "plastic-after-blankets",
]
"""In the order in which a crew uses them."""

OF_RISK: dict[str, MaterialCode] = {
    "windbreak": "windbreak",
    "fog": "fog-nozzle",
    "evaporation-retarder": "evaporation-retarder",
    RAIN: "rain-plastic",
}
"""What a risk, or a measure against it, asks for."""

OF_WAY: dict[str, tuple[MaterialCode | None, ...]] = {
    "fog-cover": ("fog-nozzle", None),
    "fog": ("fog-nozzle",),
    "lay": (None,),
    "fog-lay": ("fog-nozzle", None),
    "compound": ("compound",),
    "clear-compound": ("clear-compound", "fog-nozzle"),
    "compound-after-rain": ("rain-plastic", "compound"),
    "compound-after-cover": ("plastic", "compound"),
    "cover-for-compound": ("plastic",),
    "sheet": ("plastic", "boards"),
    "sheet-overnight": ("plastic", "boards"),
    "sheet-rain": ("rain-plastic",),
    "sheet-blankets": ("plastic", "boards"),
    "sheet-lay": ("plastic", "boards", None),
}
"""What a way to keep the finished surface damp asks for; None: the cover of the slab."""

OF_METHOD: dict[str, MaterialCode] = {SHEET: "plastic", BURLAP: "burlap-plastic"}
"""The cover that cures the slab."""

OF_BETWEEN: dict[str, MaterialCode] = {SHEET: "plastic", BURLAP: "burlap"}
"""The cover between the waterings."""

OF_EDGE: dict[str | None, MaterialCode] = {"curing compound": "compound"}
"""What a bare edge gets once its forms are stripped, by what cures the slab; a cover that lies does both."""

_BLANKETS = ("blankets", "blankets-laid", "blankets-owner")


@dataclass(frozen=True)
class Material:
    """One thing to load.

    Attributes:
        code: What.
        resistance: Of the blankets; None for another thing. [m2K/W]
        at_edges: What is enough at edges and corners; None: the same, or not known. [m2K/W]
        protection_factor: Of the respirator; None for another thing. [1]
        of_record: Whether the blankets are those of the record; else they are the thinnest that are enough.
    """

    code: MaterialCode
    resistance: float | None = None
    at_edges: float | None = None
    protection_factor: float | None = None
    of_record: bool = False


def materials_to_load(schedule: CureSchedule, job: JobRecord) -> tuple[Material, ...]:
    """Return what the crew needs at the slab, each once, in the order of use."""
    schedule = with_tasks(schedule, job)
    found = dict.fromkeys(
        [
            *_for_heat(schedule),
            *_for_risks(schedule),
            *_for_surface(schedule, job),
            *_for_between(schedule),
            *_for_coat(schedule),
            *_for_edges(schedule),
            *_for_saw(schedule),
            *_for_dark(schedule, job),
            *_for_hose(schedule),
            *_for_cold(schedule, job),
            *_for_bare_frost(schedule),
            *_after_blankets(schedule),
            *_for_soft(schedule, job),
        ]
    )
    if Material("plastic") in found:
        found.pop(Material("burlap-or-plastic"), None)
    if any(each.code in _BLANKETS for each in found):
        found[Material("plastic-over-blankets")] = None
        found.pop(Material("plastic-after-blankets"), None)  # the same does for it
    if Material("plastic") in found and is_white_best(schedule, job):
        found = {Material("white-plastic") if each.code == "plastic" else each: None for each in found}
    if soft_top_cover(job) == "plastic":
        rain = {Material("rain-plastic"): Material("rain-plastic-wide")}
        found = {rain.get(each, each): None for each in found}
    order = get_args(MaterialCode)
    return tuple(sorted(found, key=lambda each: order.index(each.code)))


def is_white_best(schedule: CureSchedule, job: JobRecord) -> bool:
    """Return whether plastic of no colour in the record has to be white: it lies in the sun in hot air."""
    if job.curing.colour is not None or job.slab.exposure != "outdoors":
        return False
    warmest_c = float(schedule.weather.air_c.max())
    return schedule.has_caution("hot-air") or warmest_c >= general_rules()["cover.white-from"]


def _for_heat(schedule: CureSchedule) -> Iterator[Material]:
    """Yield shade and water to drink for people who work in hot air."""
    if is_hot_work(schedule):
        yield Material("shade-water")


def _for_risks(schedule: CureSchedule) -> Iterator[Material]:
    for each in schedule.risks:
        if each.code in OF_RISK and schedule.is_ahead(each.end):
            yield Material(OF_RISK[each.code])


def _for_surface(schedule: CureSchedule, job: JobRecord) -> Iterator[Material]:
    """Yield what the usual way that is left asks for; no sheet where it would mark the slab, or is to lie."""
    task = schedule.surface
    usual = next(iter(ways_left(schedule)), None)
    if task is None or usual is None or is_sheet_in_doubt(schedule):
        return
    for code in OF_WAY[usual.how]:
        if code == "boards":
            yield from _to_hold_clear(job, frost=bare_frost(schedule) is not None)
            continue
        if task.work == "compound" and code == "plastic" and not job.slab.covers:
            continue
        yield Material(code or _cover(schedule, task))


def _for_between(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the cover that lies between the waterings, while one of them is ahead; burlap comes with it."""
    if schedule.between is not None and schedule.curing_method != BURLAP and waterings_ahead(schedule):
        yield Material(OF_BETWEEN[schedule.between.cover])


def _for_soft(schedule: CureSchedule, job: JobRecord) -> Iterator[Material]:
    """Yield what keeps a cover against frost off the top that goes on while it would mark it."""
    if any(is_soft(schedule, each.start) for each in _tasks_left(schedule, BLANKETS_ON, *COVERS)):
        frosts = [*(each.start for each in early_frosts(schedule)), *filter(None, [bare_frost(schedule)])]
        yield from _to_hold_clear(job, frost=any(is_soft(schedule, each) for each in frosts))


def _to_hold_clear(job: JobRecord, *, frost: bool) -> Iterator[Material]:
    """Yield boards that hold a cover clear of a soft top; where none reaches across, what is used instead."""
    way = soft_top_cover(job)
    if way == "boards":
        yield Material("boards")
        return
    if way == "plastic":
        yield Material("plastic")
    if frost:
        yield Material("vented-heat")


def _for_coat(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the compound for what rain washed off."""
    if _tasks_left(schedule, LOOK_COAT):
        yield Material("compound")


def _for_edges(schedule: CureSchedule) -> Iterator[Material]:
    """Yield what bare edges get, and what mends them."""
    for each in _tasks_left(schedule, MilestoneKind.STRIP_EDGE_FORMS):
        if each.cover in OF_EDGE:
            yield Material(OF_EDGE[each.cover])
    if _tasks_left(schedule, RUB_EDGES):
        yield Material("patch")


def _tasks_left(schedule: CureSchedule, *kinds: str) -> list[Task]:
    """Return the crew's tasks of some kinds for which it is not too late."""
    return [each for each in schedule.tasks_of("crew", *kinds) if not is_over(schedule, each)]


def _saw_hours(schedule: CureSchedule) -> tuple[datetime, datetime] | None:
    """Return the first and the last hour of sawing; None where they are not known, or over."""
    saws = (each for each in _tasks_left(schedule, MilestoneKind.SAW_JOINTS) if each.how != UNDATED)
    return next(((each.start, each.end) for each in saws), None)


def _for_saw(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the saw, with a respirator if need be, while joints are to be sawn; also without a known hour.

    Where its water may freeze, it comes with what a dry cut asks for. Where nobody knows whether the joints
    were cut, it comes with the respirator in any case.
    """
    joints = schedule.joints
    for saw in _tasks_left(schedule, MilestoneKind.SAW_JOINTS, LOOK_JOINTS):
        yield Material("saw-in-frost" if saw.if_frost else "saw")
        factors = () if joints is None else tuple(each.protection_factor for each in joints.dust)
        needed = 0.0 if joints is None else joints.protection_factor
        if saw.kind == LOOK_JOINTS:
            needed = needed or min(filter(None, factors), default=0.0)
        if needed:
            yield Material("respirator", protection_factor=needed)


def _for_dark(schedule: CureSchedule, job: JobRecord) -> Iterator[Material]:
    """Yield lights where a task, or the usual way that is left, goes on after dusk or before dawn.

    A sheet that lies is no work any more, and nothing else is done in its place.
    """
    site = job.site
    if site.latitude is None or site.longitude is None:
        return
    for first, last in _hours_of_work(schedule):
        start = max(first.timestamp(), schedule.issued_at.timestamp())
        seconds = np.append(np.arange(start, last.timestamp(), HOUR_S / 2), last.timestamp())
        if (sun_height(seconds, site.latitude, site.longitude) < general_rules()["daylight.sun"]).any():
            yield Material("lights")


def _hours_of_work(schedule: CureSchedule) -> Iterator[tuple[datetime, datetime]]:
    """Yield from when to when the crew works; what has a day only, or can wait, is done by daylight."""
    for each in _tasks_left(schedule):
        if each.kind != SURFACE and not each.all_day and each.until is None:
            yield each.start, each.end
    usual = next(iter(ways_left(schedule)), None)
    if usual is not None and schedule.is_ahead(usual.until):
        yield usual.start, usual.until


def _for_hose(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the soaker hose that the crew lays, and its timer, or what the rim of a pond is made of."""
    if _tasks_left(schedule, BUILD_RIM):
        yield Material("pond-rim")
    for each in _tasks_left(schedule, LAY_HOSE):
        yield Material("soaker-hose")
        if each.how:
            yield Material("timer")


def _cover(schedule: CureSchedule, task: SurfaceTask) -> MaterialCode:
    if task.work == "cover":
        return OF_METHOD.get(schedule.curing_method, "burlap-or-plastic")
    between = schedule.between
    return OF_BETWEEN[between.cover] if between else "burlap-or-plastic"


def _for_cold(schedule: CureSchedule, job: JobRecord) -> Iterator[Material]:
    """Yield the blankets that the crew lays, or leaves with the owner, and heat where none is enough.

    They are those of the record where these are enough; where the slab needs none, the usual ones.
    """
    protection, lays = schedule.protection, bool(_tasks_left(schedule, BLANKETS_ON, *COVERS))
    if lays:
        yield _blankets_of_crew(protection, schedule, job)
    elif _tasks_left(schedule, BRING_BLANKETS):
        yield owner_blankets(schedule, job)
    if lays and protection is not None and protection.enough is None:
        yield Material("vented-heat")


def _blankets_of_crew(protection: Protection | None, schedule: CureSchedule, job: JobRecord) -> Material:
    """Return the blankets that the crew lays."""
    if protection is not None and protection.enough != 0:  # where none is enough, the thickest, with heat
        return _blankets("blankets", protection, job)
    usual = float(practice().materials["cover"].get(schedule.curing_method, 0.0))
    laid = job.curing.blanket_r_value or (usual if protection is None else protection.laid)
    return Material("blankets-laid", laid) if laid >= _thinnest() else Material("blankets", _thinnest())


def owner_blankets(schedule: CureSchedule, job: JobRecord) -> Material:
    """Return the blankets that the crew leaves with the owner.

    Where frost would harm the water alone, and not the slab, they are those of the record or the thinnest.
    """
    protection, own = schedule.protection, job.curing.blanket_r_value
    if protection is not None and protection.enough != 0:
        return _blankets("blankets-owner", protection, job)
    return Material("blankets-owner", own or _thinnest(), of_record=own is not None)


def _thinnest() -> float:
    """Return the resistance of the thinnest usual blanket, in m2K/W."""
    return float(min(practice().materials["blankets"]["resistances"]))


def bare_frost_hours(schedule: CureSchedule) -> tuple[datetime, datetime | None] | None:
    """Return from when the top may freeze with no blanket on it, and when the first one is laid.

    None where it does not, or where the blankets lie at the time of issue; without a time none is laid.
    """
    protection = schedule.protection
    bare = None if protection is None else protection.bare_freezes_from
    if bare is None:
        return None
    lays = schedule.blankets_on or next((each.start for each in cover_tasks(schedule)), None)
    ends = bare if lays is None else max(bare, lays + COVERING, key=datetime.timestamp)
    return (bare, lays) if schedule.is_ahead(ends) else None


def _for_bare_frost(schedule: CureSchedule) -> Iterator[Material]:
    """Yield what keeps frost off until a blanket can lie on the top."""
    if bare_frost_hours(schedule) is not None:
        yield Material("windbreak")
        yield Material("vented-heat")


def _after_blankets(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the plastic that goes on when the blankets come off before curing ends."""
    if any(each.cover == SHEET for each in _tasks_left(schedule, BLANKETS_OFF)):
        yield Material("plastic-after-blankets")


def _blankets(code: MaterialCode, protection: Protection, job: JobRecord) -> Material:
    """Return the blankets of the record if they are enough, else the least that is; else the thickest."""
    least = protection.enough or max((each.resistance for each in protection.blankets), default=0.0)
    edges, own = least * protection.edges, job.curing.blanket_r_value
    if own is not None and protection.suffices(own):
        return Material(code, own, edges if own < edges else None, of_record=True)
    return Material(code, least, edges)


@dataclass(frozen=True)
class PourWeather:
    """The air and the drying while the crew works on the fresh slab, as forecast.

    Attributes:
        warmest_c: Warmest air. [degC]
        coldest_c: Coldest air. [degC]
        warmest_at: When it is warmest, UTC.
        wind_ms: Strongest wind at 10 m. [m/s]
        windiest_at: When, UTC.
        until: The last hour of it, UTC.
        drying: Most that a wet surface loses, as the data sheet has it; 0: not known. [kg/m2/h]
        drying_at: When, UTC.
    """

    warmest_c: float
    coldest_c: float
    warmest_at: datetime
    wind_ms: float
    windiest_at: datetime
    until: datetime
    drying: float
    drying_at: datetime


def is_hot_work(schedule: CureSchedule) -> bool:
    """Return whether the air of the crew's hours is so warm that people need shade and cool water."""
    air = pour_weather(schedule)
    return air is not None and air.warmest_c > general_rules()["work.heat"]


def pour_weather(schedule: CureSchedule) -> PourWeather | None:
    """Return the air from the first placement on; None where its hours are past, or have no weather.

    It goes to the end of what the crew is asked to do at the fresh slab: final set, the joints, its surface.
    """
    final, saw = schedule.milestone(MilestoneKind.FINAL_SET), _saw_hours(schedule)
    ends = (
        final.not_before if final else None,
        saw[1] if saw else None,
        schedule.surface.until if schedule.surface else None,
        schedule.placement_end,
    )
    end = max((each for each in ends if each is not None), key=lambda each: each.timestamp())
    start = max(schedule.placement_start.astimezone(UTC), schedule.issued_at.astimezone(UTC))
    weather = schedule.weather
    first, last = (np.datetime64(each.astimezone(UTC).replace(tzinfo=None), "s") for each in (start, end))
    known = np.flatnonzero((weather.time >= first) & (weather.time <= last))
    if not known.size:
        return None
    warmest = known[schedule.air_c[known].argmax()]
    windiest = known[weather.wind_ms[known].argmax()]
    history, peak = schedule.history, peak_drying(schedule.history, first, last)
    return PourWeather(
        warmest_c=float(schedule.air_c[warmest]),
        coldest_c=float(schedule.air_c[known].min()),
        warmest_at=weather.time[warmest].item().replace(tzinfo=UTC),
        wind_ms=float(weather.wind_ms[windiest]),
        windiest_at=weather.time[windiest].item().replace(tzinfo=UTC),
        until=weather.time[known[-1]].item().replace(tzinfo=UTC),
        drying=0.0 if peak is None else float(history.evaporation[history.time == peak][0]),
        drying_at=start if peak is None else peak.astype("datetime64[s]").item().replace(tzinfo=UTC),
    )
