"""The same job begun at each of several hours: what speaks against each, before the pour.

Each start is a `Simulation` of its own, of as many members as a schedule and with the same draws, and has its
dates and risks by the same functions: so a start prints the hours that the plan of a record with that start
prints. All starts have the same errors of the forecast, so that two differ by their hour alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.jobs.record import AFTER_THE_POUR, JobRecord, Placement
from handover.schedule.basis import basis_of
from handover.schedule.between import plan_covered
from handover.schedule.crews_sheet import saw_under_crews_sheet
from handover.schedule.ensemble import MEMBERS
from handover.schedule.frost_protection import (
    blankets_to_try,
    calls_for_protection,
    judge_blankets,
    least_enough,
    members_to_try,
)
from handover.schedule.joints import cut_hours, is_sawn_in_parts, saw_of
from handover.schedule.json_types import Instant, NotNegative, Number, NumberOrNull, means
from handover.schedule.measurement_result import MeasurementResult
from handover.schedule.milestones import compute_dates
from handover.schedule.mix import after_first_day, concrete_properties
from handover.schedule.model import RAIN, Figure, MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import half_hour_up
from handover.schedule.quantiles import early_instant
from handover.schedule.risks import STEP_S, find_risks, hottest_inside, loss_while_fresh
from handover.schedule.rule_selection import rules_for
from handover.schedule.simulation import (
    SHARE,
    DeliveredConcrete,
    Simulation,
    bare_before_sheet,
    prepare_ensemble,
    with_coordinates,
)
from handover.schedule.slab_simulation import DAYS, cover_resistance, simulate_slab
from handover.schedule.timer import attended_windows
from handover.schedule.watering import freezing_ahead
from handover.weather.daylight import sun_height

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from handover.jobs.time_windows import TimeWindow
    from handover.practice.rules import Practice
    from handover.schedule.dates import Dates
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.model import CureSchedule, Milestone, Risk
    from handover.weather.series import WeatherSeries

_HOURS = 7 * 24  # of each simulation: past the first week of young concrete the forecast says little

_KINDS = (
    MilestoneKind.INITIAL_SET,
    MilestoneKind.FINAL_SET,
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
    MilestoneKind.FROST_SAFE,
)
"""The dates that are compared."""

_NOBODY_NEEDED = ("plastic sheet",)
"""Methods with a first water that a sheet keeps in: nobody has to be there at that hour."""

LEVELS = ("watch", "precaution")
"""The two limits of drying."""

HARM = ("frost-any-blanket", "frost-before-blankets", "frost", "rain", "drying")
"""Codes of what harms the slab, the most serious first."""

HARDSHIP = ("finish-dark", "saw-dark", "nobody", "saw-in-stages", "start-dark")
"""Codes of what is hard on people, likewise."""


@dataclass(frozen=True)
class Concern:
    """One thing that speaks against a start."""

    code: Annotated[str, means("What it is.", one_of=(*HARM, *HARDSHIP))]
    at: Annotated[Instant | None, means("When it begins.")]
    until: Annotated[Instant | None, means("When it ends, or until when nobody is there.")] = None
    figures: Annotated[tuple[Figure, ...], means("Its numbers.")] = ()


@dataclass(frozen=True)
class SawHours:
    """When the joints may be sawn."""

    opens: Annotated[
        Instant,
        means("Not before, by the saw of the record; part by part, the trial cut of the part placed first."),
    ]
    closes: Annotated[
        Instant | None,
        means("When it is too late; part by part, for the part placed last; null: never."),
    ]
    in_stages: Annotated[
        bool, means("Whether it is sawn part by part, because no hour fits all of the slab.")
    ]
    daylight_h: Annotated[
        NumberOrNull | None, means("Hours of daylight in the window; null where the place is not known. [h]")
    ]


@dataclass(frozen=True)
class StartHour:
    """The job begun at one hour."""

    start: Annotated[Instant, means("First concrete placed.")]
    end: Annotated[Instant, means("Last concrete placed.")]
    peak_drying: Annotated[
        NotNegative, means("Highest loss from the surface until the concrete placed first has set. [kg/m2/h]")
    ]
    peak_drying_at: Annotated[Instant, means("When that is.")]
    watch_hours: Annotated[Number, means("Hours at or above the lower limit. [h]")]
    precaution_hours: Annotated[Number, means("Hours at or above the upper limit. [h]")]
    dark_finishing_h: Annotated[
        NumberOrNull | None,
        means("Hours of darkness from initial to final set; null where the place is not known. [h]"),
    ]
    initial_set: Annotated[Instant | None, means("Of the concrete placed last, best estimate.")]
    final_set: Annotated[Instant | None, means("Of the concrete placed last, best estimate.")]
    finish_first_by: Annotated[
        Instant | None, means("Final set of the concrete placed first, early end of the band.")
    ]
    saw: Annotated[SawHours | None, means("Null where no joints are sawn.")]
    first_water: Annotated[Instant | None, means("Not before; null where the curing has no first water.")]
    attended: Annotated[
        bool | None,
        means(
            "Whether somebody is there then; null where nobody has to be: a plastic sheet, or no first water."
        ),
    ]
    frost_from: Annotated[
        Instant | None,
        means("When the top may freeze before it is strong enough, as the record cures it; in a week."),
    ]
    frost_safe: Annotated[Instant | None, means("When it is strong enough for frost, cautious.")]
    blanket: Annotated[
        NumberOrNull | None,
        means("Least usual blanket that keeps it from freezing; 0: none; null: none is enough. [m2K/W]"),
    ]
    freezes_bare: Annotated[
        bool,
        means("Whether the top may freeze before a blanket may lie on it: before it is finished and set."),
    ]
    rain_mm: Annotated[NotNegative, means("Rain that is likely on the fresh concrete. [mm]")]
    rain_before_set_mm: Annotated[
        NotNegative, means("The part of it that begins to fall before final set, while it is finished. [mm]")
    ]
    concerns: Annotated[tuple[Concern, ...], means("What speaks against it, the most serious first.")]

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of what speaks against it."""
        return tuple(each.code for each in self.concerns)


@dataclass(frozen=True)
class RefusedStart:
    """A start at which the slab gets hotter than the calculation holds for: it has no hours."""

    start: Annotated[Instant, means("First concrete placed.")]
    hottest_inside_c: Annotated[Number, means("Highest temperature in the slab, at the hot end. [degC]")]


@dataclass(frozen=True)
class StartComparison:
    """The start hours of a job, compared."""

    job: Annotated[str, means("Id of the job.")]
    timezone: Annotated[str, means("IANA zone of the site; every time here has its offset.")]
    compared_at: Annotated[Instant, means("The time of the comparison.")]
    weather: Annotated[str, means("Source of the weather.")]
    typical_from: Annotated[
        Instant | None, means("From here on the weather is a typical day; null: the forecast covers all.")
    ]
    placing_h: Annotated[Number, means("From the first concrete to the last, at every start. [h]")]
    watch_limit: Annotated[Number, means("Lower limit of drying. [kg/m2/h]")]
    precaution_limit: Annotated[Number, means("Upper limit of drying. [kg/m2/h]")]
    inside_limit: Annotated[
        Number, means("Temperature in the slab up to which the calculation holds. [degC]")
    ]
    starts: Annotated[tuple[StartHour, ...], means("In order of time, without those that are refused.")]
    order: Annotated[
        tuple[int, ...], means("Indices of the starts, the best first: see `rank` of this module.")
    ]
    refused: Annotated[
        tuple[RefusedStart, ...], means("The starts at which the slab gets too hot for an estimate.")
    ] = ()

    @property
    def best(self) -> StartHour:
        """The start with the least against it."""
        return self.starts[self.order[0]]

    @property
    def runner_up(self) -> StartHour | None:
        """The next best start; None where only one was compared."""
        return self.starts[self.order[1]] if len(self.order) > 1 else None

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the site."""
        return ZoneInfo(self.timezone)


def compare_starts(
    job: JobRecord,
    weather: WeatherSeries,
    as_of: datetime,
    starts: Sequence[datetime],
    placing: timedelta,
    *,
    typical: WeatherSeries | None = None,
    share: float = SHARE,
    members: int = MEMBERS,
    rules: str | None = None,
) -> StartComparison:
    """Return the comparison of several starts of a job; it has no start where the slab is too hot at each.

    Args:
        job: The record. What it says of the placement is not used, but the temperature of the concrete.
        weather: Hourly, from the first start or before to a day after the last.
        as_of: Time of the comparison, aware.
        starts: First concrete placed, aware, in order of time, none twice.
        placing: From the first concrete to the last.
        typical: A typical year of the place, from which the hours past the forecast are drawn.
        share: Share of the members for which a "not before" is late enough.
        members: Size of the ensemble of each start: that of a schedule, so that both print the same hours.
        rules: Code of the rules, as for a schedule.

    Raises:
        UnusableInput: There are no such rules.
    """
    practice = rules_for(job, rules)[0]
    job = with_coordinates(job, weather)
    plan = partial(
        plan_cure,
        weather=weather,
        as_of=as_of,
        typical=typical,
        share=share,
        members=members,
        rules=rules,
    )
    jobs = [begin_at(job, each, placing) for each in starts]
    inputs = [
        prepare_ensemble(
            each,
            weather,
            as_of,
            each.placement.end.astimezone(UTC) + timedelta(days=DAYS, hours=1),
            practice=practice,
            members=members,
            typical=typical,
        )
        for each in jobs
    ]
    simulations = [
        _simulate(own, whole, drawn, practice, share)
        for own, (whole, drawn) in zip(jobs, inputs, strict=True)
    ]
    hottest, most = [hottest_inside(each) for each in simulations], practice["heat.inside-model"]
    compared = tuple(
        _comparer(each, practice, plan).start()
        for each, inside_c in zip(simulations, hottest, strict=True)
        if inside_c <= most
    )
    typical_from = simulations[-1].weather.typical_from
    ranks = [rank(each) for each in compared]
    return StartComparison(
        job=job.id,
        timezone=job.site.timezone,
        compared_at=as_of.astimezone(job.zone),
        weather=weather.source,
        typical_from=typical_from and typical_from.astimezone(job.zone),
        placing_h=placing / timedelta(hours=1),
        watch_limit=practice["drying.watch"],
        precaution_limit=practice["drying.precaution"],
        inside_limit=most,
        starts=compared,
        order=tuple(sorted(range(len(compared)), key=ranks.__getitem__)),
        refused=tuple(
            RefusedStart(each.start.astimezone(job.zone), inside_c)
            for each, inside_c in zip((one.placement for one in jobs), hottest, strict=True)
            if inside_c > most
        ),
    )


def rank(start: StartHour) -> tuple[Any, ...]:
    """Return by what a start is compared, point by point: an earlier point counts before all later ones.

    No score: first what harms the slab, the most serious first: the whole hours of frost before strength
    that no blanket keeps off, and those in which the bare top may freeze before it has set; the blanket that
    keeps frost off; the rain in whole millimetres, before final set and in all; the hours of fast drying.
    Then what is hard on people; then the drying below the limit. Drying counts by half hours, as it is
    printed. Of equal starts the earlier one comes first.
    """
    codes = start.codes
    return (
        _frost_hours(start, "frost-any-blanket", start.frost_safe),
        _frost_hours(start, "frost-before-blankets", start.final_set),
        start.blanket if "frost" in codes else 0.0,
        np.ceil(start.rain_before_set_mm),
        np.ceil(start.rain_mm),
        np.ceil(start.precaution_hours * 2.0) / 2.0,
        np.ceil(start.dark_finishing_h or 0.0) if "finish-dark" in codes else 0.0,
        *(code in codes for code in HARDSHIP[1:]),
        np.ceil(start.watch_hours * 2.0) / 2.0,
        round(start.peak_drying, 2),
        start.start.timestamp(),
    )


def _frost_hours(start: StartHour, code: str, until: datetime | None) -> float:
    """Return the hours from the first frost to an instant, where a concern is met; infinite if not known."""
    if code not in start.codes:
        return 0.0
    if start.frost_from is None or until is None:
        return float("inf")
    return max(1.0, float(np.ceil((until - start.frost_from) / timedelta(hours=1))))


def placing_time(job: JobRecord, practice: Practice) -> timedelta:
    """Return how long the placing takes by practice, from the volume of the slab; to the quarter hour."""
    hours = job.slab.area * job.slab.thickness / practice["placement.rate"]
    quarters = round(min(max(hours, practice["placement.shortest"]), practice["placement.longest"]) * 4)
    return timedelta(minutes=15 * quarters)


def usual_starts(as_of: datetime, zone: ZoneInfo, practice: Practice) -> tuple[datetime, ...]:
    """Return the start hours of the next two days, on full local hours between morning and afternoon."""
    return full_hours(as_of, as_of + practice.duration("start.window"), zone, practice)


def full_hours(
    after: datetime, until: datetime, zone: ZoneInfo, practice: Practice, *, at_night: bool = False
) -> tuple[datetime, ...]:
    """Return the full local hours after an instant and up to another, in order.

    Args:
        after: Aware; not itself a start.
        until: Aware; the last start that is possible.
        zone: Of the site.
        practice: Has the hours of the day at which a pour may begin.
        at_night: Whether every hour counts, and not only those of the day.
    """
    first, last = (practice[f"start.{each}"] for each in ("earliest", "latest"))
    begin = after.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    count = int((until - begin) / timedelta(hours=1))
    # A zone may be half an hour off: the full hour of its own clock counts.
    quarter = timedelta(minutes=15)
    instants = (begin + number * quarter for number in range(1, 4 * count + 5))
    local = (each.astimezone(zone) for each in instants if after < each <= until)
    return tuple(each for each in local if each.minute == 0 and (at_night or first <= each.hour < last))


# ---- the simulation of a start -------------------------------------------------------------------


def begin_at(job: JobRecord, start: datetime, placing: timedelta) -> JobRecord:
    """Return the job with another placement; nothing has been measured yet."""
    end = (start.astimezone(UTC) + placing).astimezone(job.zone)
    temperature = job.placement.concrete_temperature
    placement = Placement(start=start.astimezone(job.zone), end=end, concrete_temperature=temperature)
    unmeasured = {name: JobRecord.model_fields[name].default for name in AFTER_THE_POUR}
    return job.model_copy(update={"placement": placement, **unmeasured})


def _simulate(
    job: JobRecord, weather: WeatherSeries, ensemble: Ensemble, practice: Practice, share: float
) -> Simulation:
    """Simulate one start as `simulate` does, but for a week."""
    concrete = concrete_properties(job.mix, ensemble, practice)
    bare, sheets = bare_before_sheet(job, weather, ensemble, concrete, practice)
    slab = simulate_slab(job, weather, ensemble, concrete, practice, hours=_HOURS, sheets=sheets)
    warmed = after_first_day(concrete, slab.mean_until(practice["strength.warm-until"]), practice)
    # The other dates need not be computed; how long the slab stays wet depends on all rules.
    of_starts = replace(practice, gates=tuple(each for each in practice.gates if each.milestone in _KINDS))
    delivered = DeliveredConcrete(concrete, MeasurementResult())
    return Simulation(
        job,
        weather,
        of_starts,
        ensemble,
        warmed,
        slab,
        share,
        delivered,
        bare=bare,
        sheet_from_s=sheets[0].from_s if sheets else None,
    )


# ---- what speaks against each start -----------------------------------------------------------------


def _comparer(
    simulation: Simulation, practice: Practice, plan: Callable[[JobRecord], CureSchedule]
) -> _StartComparer:
    """Return the comparer of a start, with its dates as a schedule has them."""
    basis = basis_of(simulation.weather)
    dates = compute_dates(simulation, basis)
    between = plan_covered(simulation, dates, basis)[1]
    dates = saw_under_crews_sheet(simulation, dates, basis, between)
    return _StartComparer(simulation, dates, practice, plan)


@dataclass(frozen=True)
class _StartComparer:
    """Finds the hours of a start, and what speaks against it."""

    simulation: Simulation
    dates: Dates
    practice: Practice
    plan: Callable[[JobRecord], CureSchedule]

    def start(self) -> StartHour:
        """Return the start."""
        simulation, dates = self.simulation, self.dates
        risks = find_risks(simulation, dates)
        need = self._least_blanket(risks)
        job = simulation.job
        milestones = {each.kind: each for each in dates.milestones}
        drying = _drying_of(simulation)
        watch, precaution = (drying.hours_above(self.practice[f"drying.{level}"]) for level in LEVELS)
        initial, final = (
            milestones[each].likely for each in (MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET)
        )
        water = self._first_water(simulation, dates)
        frost = _first_frost(risks)
        lit = None if initial is None or final is None else self._daylight_hours(job, initial, final)
        plain = StartHour(
            start=job.placement.start,
            end=job.placement.end,
            peak_drying=float(drying.rate.max()),
            peak_drying_at=drying.instant(int(drying.rate.argmax()), job.zone),
            watch_hours=watch,
            precaution_hours=precaution,
            dark_finishing_h=None if lit is None else _hours(initial, final) - lit,
            initial_set=initial,
            final_set=final,
            finish_first_by=early_instant(dates.met_h[MilestoneKind.FINAL_SET], simulation),
            saw=self._saw_hours(simulation, dates, milestones.get(MilestoneKind.SAW_JOINTS)),
            first_water=water,
            attended=None
            if water is None or job.curing.method in _NOBODY_NEEDED
            else _is_attended(water, simulation),
            frost_from=None if frost is None else frost.start,
            frost_safe=dates.not_before(MilestoneKind.FROST_SAFE),
            blanket=need.least,
            freezes_bare=need.freezes_bare,
            rain_mm=_rain(risks),
            rain_before_set_mm=_rain_before(final, risks, simulation),
            concerns=(),
        )
        if frost is None and simulation.is_insulated:  # the blanket of the record is enough
            laid = cover_resistance(job, self.practice)
            plain = replace(plain, blanket=laid if need.least is None else min(need.least, laid))
        return replace(plain, concerns=tuple(self._concerns(plain, simulation, risks, drying)))

    def _first_water(self, simulation: Simulation, dates: Dates) -> datetime | None:
        """Return the first water; where it may freeze in the day after it, that of the whole plan."""
        water = dates.not_before(MilestoneKind.FIRST_WATER)
        if water is None or simulation.method is None:
            return water
        hours = water.timestamp() + np.arange(0.0, 24.0 * HOUR_S, HOUR_S)
        if not freezing_ahead(hours, simulation, dates.not_before(MilestoneKind.FROST_SAFE)).any():
            return water
        planned = self.plan(simulation.job).milestone(MilestoneKind.FIRST_WATER)
        return None if planned is None else planned.not_before

    def _saw_hours(
        self, simulation: Simulation, dates: Dates, milestone: Milestone | None
    ) -> SawHours | None:
        """Return the window of sawing; part by part, from the first trial cut to the end of the last part."""
        if milestone is None or milestone.not_before is None or dates.saw_limits is None:
            return None
        opens, closes = milestone.not_before, milestone.not_after
        if staged := is_sawn_in_parts(dates, simulation):
            opens = milestone.likely or opens
            closes = cut_hours(dates.saw_limits, saw_of(simulation.job), simulation, "last").last
        daylight = None if closes is None else self._daylight_hours(simulation.job, opens, closes)
        return SawHours(opens, closes, staged, daylight)

    def _daylight_hours(self, job: JobRecord, start: datetime, end: datetime) -> float | None:
        """Return the hours of daylight in a span; None where the place is not known."""
        if job.site.latitude is None or job.site.longitude is None:
            return None
        seconds = np.arange(start.timestamp() + STEP_S / 2, end.timestamp(), STEP_S)
        height = sun_height(seconds, job.site.latitude, job.site.longitude)
        return float((height >= self.practice["daylight.sun"]).sum()) * STEP_S / HOUR_S

    def _is_dark(self, job: JobRecord, when: datetime | None) -> bool:
        """Return whether work outdoors at an instant is work in the dark."""
        if when is None or job.slab.exposure == "indoors" or job.site.latitude is None:
            return False
        height = sun_height(when.timestamp(), job.site.latitude, job.site.longitude or 0.0)
        return bool(height < self.practice["daylight.sun"])

    def _concerns(
        self, start: StartHour, simulation: Simulation, risks: tuple[Risk, ...], drying: _Drying
    ) -> Iterator[Concern]:
        """Yield what speaks against a start, in the order of the codes."""
        yield from _frost(start, simulation)
        rain = [each for each in risks if each.code == RAIN]
        if rain:
            yield Concern(
                "rain",
                rain[0].start,
                rain[-1].end,
                (Figure("rain", start.rain_mm, "mm"), Figure("before_set", start.rain_before_set_mm, "mm")),
            )
        limit = self.practice["drying.precaution"]
        above = np.flatnonzero(drying.rate >= limit)
        if len(above):
            first, last = (
                drying.instant(int(each), simulation.job.zone) for each in (above[0], above[-1] + 1)
            )
            yield Concern(
                "drying",
                first,
                last,
                (
                    Figure("peak", start.peak_drying, "kg/m2/h"),
                    Figure("limit", limit, "kg/m2/h"),
                    Figure("hours_above", start.precaution_hours, "h"),
                ),
            )
        yield from self._hardship(start, simulation)

    def _hardship(self, start: StartHour, simulation: Simulation) -> Iterator[Concern]:
        job, saw = simulation.job, start.saw
        inside = job.slab.exposure == "indoors"
        if not inside and (start.dark_finishing_h or 0.0) >= STEP_S / HOUR_S:
            yield Concern(
                "finish-dark",
                start.initial_set,
                start.final_set,
                (Figure("darkness", start.dark_finishing_h or 0.0, "h"),),
            )
        lit = None if saw is None or inside else saw.daylight_h
        if saw is not None and lit is not None and lit < self._needed_daylight(saw):
            yield Concern("saw-dark", saw.opens, saw.closes, (Figure("daylight", lit, "h"),))
        if start.attended is False and start.first_water is not None:
            windows = attended_windows(job, self.practice)
            yield Concern("nobody", start.first_water, _next_opening(start.first_water, windows))
        if saw is not None and saw.in_stages:
            yield Concern("saw-in-stages", saw.opens, saw.closes)
        if self._is_dark(job, start.start):
            yield Concern("start-dark", start.start, self._sunrise(job, start.start))

    def _needed_daylight(self, saw: SawHours) -> float:
        """Return the hours of daylight that sawing takes: those of a visit, or all of a shorter window."""
        visit = self.practice["visit.sawing"]
        whole = visit if saw.closes is None else _hours(saw.opens, saw.closes)
        return min(visit, whole - STEP_S / HOUR_S)

    def _sunrise(self, job: JobRecord, after: datetime) -> datetime | None:
        """Return the next sunrise within a day, to the minutes of the grid."""
        seconds = after.timestamp() + np.arange(0.0, 24.0 * HOUR_S, STEP_S)
        height = sun_height(seconds, job.site.latitude or 0.0, job.site.longitude or 0.0)
        lit = np.flatnonzero(height >= self.practice["daylight.sun"])
        if not len(lit):
            return None
        return datetime.fromtimestamp(float(seconds[lit[0]]), UTC).astimezone(job.zone)

    # ---- blankets

    def _least_blanket(self, risks: tuple[Risk, ...]) -> _BlanketNeed:
        """Return the least usual blanket: all of them are simulated at once, and judged as in an issue."""
        simulation = self.simulation
        is_threatened = simulation.is_insulated or _first_frost(risks) is not None
        if not (is_threatened and calls_for_protection(simulation, self.dates)):
            return _BlanketNeed()
        stock, some = blankets_to_try(self.practice), members_to_try(simulation.ensemble.n_last)
        members = np.tile(some, len(stock))
        ensemble, concrete = simulation.ensemble.subset(members), simulation.concrete.subset(members)
        cover, strong_h = np.repeat(stock, len(some)), concrete.age_at_strength(simulation.frost_strength())
        slab = simulate_slab(
            simulation.job,
            simulation.weather,
            ensemble,
            concrete,
            self.practice,
            cover=cover,
            hours=_HOURS,
            until_h=strong_h,
        )
        tops = judge_blankets(slab, cover, strong_h, simulation.job, self.practice)
        coldest, bare = (
            np.quantile(
                each.reshape(len(stock), len(some)), 1.0 - simulation.share, axis=1, method="inverted_cdf"
            )
            for each in (tops.coldest(cover), tops.bare_c.min(axis=0))
        )
        freezing_c = self.practice["frost.freezes-below"]
        least = least_enough(zip(stock, coldest.tolist(), strict=True), freezing_c)
        return _BlanketNeed(least, bool(bare[-1] < freezing_c and least != 0.0))


@dataclass(frozen=True)
class _BlanketNeed:
    """The least usual blanket of a start, 0 none and None that none is enough.

    And whether the bare top may freeze before a blanket may lie there.
    """

    least: float | None = 0.0
    freezes_bare: bool = False


def _first_frost(risks: tuple[Risk, ...]) -> Risk | None:
    """Return when the top may freeze before the slab is strong enough; None: it does not."""
    return next((each for each in risks if each.code == "frost"), None)


@dataclass(frozen=True)
class _Drying:
    """The loss from the fresh surface, in steps from the first concrete to its final set, shape (n,)."""

    placed_s: float
    rate: Floats

    def hours_above(self, limit: float) -> float:
        """Return the hours at or above a limit."""
        return float((self.rate >= limit).sum()) * STEP_S / HOUR_S

    def instant(self, index: int, zone: ZoneInfo) -> datetime:
        """Return the instant at which a step begins."""
        seconds = self.placed_s + index * STEP_S
        return datetime.fromtimestamp(seconds, UTC).astimezone(zone)


def _drying_of(simulation: Simulation) -> _Drying:
    """Return the drying of the concrete placed first, by the central member, until its surface sets."""
    first = simulation.ensemble.first_placed.start
    return _Drying(float(simulation.slab.placed_s[first]), loss_while_fresh(simulation, first)[1])


def _frost(start: StartHour, simulation: Simulation) -> Iterator[Concern]:
    """Yield frost before strength; under the blanket of the record, if it has one."""
    laid = cover_resistance(simulation.job, simulation.practice) if simulation.is_insulated else 0.0
    if start.frost_from is None and (simulation.is_insulated or not start.blanket):
        return
    if start.freezes_bare:
        yield Concern("frost-before-blankets", start.frost_from)
    if start.blanket is None or (start.blanket <= laid and not start.freezes_bare):
        yield Concern("frost-any-blanket", start.frost_from)
    elif start.blanket > laid:
        yield Concern("frost", start.frost_from, None, (Figure("blanket", start.blanket, "m2K/W"),))


def _rain(risks: tuple[Risk, ...]) -> float:
    """Return the likely rain on the fresh concrete, in mm."""
    rain = (each for each in risks if each.code == RAIN)
    return sum(figure.value for each in rain for figure in each.figures if figure.name == "rain")


def _rain_before(final: datetime | None, risks: tuple[Risk, ...], simulation: Simulation) -> float:
    """Return the part of the rain on the fresh concrete whose hour begins before final set, in mm."""
    if final is None:
        return _rain(risks)
    weather, last = simulation.weather, final.timestamp()
    begins = weather.seconds - HOUR_S  # the rain of an hour falls before its end
    wet = np.zeros(len(begins), bool)
    for each in risks:
        if each.code == RAIN:
            wet |= (begins >= each.start.timestamp()) & (begins < min(each.end.timestamp(), last))
    return float(weather.precipitation_mm[wet].sum())


def _hours(start: datetime | None, end: datetime | None) -> float:
    """Return the hours between two instants; 0 if one of them is not known."""
    if start is None or end is None:
        return 0.0
    return max((end.astimezone(UTC) - start.astimezone(UTC)) / timedelta(hours=1), 0.0)


def _is_attended(when: datetime, simulation: Simulation) -> bool:
    """Return whether somebody is there at the first water, as printed: a timer is set at it."""
    clock = half_hour_up(when).time()
    windows = attended_windows(simulation.job, simulation.practice)
    return any(opens <= clock < closes for opens, closes in windows)


def _next_opening(when: datetime, windows: Sequence[TimeWindow]) -> datetime:
    """Return when somebody is there next."""
    days = (when.date() + timedelta(days=number) for number in range(2))
    openings = (datetime.combine(day, opens, when.tzinfo) for day in days for opens, _ in windows)
    return min(each for each in openings if each.astimezone(UTC) >= when.astimezone(UTC))
