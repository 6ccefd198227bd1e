"""Protection from frost: whether, until when, and which blanket, by the same reckoning as the dates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.cases import CENTRAL, cases
from handover.schedule.course import HOUR
from handover.schedule.measures import age_reached
from handover.schedule.mix import concrete_of
from handover.schedule.model import Blanket, MilestoneKind, Protection
from handover.schedule.moments import late, moment
from handover.schedule.slab import cover_resistance, follow

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.schedule.cases import Cases
    from handover.schedule.course import Course
    from handover.schedule.mix import Concrete

    Floats = NDArray[np.float64]

_MEMBERS = 40  # enough for the cold end of a band
_DAYS = 14  # long enough to be strong under any blanket that is enough
_FREEZING_C = 0.0


def protection(course: Course, made_s: float) -> Protection | None:
    """Return how to keep the slab from freezing, or None where the air stays mild until it is safe.

    Each blanket in stock is tried on the slab in this weather; the first that keeps the top from freezing
    until the slab is strong enough, in the wanted share of the cases, is the one to use.
    """
    if not _called_for(course):
        return None
    resistances = course.practice.materials["blankets"]["resistances"]
    drawn = cases(course.job, course.weather, course.practice, made_s=made_s, members=_MEMBERS)
    concrete = concrete_of(course.job.mix, drawn, course.practice)
    tried = tuple(_try(course, drawn, concrete, resistance) for resistance in (0.0, *resistances))
    enough = (blanket for blanket in tried if blanket.coldest_surface_c >= _FREEZING_C)
    chosen = next(enough, None)
    return Protection(
        blankets=tried,
        enough=None if chosen is None else chosen.resistance,
        laid=cover_resistance(course.job, course.practice),
        until=None if chosen is None else chosen.frost_safe,
        largest_drop_k=course.practice["frost.drop"],
        drop_k=_drop(course),
        edges=course.practice["frost.edges"],
    )


def _called_for(course: Course) -> bool:
    """Tell whether the air may come down to the cold-weather limit before the slab is safe from frost."""
    safe = course.date(MilestoneKind.FROST_SAFE)
    young = course.slab_s(CENTRAL) <= (np.inf if safe is None else safe.timestamp())
    air = course.slab.air.air_c[young][:, course.cases.last]
    coldest = float(course.cold_end(air).min())
    return coldest <= course.practice["frost.cold-weather"]


def _try(course: Course, drawn: Cases, concrete: Concrete, resistance: float) -> Blanket:
    """Follow the slab of fewer members under a blanket."""
    job, practice = course.job, course.practice
    slab = follow(job, course.weather, drawn, concrete, practice, cover=resistance, days=_DAYS)
    under = course.with_slab(drawn, concrete, slab)
    safe = age_reached(under, concrete.age_at_strength(course.frost_strength()))
    last = drawn.last
    young = slab.hours[:, np.newaxis] <= safe[last]
    top = np.where(young, slab.temperature_c[:, last, 0], np.inf).min(axis=0)
    return Blanket(
        resistance=resistance,
        coldest_surface_c=float(np.quantile(top, 1.0 - course.share, method="inverted_cdf")),
        frost_safe=late(safe, under),
        freezes_from=_freezes_from(under, young),
    )


def _freezes_from(under: Course, young: NDArray[np.bool_]) -> datetime | None:
    """Return the first hour in which the top may freeze, at the cold end of the band; None: it does not."""
    last = under.cases.last
    top = np.where(young, under.slab.temperature_c[:, last, 0], np.inf)
    cold_end = np.quantile(top, 1.0 - under.share, axis=1, method="inverted_cdf")
    frozen = np.flatnonzero(cold_end < _FREEZING_C)
    if not len(frozen):
        return None
    return moment(under.slab.placed_s[CENTRAL], float(under.slab.hours[frozen[0]]), under.job.zone)


def _drop(course: Course) -> float | None:
    """Return how far the slab would cool in the first day after the cover comes off, or None without a cover.

    The slab's middle at that hour, less the coldest air of the next day at the cold end of the band. [K]
    """
    ends = course.date(MilestoneKind.CURING_ENDS)
    if not course.covered or ends is None:
        return None
    asked = int((ends.timestamp() - course.slab.placed_s[CENTRAL]) / HOUR)
    hour = min(asked, len(course.slab.hours) - 1 - 24)  # past its end the last day stands for the later ones
    last = course.cases.last
    day = course.slab.air.air_c[hour : hour + 24, last]
    coldest = float(course.cold_end(day).min())
    return max(float(course.slab.temperature_c[hour, CENTRAL, 1]) - coldest, 0.0)
