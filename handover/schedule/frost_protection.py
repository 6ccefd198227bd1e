"""Protection from frost: whether, until when, and which blanket, by the same simulation as the dates."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from math import isclose
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.ensemble import CENTRAL
from handover.schedule.gate_evaluators import REACH_H
from handover.schedule.model import (
    SAME_BLANKET,
    Blanket,
    BlanketsLeftOn,
    MilestoneKind,
    Protection,
)
from handover.schedule.printed_times import COVERING, before_the_night, half_hour_down, half_hour_up
from handover.schedule.protection_period import largest_drop, laying_hours
from handover.schedule.quantiles import instant_after, share_to_wait_for
from handover.schedule.slab_age import hours_to_age
from handover.schedule.slab_simulation import cover_resistance, simulate_slab
from handover.schedule.temperature_log import with_log_correction

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation
    from handover.schedule.slab_simulation import SlabSimulation


_MEMBERS = 20  # under each blanket: enough for the cold end of a band, before the pour as in an issue
_HOURS = 14 * 24  # long enough to reach the strength under any sufficient blanket


@dataclass(frozen=True)
class TopUnderBlanket:
    """The top of some members while they are too weak for frost, under a blanket each; else infinite.

    Attributes:
        safe_h: When they are strong enough, shape (m,). [h]
        bare_c: Before a blanket may lie on them, shape (h+1, m). [degC]
        covered_c: From then on, shape (h+1, m). Where the bare top froze, from the hour in which it is clear
            of frost again: a blanket is not to blame for the hours before it. While ice melts, the top is
            near freezing under any blanket. [degC]
    """

    safe_h: Floats
    bare_c: Floats
    covered_c: Floats

    def coldest(self, resistance: Floats) -> Floats:
        """Return the coldest top that counts against each blanket; without one, all hours count."""
        covered, bare = (each.min(axis=0) for each in (self.covered_c, self.bare_c))
        return np.asarray(np.where(resistance > 0.0, covered, np.minimum(covered, bare)))


def members_to_try(n_last: int) -> NDArray[np.int_]:
    """Return the members of the concrete placed last that are tried under blankets, shape (m,)."""
    return np.arange(0, n_last, max(1, n_last // _MEMBERS))


def blankets_to_try(practice: Practice) -> tuple[float, ...]:
    """Return the resistances of the usual blankets in m2K/W, none first."""
    return (0.0, *practice.materials["blankets"]["resistances"])


def judge_blankets(
    slab: SlabSimulation, resistance: Floats, strong_h: Floats, job: JobRecord, practice: Practice
) -> TopUnderBlanket:
    """Return what blankets do to slabs that were simulated under them.

    Args:
        slab: The slabs.
        resistance: Of the blanket on each member, shape (m,). [m2K/W]
        strong_h: Equivalent age at which each is strong enough for frost, shape (m,). [h]
        job: When finishing ended, if it is known.
        practice: The rules.
    """
    freezing_c, hours = practice["frost.freezes-below"], slab.hours[:, np.newaxis]
    safe = hours_to_age(slab, strong_h)
    top = np.where(hours <= safe, slab.temperature_c[:, :, 0], np.inf)
    is_on = hours - 1.0 >= _hours_to_blankets(slab, job, practice)  # before, the top is as it was bare
    froze = np.where(is_on, np.inf, top).min(axis=0) < freezing_c
    thawed = np.logical_or.accumulate(is_on & (top >= practice["frost.no-water-below"]), axis=0)
    counts = is_on & (thawed | ~(froze & thawed[-1]) | (resistance <= 0.0))
    return TopUnderBlanket(safe, np.where(is_on, np.inf, top), np.where(counts, top, np.inf))


def _hours_to_blankets(slab: SlabSimulation, job: JobRecord, practice: Practice) -> Floats:
    """Return when a blanket goes on, in hours since placement, shape (m,); as the simulation lays it."""
    earliest, latest = laying_hours(job, slab.placed_s, practice)
    ready = hours_to_age(slab, slab.concrete.final_set_h)
    if job.placement.finished is not None:
        near_frost = slab.temperature_c[:, :, 0] <= practice["frost.no-water-below"]
        near_frost &= slab.hours[:, np.newaxis] >= earliest
        soon = np.where(near_frost.any(axis=0), slab.hours[near_frost.argmax(axis=0)], np.inf)
        ready = np.minimum(ready, soon)
    return np.clip(ready, earliest, latest)


def blankets_laid(simulation: Simulation, bare_freezes: datetime | None = None) -> datetime | None:
    """Return from when the blankets that cure the slab are laid, as simulated, the early end of the band.

    That is near a frost or at final set, not before finishing ends; at night it is the evening before, when
    they are held clear of the slab. On a slab whose last pass is done they lie before the bare top may
    freeze. None where no blankets cure it.

    Args:
        simulation: The slab.
        bare_freezes: From when the top may freeze without a cover; None: it does not.
    """
    if not simulation.is_insulated:
        return None
    last = simulation.ensemble.last_placed
    ready_h = _hours_to_blankets(simulation.slab, simulation.job, simulation.practice)[last]
    early_h = float(np.quantile(ready_h, 1.0 - simulation.share, method="inverted_cdf"))
    laid = instant_after(simulation.slab.placed_s[CENTRAL], early_h, simulation.job.zone)
    placement = simulation.job.placement
    finished = half_hour_up((placement.finished or placement.end).astimezone(simulation.job.zone))
    if laid is None:
        return None
    laid = before_the_night(half_hour_up(laid), finished)
    if bare_freezes is None or placement.finished is None:
        return laid
    in_time = half_hour_down(bare_freezes.astimezone(laid.tzinfo) - COVERING)
    return max(min(laid, in_time, key=datetime.timestamp), finished, key=datetime.timestamp)


def least_enough(blankets: Iterable[tuple[float, float]], freezing_c: float) -> float | None:
    """Return the first resistance whose coldest top is not below freezing, or None.

    Args:
        blankets: Resistance [m2K/W] and coldest top at the cold end of the band [degC], thinnest first.
        freezing_c: What counts as freezing. [degC]
    """
    return next((resistance for resistance, coldest_c in blankets if coldest_c >= freezing_c), None)


def plan_protection(simulation: Simulation, dates: Dates) -> Protection | None:
    """Return how to keep the slab from freezing, or None where the air stays mild until it is safe.

    Each usual blanket is tried on the slab in this weather. The first that keeps the top from freezing until
    the slab is strong enough, in the wanted share of the members, is the one to use.
    """
    if not calls_for_protection(simulation, dates):
        return None
    tried = _as_dated(_with_own_blanket(simulation, tuple(_try_blankets(simulation))), simulation, dates)
    enough = least_enough(
        ((each.resistance, each.coldest_surface_c) for each in tried),
        simulation.practice["frost.freezes-below"],
    )
    chosen = next((each for each in tried if each.resistance == enough), None)
    return Protection(
        blankets=tried,
        enough=enough,
        laid=cover_resistance(simulation.job, simulation.practice),
        until=None if chosen is None else chosen.frost_safe,
        bare_freezes_from=None
        if enough == 0.0
        else _before_blankets(tried[-1], blankets_laid(simulation, tried[0].freezes_from)),
        largest_drop_k=largest_drop(simulation.job, simulation.practice),
        drop_k=_drop(simulation, dates),
        edges=simulation.practice["frost.edges"],
        left_on=_left_on(simulation, dates, enough),
    )


def _before_blankets(under: Blanket, laid: datetime | None) -> datetime | None:
    """Return when the bare top may freeze; None where blankets that cure it are held over it by then."""
    bare = under.bare_freezes_from
    is_covered = bare is not None and laid is not None and (laid + COVERING).timestamp() <= bare.timestamp()
    return None if bare is None or is_covered else half_hour_down(bare)


def _left_on(simulation: Simulation, dates: Dates, enough: float | None) -> BlanketsLeftOn | None:
    """Return from when the slab stands repeated frost if its blankets stay on until then.

    Only where it comes out of cold protection too weak for the frosts ahead. Some members are simulated under
    the blankets of the record, else under those that are enough. A logger shows the slab as it lies.

    Args:
        simulation: The simulated job.
        dates: Its dates.
        enough: Resistance of the thinnest blanket that is enough; None: none is. [m2K/W]
    """
    job, practice = simulation.job, simulation.practice
    resistance = cover_resistance(job, practice) if simulation.is_insulated else enough
    if not (resistance and dates.dries_before_frost) or simulation.measurements.log_correction is not None:
        return None
    asked = max(gate.value or 0.0 for gate in practice.gates_of("freeze-thaw", job.slab.use))
    some = members_to_try(simulation.ensemble.n_last)
    ensemble, concrete = simulation.ensemble.subset(some), simulation.concrete.subset(some)
    strong_h = concrete.age_at_strength(asked)
    slab = simulate_slab(
        job,
        simulation.weather,
        ensemble,
        concrete,
        practice,
        cover=np.full(len(some), resistance),
        until_h=strong_h,
        blankets_until_h=strong_h,
    )
    met = hours_to_age(slab, strong_h)
    met = np.where(met > REACH_H, np.inf, met)
    shares = 0.5, share_to_wait_for(MilestoneKind.FREEZE_THAW, simulation.share)
    likely, late = (float(np.quantile(met, each, method="inverted_cdf")) for each in shares)
    placed_s, open_ = float(slab.placed_s[CENTRAL]), dates.not_before(MilestoneKind.FREEZE_THAW)
    soon, safe = (instant_after(placed_s, each, job.zone) for each in (likely, late))
    if safe is not None and open_ is not None and open_ <= safe:
        return None  # it gets there as soon without them
    return BlanketsLeftOn(resistance, asked, soon, safe)


def _as_dated(tried: tuple[Blanket, ...], simulation: Simulation, dates: Dates) -> tuple[Blanket, ...]:
    """Return the blankets, the top without any freezing from the hour that its risk has: one hour for both.

    The few members under each blanket may have another one. Under blankets no bare slab is simulated.
    """
    hour = None if simulation.is_insulated else _bare_frost(simulation, dates)
    return (
        tried
        if hour is None
        else tuple(each if each.resistance else replace(each, freezes_from=hour) for each in tried)
    )


def _bare_frost(simulation: Simulation, dates: Dates) -> datetime | None:
    """Return when the bare top may freeze before it is strong enough; None: not while it is known."""
    safe, slab = dates.not_before(MilestoneKind.FROST_SAFE), simulation.bare_slab
    time_s = slab.placed_s[CENTRAL] + slab.hours * HOUR_S
    frozen = simulation.coldest_bare_top_c < simulation.practice["frost.freezes-below"]
    frozen &= time_s < (np.inf if safe is None else safe.timestamp())
    if not frozen.any():
        return None
    return instant_after(
        float(slab.placed_s[CENTRAL]), float(slab.hours[frozen.argmax()]), simulation.job.zone
    )


def calls_for_protection(simulation: Simulation, dates: Dates) -> bool:
    """Return whether the air may come down to the cold-weather limit before the slab is safe from frost."""
    return simulation.is_cold_until(dates.not_before(MilestoneKind.FROST_SAFE))


def _try_blankets(simulation: Simulation) -> Iterator[Blanket]:
    """Yield the effect of each blanket, none first: some members are simulated under all of them at once.

    Cylinders and tickets correct their concrete, and a logger the model, as they do for the dates.
    """
    practice = simulation.practice
    stock, some = blankets_to_try(practice), members_to_try(simulation.ensemble.n_last)
    members = np.tile(some, len(stock))
    ensemble, concrete = simulation.ensemble.subset(members), simulation.concrete.subset(members)
    cover = np.repeat(stock, len(some))
    strong_h, correction = (
        concrete.age_at_strength(simulation.frost_strength()),
        simulation.measurements.log_correction,
    )
    slab = simulate_slab(
        simulation.job,
        simulation.weather,
        ensemble,
        concrete,
        practice,
        cover=cover,
        hours=_HOURS,
        until_h=strong_h if correction is None else None,  # a logger may show a younger slab
    )
    if correction is not None:
        slab = with_log_correction(slab, ensemble, concrete, correction.subset(members), practice)
    tops = judge_blankets(slab, cover, strong_h, simulation.job, practice)
    for at, resistance in enumerate(stock):
        yield _blanket(simulation, slab, resistance, slice(at * len(some), (at + 1) * len(some)), tops)


def _with_own_blanket(simulation: Simulation, tried: tuple[Blanket, ...]) -> tuple[Blanket, ...]:
    """Return the blankets tried, by resistance, with that of the record as the dates and risks see it.

    Its slab is simulated already, with every member.
    """
    if not simulation.is_insulated:
        return tried
    resistance = cover_resistance(simulation.job, simulation.practice)
    slab, last = simulation.slab, simulation.ensemble.last_placed
    strong_h = simulation.concrete.age_at_strength(simulation.frost_strength())
    cover = np.full(slab.placed_s.shape, resistance)
    tops = judge_blankets(slab, cover, strong_h, simulation.job, simulation.practice)
    own = _blanket(simulation, slab, resistance, last, tops)
    others = (
        _no_worse(each, own) if each.resistance > resistance else each
        for each in tried
        if not isclose(each.resistance, resistance, rel_tol=SAME_BLANKET)
    )
    return tuple(sorted((*others, own), key=lambda each: each.resistance))


def _no_worse(thicker: Blanket, own: Blanket) -> Blanket:
    """Return the effect of a thicker blanket, no worse than that of the record's.

    Each member is as warm under it. But it is tried on few of them: where frost takes hold in a tenth of the
    members, a few show it and all do not, or the other way round.
    """
    safe = [each for each in (thicker.frost_safe, own.frost_safe) if each is not None]
    return replace(
        thicker,
        coldest_surface_c=max(thicker.coldest_surface_c, own.coldest_surface_c),
        frost_safe=min(safe, key=datetime.timestamp, default=None),
        freezes_from=None if own.freezes_from is None else thicker.freezes_from,
    )


def _blanket(
    simulation: Simulation, slab: SlabSimulation, resistance: float, under: slice, tops: TopUnderBlanket
) -> Blanket:
    """Return the effect of a blanket.

    Args:
        simulation: The simulated job.
        slab: The slab under the blankets.
        resistance: Resistance of this blanket. [m2K/W]
        under: The members under it.
        tops: All that were tried.
    """
    cold, late = 1.0 - simulation.share, share_to_wait_for(MilestoneKind.FROST_SAFE, simulation.share)
    freezing_c = simulation.practice["frost.freezes-below"]
    bare_c, covered_c = tops.bare_c[:, under], tops.covered_c[:, under]

    def freezes(top_c: Floats) -> float:
        frozen = np.quantile(top_c, cold, axis=1, method="inverted_cdf") < freezing_c
        return float(slab.hours[frozen.argmax()]) if frozen.any() else np.inf

    before = freezes(bare_c)
    hours = {
        "safe": float(np.quantile(tops.safe_h[under], late, method="inverted_cdf")),
        "frozen": freezes(covered_c) if resistance > 0.0 else min(freezes(covered_c), before),
        "bare": before,
    }
    instants = {
        name: instant_after(slab.placed_s[CENTRAL], each, simulation.job.zone) for name, each in hours.items()
    }
    coldest = tops.coldest(np.full(tops.safe_h.shape, resistance))[under]
    return Blanket(
        resistance=resistance,
        coldest_surface_c=float(np.quantile(coldest, cold, method="inverted_cdf")),
        frost_safe=instants["safe"],
        freezes_from=instants["frozen"],
        bare_freezes_from=instants["bare"],
    )


def _drop(simulation: Simulation, dates: Dates) -> float | None:
    """Return how far the slab would cool in the first day after the cover comes off, or None without a cover.

    The slab's middle at that hour, less the coldest air of the next day at the cold end of the band. [K]
    """
    ends = dates.not_before(MilestoneKind.PROTECTION_ENDS)
    if not simulation.is_insulated or ends is None:
        return None
    end_hour = int((ends.timestamp() - simulation.slab.placed_s[CENTRAL]) / HOUR_S)
    # Past the end of the simulation, its last day is repeated.
    hour = min(end_hour, len(simulation.slab.hours) - 1 - 24)
    last = simulation.ensemble.last_placed
    day = simulation.slab.air.air_c[hour : hour + 24, last]
    coldest = float(simulation.cold_end(day).min())
    return max(float(simulation.slab.temperature_c[hour, CENTRAL, 1]) - coldest, 0.0)
