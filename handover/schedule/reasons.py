"""Why the dates of a job moved from one issue to the next: the inputs are changed one at a time.

Each input that differs is given its new value alone, and the job is planned again. Its share of a move is how
far that plan goes from the earlier schedule to the later one. The input with the largest share is the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np

from handover.jobs.record import RecordTable
from handover.practice.rules import practice as general_practice
from handover.schedule.changes import SAW_LAST, UNEXPLAINED, WATERING
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import HALF_HOUR_S
from handover.schedule.simulation import SHARE
from handover.schedule.slab_simulation import DAYS
from handover.weather.climate import climate_at
from handover.weather.extrapolate import extrapolate
from handover.weather.series import utc64

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

    from handover.jobs.record import JobRecord
    from handover.schedule.model import Cause, Change, CureSchedule
    from handover.weather.series import WeatherSeries

PARTS_OF_WEATHER: Mapping[str, tuple[str, ...]] = {
    "air": ("air_c",),
    "rain": ("precipitation_mm", "precipitation_probability"),
    "sun": ("shortwave_wm2", "cloud"),
    "wind": ("wind_ms",),
    "humidity": ("relative_humidity",),
}
"""The columns of the weather that are changed together, first what most often moves a date."""

FORECAST = "forecast"
"""The rest of a forecast: how old it is, how sure, and from when it is typical weather."""

_DIRECTIONS: Mapping[str, tuple[Cause, Cause]] = {
    "air": ("cooler", "warmer"),
    "rain": ("no-rain", "rain"),
    "sun": ("cloudier", "sunnier"),
    "wind": ("calmer", "windier"),
    "humidity": ("drier", "damper"),
}
"""What less and more of a part of the weather is called."""

_OF_RECORD: Mapping[str, Cause] = {
    "cylinder": "cylinder",
    "ticket": "ticket",
    "temperature_log": "log",
    "infrared": "surface",
    "scratch": "surface",
    "placement.finished": "finished",
    "placement.concrete_temperature": "concrete-temperature",
    "curing.method": "method",
    "curing.available": "hours",
    "site.room_temperature": "room",
    "site.room_heated": "room",
    "placement": "pour",
    "mix": "mix",
}
"""What a field of the record is called, or all of a table; the others are "record"."""

_WITHOUT_EFFECT = ("id", "owner", "contractor", "walkthrough", "acknowledgement", "assumed", "written_in")
"""Parts of the record that move no date."""

_EQUAL = 1e-9
_KEPT: tuple[tuple[Cause, ...], ...] = (("repeated-frost",), ("frost",), ("no-frost",))
"""Reasons that say more than the input that changed."""


@dataclass(frozen=True)
class PlanInputs:
    """The inputs of a schedule: the arguments of `plan_cure`."""

    job: JobRecord
    weather: WeatherSeries
    as_of: datetime
    typical: WeatherSeries | None = None
    rules: str | None = None
    share: float = SHARE
    cover: str | None = None

    def plan(self) -> CureSchedule:
        """Return the schedule."""
        return plan_cure(
            self.job,
            self.weather,
            self.as_of,
            typical=self.typical,
            rules=self.rules,
            share=self.share,
            cover=self.cover,
        )


class Issue(NamedTuple):
    """A schedule and its inputs."""

    schedule: CureSchedule
    inputs: PlanInputs


class Difference(NamedTuple):
    """An input that differs between two issues.

    Attributes:
        part: A part of the weather, or a cause of the record.
        inputs: Those of the earlier issue, with this one as in the later issue.
    """

    part: str
    inputs: PlanInputs


def explain(found: tuple[Change, ...], earlier: Issue, later: Issue) -> tuple[Change, ...]:
    """Return the changes between two issues, each with the inputs that moved it.

    An input that explains less than half of a move is named with the second, if both together explain half
    of it; else the reason is "several". No further input is tried once each move has one that explains nearly
    all of it. If one input differs, nothing is planned.

    Args:
        found: As from `handover.schedule.changes.changes`.
        earlier: The issue before.
        later: The new one.
    """
    asked = tuple(each for each in found if each.because not in _KEPT and each.kind not in UNEXPLAINED)
    pair = _on_one_axis(earlier.inputs, later.inputs)
    if not asked or pair is None:
        return found
    differences = tuple(_differences(*pair))
    if len(differences) <= 1:
        shares = [{each.part: Share(1.0) for each in differences} for _ in asked]
    else:
        shares = _shares(asked, earlier.schedule, later.schedule, differences)
    named = _Names(pair[0].weather, pair[1].weather, later.schedule.placement_start)
    causes = dict(zip(asked, (named.causes(*each) for each in zip(asked, shares, strict=True)), strict=True))
    return tuple(replace(each, because=causes.get(each, each.because)) for each in found)


# ---- the inputs that differ


def _on_one_axis(before: PlanInputs, after: PlanInputs) -> tuple[PlanInputs, PlanInputs] | None:
    """Return both with their weather extended to the end of both schedules, on the hours that both have."""
    ends = max(each.job.placement.end.astimezone(UTC) for each in (before, after))
    until = ends + timedelta(days=DAYS, hours=1)
    one, other = (_extend(each, until) for each in (before, after))
    shared = np.intersect1d(one.time, other.time, assume_unique=True)
    begins = min(each.job.placement.start for each in (before, after))
    if not len(shared) or shared[0] > utc64(begins):
        return None
    first, last = shared[0], shared[-1]
    one, other = one.window(first, last), other.window(first, last)
    if len(one) != len(other) or len(one) != len(shared):  # one of them is on half hours of UTC
        return None
    return replace(before, weather=one), replace(after, weather=other)


def _extend(inputs: PlanInputs, until: datetime) -> WeatherSeries:
    return extrapolate(inputs.weather, until, typical=inputs.typical, climate=climate_at(inputs.job.site))


def _differences(before: PlanInputs, after: PlanInputs) -> Iterator[Difference]:
    """Yield the inputs that differ: of the record first, because its reasons are the surer ones."""
    for cause, job in _records(before.job, after.job).items():
        yield Difference(cause, replace(before, job=job))
    for part, columns in PARTS_OF_WEATHER.items():
        new = {name: getattr(after.weather, name) for name in columns}
        if not all(_same(getattr(before.weather, name), values) for name, values in new.items()):
            changed: dict[str, Any] = new
            yield Difference(part, replace(before, weather=replace(before.weather, **changed)))
    rest = _rest_of(before, after)
    if rest is not None:
        yield Difference(FORECAST, rest)


def _same(one: Any, other: Any) -> bool:
    return bool(np.allclose(one, other, rtol=_EQUAL, atol=_EQUAL, equal_nan=True))


def _rest_of(before: PlanInputs, after: PlanInputs) -> PlanInputs | None:
    """Return the earlier inputs with a forecast as old and as sure as the later one; None if it is."""
    columns = {name: getattr(before.weather, name) for each in PARTS_OF_WEATHER.values() for name in each}
    weather = replace(after.weather, **columns)
    rest = replace(after, job=before.job, weather=weather)
    same_age = (before.weather.issued_at or before.as_of) == (after.weather.issued_at or after.as_of)
    if same_age and _same(before.weather.origin, after.weather.origin):
        return None
    return rest


def _records(before: JobRecord, after: JobRecord) -> dict[Cause, JobRecord]:
    """Return the earlier record with what differs as in the later one, cause by cause."""
    fields: dict[Cause, list[str]] = {}
    for path in _changed_fields(before, after):
        table = path.partition(".")[0]
        cause = _OF_RECORD.get(path) or _OF_RECORD.get(table) or "record"
        fields.setdefault(cause, []).append(path)
    return {cause: _with_fields(before, after, paths) for cause, paths in fields.items()}


def _changed_fields(before: JobRecord, after: JobRecord) -> Iterator[str]:
    """Yield the paths of the fields that differ and may move a date; a list of tables is one field."""
    for table in type(before).model_fields:
        one, other = getattr(before, table), getattr(after, table)
        if table in _WITHOUT_EFFECT or one == other:
            continue
        if isinstance(one, RecordTable) and isinstance(other, RecordTable):
            names = type(one).model_fields
            yield from (f"{table}.{name}" for name in names if getattr(one, name) != getattr(other, name))
        else:
            yield table


def _with_fields(before: JobRecord, after: JobRecord, paths: Iterable[str]) -> JobRecord:
    """Return a record with some fields of another one, and with what that one assumes for them."""
    chosen = set(paths)
    changed: dict[str, Any] = {}
    for path in chosen:
        table, _, name = path.partition(".")
        value = getattr(after, table)
        if name:
            base = changed.get(table, getattr(before, table))
            value = base.model_copy(update={name: getattr(value, name)})
        changed[table] = value
    kept = (each for each in before.assumed if each.field not in chosen)
    assumed = (*kept, *(each for each in after.assumed if each.field in chosen))
    return before.model_copy(update={**changed, "assumed": assumed})


# ---- how much each explains


class Share(NamedTuple):
    """How far a plan goes from the earlier schedule to the later one: 0 not at all, 1 all the way.

    Attributes:
        of_move: By the date or the visits themselves.
        of_drying: By the water that the driest day loses, which sets the hours of every visit; 0 for a date.
    """

    of_move: float
    of_drying: float = 0.0


def _shares(
    asked: tuple[Change, ...],
    earlier: CureSchedule,
    later: CureSchedule,
    differences: Iterable[Difference],
) -> list[dict[str, Share]]:
    """Return of each change how much of it each difference explains, by its part."""
    nearly = general_practice()["change.nearly-all"]
    shares: list[dict[str, Share]] = [{} for _ in asked]
    for part, inputs in differences:
        planned = inputs.plan()
        for change, known in zip(asked, shares, strict=True):
            known[part] = share_of(change, earlier, planned, later)
        if all(any(nearly <= one.of_move <= 2.0 - nearly for one in known.values()) for known in shares):
            break
    return shares


def share_of(change: Change, earlier: CureSchedule, planned: CureSchedule, later: CureSchedule) -> Share:
    """Return how much of a change a plan has."""
    issues = (earlier, planned, later)
    if change.kind == WATERING:
        day = min((*change.before, *change.after)).date()
        visits = _share_of_visits(*(_half_hours(day, each) for each in issues))
        return Share(visits, _share_of_way(*map(_driest_mm, issues)))
    return Share(_share_of_way(*(_moment(change.kind, each) for each in issues)))


def _share_of_way(before: float | None, between: float | None, after: float | None) -> float:
    if before is None or after is None:
        return float((between is None) == (after is None))
    if between is None or before == after:
        return 0.0
    return (between - before) / (after - before)


def _moment(kind: str, schedule: CureSchedule) -> float | None:
    """Return a date to the second, UTC seconds; None where there is none."""
    of_kind = MilestoneKind.SAW_JOINTS if kind == SAW_LAST else MilestoneKind(kind)
    milestone = schedule.milestone(of_kind)
    when = None if milestone is None else milestone.not_after if kind == SAW_LAST else milestone.not_before
    return None if when is None else when.timestamp()


def _driest_mm(schedule: CureSchedule) -> float | None:
    """Return the water that the driest day would lose, in mm."""
    return max((each.lost_mm for each in schedule.watering), default=None)


def _half_hours(day: date, schedule: CureSchedule) -> frozenset[float]:
    """Return the half hours in which a day is watered, as UTC seconds of their starts."""
    days = (each for each in schedule.watering if each.date == day)
    visits = (visit for each in days for visit in each.visits)
    return frozenset(
        float(second)
        for visit in visits
        for second in np.arange(visit.start.timestamp(), visit.end.timestamp(), HALF_HOUR_S)
    )


def _share_of_visits(before: frozenset[float], between: frozenset[float], after: frozenset[float]) -> float:
    """Return the share of the half hours that differ in which a plan is as the later one."""
    whole = len(before ^ after)
    return 1.0 - len(between ^ after) / whole if whole else 0.0


# ---- the names of what explains it


@dataclass(frozen=True)
class _Names:
    """Names the causes of changes by the weather before and after."""

    before: WeatherSeries
    after: WeatherSeries
    placed: datetime

    @property
    def half(self) -> float:
        """The share of a move that a cause explains to be named alone."""
        return general_practice()["change.half"]

    def causes(self, change: Change, shares: Mapping[str, Share]) -> tuple[Cause, ...]:
        """Return the largest cause of a change, or the two largest, or "several"."""
        if not shares:
            return change.because
        by_move = self._largest({part: each.of_move for part, each in shares.items()})
        found = by_move or self._largest({part: each.of_drying for part, each in shares.items()})
        return tuple(dict.fromkeys(self._name(part, change) for part in found)) or ("several",)

    def _largest(self, shares: Mapping[str, float]) -> list[str]:
        """Return the largest part, or the two largest; none if these explain less than half."""
        ordered = sorted(shares, key=lambda part: -shares[part])
        largest = ordered[: 1 if shares[ordered[0]] >= self.half else 2]
        return largest if sum(shares[part] for part in largest) >= self.half else []

    def _name(self, part: str, change: Change) -> Cause:
        if part not in PARTS_OF_WEATHER:
            return cast("Cause", part)
        less, more = _DIRECTIONS[part]
        has_more = self._difference(part, change) > 0.0
        is_date = change.kind != WATERING and change.before and change.after
        if part == "air" and is_date and has_more == (change.before[0] < change.after[0]):
            return "air"  # as a whole it is warmer, but not in the hours that count
        return more if has_more else less

    def _difference(self, part: str, change: Change) -> float:
        """Return by how much the later weather has more of a part until a change, summed over the hours."""
        moments = (*change.before, *change.after)
        day = timedelta(days=change.kind == WATERING)
        begins = min(moments) - day if part == "rain" else self.placed
        time = self.before.time
        hours = (time >= utc64(begins)) & (time <= utc64(max(moments) + day))
        name = PARTS_OF_WEATHER[part][0]
        return float((getattr(self.after, name) - getattr(self.before, name))[hours].sum())
