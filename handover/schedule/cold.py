"""Protection from frost: whether, until when, and which blanket, by the same reckoning as the dates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.cases import CENTRAL
from handover.schedule.course import HOUR
from handover.schedule.logged import as_taught
from handover.schedule.measures import age_reached
from handover.schedule.model import Blanket, MilestoneKind, Protection
from handover.schedule.moments import moment
from handover.schedule.slab import cover_resistance, follow

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from handover.schedule.course import Course
    from handover.schedule.slab import Slab

    Floats = NDArray[np.float64]

_MEMBERS = 30  # enough for the cold end of a band
_DAYS = 14  # long enough to be strong under any blanket that is enough
_FREEZING_C = 0.0


def protection(course: Course) -> Protection | None:
    """Return how to keep the slab from freezing, or None where the air stays mild until it is safe.

    Each blanket in stock is tried on the slab in this weather; the first that keeps the top from freezing
    until the slab is strong enough, in the wanted share of the cases, is the one to use.
    """
    if not _called_for(course):
        return None
    tried = tuple(_tried(course))
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


def _tried(course: Course) -> Iterator[Blanket]:
    """Yield what each blanket would do, none first: some of the members followed under all of them at once.

    Cylinders and tickets have told of their concrete, and a logger of the model, as they have for the dates.
    """
    practice = course.practice
    stock = (0.0, *practice.materials["blankets"]["resistances"])
    some = np.arange(0, course.cases.lasts, max(1, course.cases.lasts // _MEMBERS))
    who = np.tile(some, len(stock))
    cases, concrete = course.cases.of(who), course.concrete.of(who)
    cover = np.repeat(stock, len(some))
    slab = follow(course.job, course.weather, cases, concrete, practice, cover=cover, days=_DAYS)
    if course.measured.learnt is not None:
        slab = as_taught(slab, cases, concrete, course.measured.learnt.of(who), practice)
    safe = age_reached(
        course.with_slab(cases, concrete, slab), concrete.age_at_strength(course.frost_strength())
    )
    top = np.where(slab.hours[:, np.newaxis] <= safe, slab.temperature_c[:, :, 0], np.inf)
    for at, resistance in enumerate(stock):
        under = slice(at * len(some), (at + 1) * len(some))
        yield _blanket(course, slab, resistance, safe[under], top[:, under])


def _blanket(course: Course, slab: Slab, resistance: float, safe_h: Floats, top_c: Floats) -> Blanket:
    """Return what a blanket would do.

    Args:
        course: The job.
        slab: Its slab under the blankets.
        resistance: Of this one. [m2K/W]
        safe_h: When its members are strong enough for frost, shape (m,). [h]
        top_c: Their tops while they are too weak, then infinite, shape (h+1, m). [degC]
    """
    cold = 1.0 - course.share
    frozen = np.quantile(top_c, cold, axis=1, method="inverted_cdf") < _FREEZING_C
    hours = {
        "safe": float(np.quantile(safe_h, course.share, method="inverted_cdf")),
        "frozen": float(slab.hours[frozen.argmax()]) if frozen.any() else np.inf,
    }
    instants = {name: moment(slab.placed_s[CENTRAL], each, course.job.zone) for name, each in hours.items()}
    return Blanket(
        resistance=resistance,
        coldest_surface_c=float(np.quantile(top_c.min(axis=0), cold, method="inverted_cdf")),
        frost_safe=instants["safe"],
        freezes_from=instants["frozen"],
    )


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
