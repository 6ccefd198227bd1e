"""What the crew loads before the pour, from the risks and tasks that are still ahead at the time of issue."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Literal

import numpy as np

from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.schedule.model import CureSchedule, SurfaceTask

MaterialCode = Literal[
    "windbreak",
    "fog-nozzle",
    "evaporation-retarder",
    "rain-plastic",
    "plastic",
    "boards",
    "burlap",
    "burlap-plastic",
    "burlap-or-plastic",
    "compound",
    "clear-compound",
    "blankets",
    "blankets-laid",
    "blankets-owner",
    "vented-heat",
]

OF_RISK: dict[str, MaterialCode] = {
    "windbreak": "windbreak",
    "fog": "fog-nozzle",
    "evaporation-retarder": "evaporation-retarder",
    "rain-on-fresh": "rain-plastic",
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
    "sheet": ("plastic", "boards"),
}
"""What a way to keep the finished surface damp asks for; None: the cover of the slab."""

OF_METHOD: dict[str, MaterialCode] = {"plastic sheet": "plastic", "wet burlap": "burlap-plastic"}
"""The cover that cures the slab."""

OF_BETWEEN: dict[str, MaterialCode] = {"plastic sheet": "plastic", "wet burlap": "burlap"}
"""The cover between the waterings."""


@dataclass(frozen=True)
class Material:
    """One thing to load.

    Attributes:
        code: What.
        resistance: Of the blankets that are enough; None for another thing. [m2K/W]
        at_edges: The same at edges and corners.
    """

    code: MaterialCode
    resistance: float | None = None
    at_edges: float | None = None


def materials_to_load(schedule: CureSchedule) -> tuple[Material, ...]:
    """Return what the crew needs at the slab, each once, what is needed first first."""
    found = dict.fromkeys([*_for_risks(schedule), *_for_surface(schedule), *_for_cold(schedule)])
    if Material("plastic") in found:
        found.pop(Material("burlap-or-plastic"), None)
    return tuple(found)


def _is_ahead(schedule: CureSchedule, when: datetime) -> bool:
    return when.astimezone(UTC) > schedule.issued_at.astimezone(UTC)


def _for_risks(schedule: CureSchedule) -> Iterator[Material]:
    for each in schedule.risks:
        if each.code in OF_RISK and _is_ahead(schedule, each.end):
            yield Material(OF_RISK[each.code])


def _for_surface(schedule: CureSchedule) -> Iterator[Material]:
    """Yield what the usual way that is left asks for."""
    task = schedule.surface
    left = (each for each in task.choices if _is_ahead(schedule, each.until)) if task else ()
    usual = next(iter(left), None)
    if task is None or usual is None:
        return
    for code in OF_WAY[usual.how]:
        yield Material(code or _cover(schedule, task))


def _cover(schedule: CureSchedule, task: SurfaceTask) -> MaterialCode:
    if task.work == "cover":
        return OF_METHOD.get(schedule.curing_method, "burlap-or-plastic")
    between = schedule.between
    return OF_BETWEEN[between.cover] if between else "burlap-or-plastic"


def _for_cold(schedule: CureSchedule) -> Iterator[Material]:
    """Yield the blankets that the crew lays, and heat where no blanket helps."""
    protection, on = schedule.protection, schedule.blankets_on
    lays = on is not None and _is_ahead(schedule, on)
    covers = [each for each in frost_covers(schedule) if _is_ahead(schedule, each.start)]
    lays = lays or any(each.by_crew for each in covers)
    if protection is None:
        return
    bare = protection.bare_freezes_from
    if lays and protection.enough:
        yield Material("blankets", protection.enough, protection.enough_at_edges)
    elif lays and protection.enough == 0:
        yield Material("blankets-laid", protection.laid)
    elif covers and protection.enough:
        yield Material("blankets-owner", protection.enough, protection.enough_at_edges)
    if (lays and protection.enough is None) or (bare is not None and _is_ahead(schedule, bare)):
        yield Material("vented-heat")


@dataclass(frozen=True)
class PourWeather:
    """The air while the concrete is fresh, as forecast.

    Attributes:
        warmest_c: Warmest air. [degC]
        coldest_c: Coldest air. [degC]
        warmest_at: When it is warmest, UTC.
        wind_ms: Strongest wind at 10 m. [m/s]
        windiest_at: When, UTC.
    """

    warmest_c: float
    coldest_c: float
    warmest_at: datetime
    wind_ms: float
    windiest_at: datetime


def pour_weather(schedule: CureSchedule) -> PourWeather | None:
    """Return the air from the first placement to final set; None where that is past, or has no weather."""
    final = schedule.milestone(MilestoneKind.FINAL_SET)
    end = final.not_before if final is not None and final.not_before is not None else schedule.placement_end
    start = max(schedule.placement_start.astimezone(UTC), schedule.issued_at.astimezone(UTC))
    weather = schedule.weather
    first, last = (np.datetime64(each.astimezone(UTC).replace(tzinfo=None), "s") for each in (start, end))
    known = np.flatnonzero((weather.time >= first) & (weather.time <= last))
    if not known.size:
        return None
    warmest = known[weather.air_c[known].argmax()]
    windiest = known[weather.wind_ms[known].argmax()]
    return PourWeather(
        warmest_c=float(weather.air_c[warmest]),
        coldest_c=float(weather.air_c[known].min()),
        warmest_at=weather.time[warmest].item().replace(tzinfo=UTC),
        wind_ms=float(weather.wind_ms[windiest]),
        windiest_at=weather.time[windiest].item().replace(tzinfo=UTC),
    )
