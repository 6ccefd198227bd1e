"""Dates of many jobs, side by side: a matrix of cases, sweeps of one quantity each, and a table of set times.

The matrix crosses days of -8 to 38 degC, humid and dry, with mixes, methods of curing and thicknesses. It
counts dates that are not in order, dates before one of their own conditions, limits on a strength,
and in the sweeps dates that move the wrong way or jump. A jump is a step that stays when the step of the
quantity is made 32 times smaller. The weather is invented; what must hold for it is a matter of principle.

    python tests/benchmarks/matrix.py [set] [matrix] [sweeps] [NAME]

A name, such as wind, chooses the sweeps whose names have it. `make sweeps` prints the sweeps and fails where
a step goes the wrong way that `ALLOWED` does not name; jumps are printed, and those of the guide are known.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise, product
from math import inf, isinf
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "schedule"))
from test_order import broken

from handover.jobs.record import Curing, JobRecord, Mix, Placement, Site, Slab
from handover.practice.rules import STRICTEST, practice, rule_sets
from handover.schedule.date_dependencies import ATTENDED_RULE
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.weather.series import Origin, WeatherSeries

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from handover.base.arrays import Floats
    from handover.schedule.model import CureSchedule, Milestone

Kind = MilestoneKind
MEMBERS, FEW = 80, 40  # of the matrix, and of the sweeps
PROCESSES = 2
DAYS = 14
STRENGTHS = ("strength", "share of strength")

# ---- cases --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Climate:
    """The days of a case: a place and month, and how the air swings about its mean."""

    latitude: float
    longitude: float
    zone: str
    month: int
    swing_k: float
    humidity: float


PLACES = {
    "cold": (46.8, -92.1, "America/Chicago", 1),
    "cool": (36.1, -79.95, "America/New_York", 4),
    "warm": (36.1, -79.95, "America/New_York", 7),
    "hot": (33.4, -112.0, "America/Phoenix", 7),
}
AIR = {"humid": (3.0, 0.80), "dry": (6.0, 0.35)}
MEANS_C = {"cold": (-8, -4, -2, -1), "cool": (2, 5, 8, 12), "warm": (18, 24), "hot": (32, 38)}
MIXES: dict[str, dict[str, Any]] = {
    "plain": {},
    "III": {"cement": "III"},
    "II": {"cement": "II"},
    "ash 25": {"fly_ash": 0.25},
    "ash 40": {"fly_ash": 0.40},
    "slag 30": {"slag": 0.30},
    "slag 50": {"slag": 0.50},
    "retarder": {"admixtures": ("retarder",)},
    "accelerator": {"admixtures": ("accelerator",)},
    "low air": {"air": 0.02},
}
SWEPT_MIXES: dict[str, dict[str, Any]] = {**MIXES, "V": {"cement": "V"}}
METHODS = ("sprinkler", "curing compound", "plastic sheet", "insulating blanket", "wet burlap")
INCHES = (3.5, 4.0, 6.0, 10.0)
INCH = 0.0254


@dataclass(frozen=True)
class Case:
    """One job in one weather."""

    mean_c: float = 12.0
    season: str = "cool"
    air: str = "humid"
    mix: str = "plain"
    method: str = "curing compound"
    inches: float = 4.0
    wind_ms: float = 4.0
    more: tuple[tuple[str, Any], ...] = ()
    placed_c: float | None = None
    known_place: bool = True

    def __str__(self) -> str:
        return (
            f"{self.season:5}{self.mean_c:6.2f} degC {self.air:6}{self.mix:12}{self.method:19}"
            f"{self.inches:5.2f} in"
        )

    @property
    def start(self) -> datetime:
        """When the first concrete is placed."""
        _, _, zone, month = PLACES[self.season]
        return datetime(2026, month, 14, 8, tzinfo=ZoneInfo(zone))

    def record(self) -> JobRecord:
        latitude, longitude, zone, _ = PLACES[self.season]
        mix = {"specified_strength": 20.684, "cementitious": 334.6, "water_cementitious": 0.5, "air": 0.06}
        return JobRecord(
            id="matrix",
            site=Site(
                name="Matrix",
                latitude=latitude if self.known_place else None,
                longitude=longitude if self.known_place else None,
                timezone=zone,
                country="US",
            ),
            slab=Slab(use="garage floor", area=100.0, thickness=self.inches * INCH, on="gravel"),
            placement=Placement(
                start=self.start,
                end=self.start + timedelta(hours=1.25),
                concrete_temperature=self.placed_c,
            ),
            mix=Mix(**{**mix, **SWEPT_MIXES[self.mix], **dict(self.more)}),
            curing=Curing(method=self.method, application_rate=10.16),
        )

    def weather(self) -> WeatherSeries:
        """Return one day over again: lowest at 3:30, highest at 15:30, sun from 6 to 20."""
        latitude, longitude, _, month = PLACES[self.season]
        swing, humidity = AIR[self.air]
        midnight = self.start.replace(hour=0)
        hours = np.arange(DAYS * 24)
        clock = hours % 24
        warmth = np.sin((clock - 9.5) / 24.0 * 2.0 * np.pi)
        sun = np.where((clock > 6) & (clock <= 20), np.sin((clock - 6.5) / 14.0 * np.pi), 0.0)
        brightest = {1: 350.0, 4: 750.0, 7: 900.0}[month]
        return WeatherSeries(
            time=np.datetime64(midnight.astimezone(UTC).replace(tzinfo=None), "s")
            + hours * np.timedelta64(3600, "s"),
            air_c=self.mean_c + swing * warmth,
            relative_humidity=np.clip(humidity - 0.12 * warmth, 0.1, 1.0),
            wind_ms=self.wind_ms * (1.0 + 0.35 * warmth),
            cloud=np.full(len(hours), 0.2),
            shortwave_wm2=np.maximum(brightest * sun, 0.0),
            precipitation_mm=np.zeros(len(hours)),
            precipitation_probability=np.zeros(len(hours)),
            origin=np.full(len(hours), Origin.FORECAST, dtype=np.int8),
            source="invented",
            issued_at=midnight.replace(hour=5),
            latitude=latitude if self.known_place else None,
            longitude=longitude if self.known_place else None,
        )

    def schedule(self, members: int = MEMBERS) -> CureSchedule:
        return plan_cure(self.record(), self.weather(), self.start, members=members)


def cases() -> Iterator[Case]:
    """Yield the matrix: every mix, method and thickness in every climate; what is not crossed goes round."""
    days = [(season, float(mean)) for season, means in MEANS_C.items() for mean in means]
    turn = 0
    for season, mean in days:
        for mix in MIXES:
            turn += 1
            yield Case(
                mean, season, ("humid", "dry")[turn % 2], mix, METHODS[turn % 5], INCHES[(turn // 2) % 4]
            )
        for method in METHODS:
            for inches in INCHES:
                turn += 1
                yield Case(mean, season, ("humid", "dry")[turn % 2], "plain", method, inches)


# ---- what must hold in one schedule -------------------------------------------------------------------


def faults(case: Case) -> tuple[dict[str, tuple[float, float]], list[str]]:
    """Return the dates of a case in hours after placement, likely and cautious, and what is wrong."""
    schedule = case.schedule()
    found = [f"order: {each}" for each in broken(schedule)]
    found += [f"band: {each.kind} likely after not before" for each in schedule.milestones if _inverted(each)]
    found += list(_before_its_conditions(schedule))
    found += list(_saw_faults(schedule))
    found += list(_watering_faults(schedule))
    return dates_of(schedule), found


def dates_of(schedule: CureSchedule) -> dict[str, tuple[float, float]]:
    """Return each date in hours after the last concrete, likely and cautious; inf: past the estimate.

    A slab that is sawn part by part has the date of the part placed first. Here it is that of the part placed
    last, for which a slab that is sawn at once waits too. Where most members allow no hour there is no date,
    which is not a later one.
    """
    dates = {
        str(each.kind): (_hours(schedule, each.likely), _hours(schedule, each.not_before))
        for each in schedule.milestones
    }
    for window in schedule.joints.windows if schedule.joints else ():
        if window.part == "last" and window.saw == "conventional" and Kind.SAW_JOINTS in dates:
            dates[str(Kind.SAW_JOINTS)] = (
                _hours(schedule, window.opens),
                _hours(schedule, window.opens_not_before),
            )
    if isinf(dates.get(Kind.SAW_JOINTS, (0.0, 0.0))[1]):
        del dates[Kind.SAW_JOINTS]
    return dates


def _hours(schedule: CureSchedule, when: datetime | None) -> float:
    return inf if when is None else (when - schedule.placement_end).total_seconds() / 3600


def _inverted(each: Milestone) -> bool:
    if each.kind == Kind.SAW_JOINTS or each.not_before is None:
        return False  # the hour that most members allow may be before the median of firm concrete
    return each.likely is None or each.likely > each.not_before


def _before_its_conditions(schedule: CureSchedule) -> Iterator[str]:
    """Yield each date before one of the conditions that are printed for it.

    Moist curing that ends before frost after frost does not wait for its days and strength: that is its rule.
    """
    for each in schedule.milestones:
        if each.kind == Kind.SAW_JOINTS or each.is_before_frosts:
            continue
        for gate in (each.because.governing, *each.because.others):
            ends = ((gate.likely, each.likely), (gate.not_before, each.not_before))
            if any(date is not None and (at is None or at > date) for at, date in ends):
                yield f"cap: {each.kind} before its condition {gate.rule}"


def _saw_faults(schedule: CureSchedule) -> Iterator[str]:
    final, joints = schedule.milestone(Kind.FINAL_SET), schedule.joints
    assert final is not None
    for window in joints.windows if joints else ():
        name = f"{window.saw}, {window.part}"
        if window.closes is not None:
            if window.opens is None or window.opens > window.closes:
                yield f"saw: trial cut after the last hour ({name})"
            if window.opens_not_before is not None and window.opens_not_before > window.closes:
                yield f"saw: best hour after the last hour ({name})"
        if final.not_before is None:
            yield f"saw: a window without a date of final set ({name})"
        elif window.part != "first" and window.opens_not_before is not None:
            is_early = window.opens_not_before < final.not_before
            if is_early:
                yield f"saw: best hour before final set ({name})"


def _watering_faults(schedule: CureSchedule) -> Iterator[str]:
    """Yield a first visit before first water, and visits after curing has ended for the owner."""
    visits = [visit for day in schedule.watering for visit in day.visits]
    first, ends = schedule.milestone(Kind.FIRST_WATER), schedule.milestone(Kind.CURING_ENDS)
    if not visits:
        return
    if first is None or first.not_before is None:
        yield "watering: a plan without a date of first water"
    elif visits[0].start < first.not_before - timedelta(seconds=1):
        yield "watering: a visit before first water"
    if ends is not None and ends.not_before is not None:
        last = max(each.end for each in visits)
        if last > ends.not_before + timedelta(days=1):
            yield "watering: a visit more than a day after curing ends"


def capped_strengths() -> list[str]:
    """Return the conditions of strength that have a limit, under every set of rules."""
    return [
        f"{code}: {gate.rule}"
        for code in (*rule_sets(), STRICTEST)
        for gate in practice(code).gates
        if gate.measure in STRENGTHS and (gate.at_most or gate.at_most_times)
    ]


# ---- sweeps -------------------------------------------------------------------------------------------

LATER, EARLIER = 1, -1
EARLY = (Kind.INITIAL_SET, Kind.FINAL_SET, Kind.FIRST_WATER, Kind.SAW_JOINTS)
BY_STRENGTH = (
    *(Kind.STRIP_EDGE_FORMS, Kind.FOOT_TRAFFIC, Kind.LIGHT_WORK, Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES),
    *(Kind.FROST_SAFE, Kind.FREEZE_THAW, Kind.CURING_ENDS),
)
LATE = (Kind.HEAVY_VEHICLES, Kind.FREEZE_THAW)
ALL = (*EARLY, *BY_STRENGTH, Kind.PROTECTION_ENDS, Kind.SEAL, Kind.FLOOR_COVERING)
SLACK_H, SLACK = 0.05, 0.005  # of a comparison of two dates: hours, and a share
SAW_SLACK_H = 1.0  # cracking, and so the hour that most members allow, goes by whole hours
LEAST_JUMP_H, LEAST_JUMP = 3.0, 0.15
HALVINGS = 5
NEARLY_PAST_H = 2000.0  # a date later than this may be past the estimate in the next step
ENDS = ("likely", "not before")


@dataclass(frozen=True)
class Sweep:
    """One quantity changed in small steps.

    Attributes:
        name: Of the quantity and the job.
        base: The job.
        values: Of the quantity, rising.
        put: The job with a value.
        must: Which way a date may move as the quantity rises; dates that may go either way are left out.
        is_continuous: Whether there is something between two values, so that a step may be a jump.
    """

    name: str
    base: Case
    values: Floats
    put: Callable[[Case, float], Case]
    must: Mapping[Kind, int] = field(default_factory=dict)
    is_continuous: bool = True


@dataclass(frozen=True)
class Allowance:
    """A step that goes the wrong way and is right.

    Attributes:
        sweep: Its name.
        step: From which value to which.
        ends: Which dates, and which end of each.
        most_h: How far each may go the wrong way. [h]
        why: Why it is right.
    """

    sweep: str
    step: tuple[float, float]
    ends: frozenset[tuple[Kind, str]]
    most_h: float
    why: str


_SHEET = "air, degC: plastic sheet"
_PLASTIC_OFF = "plastic off before frost, so that the sun warms the slab"
_WORK = frozenset({(Kind.LIGHT_WORK, "not before")})
_WINTER = frozenset({(Kind.FREEZE_THAW, "likely")})
ALLOWED = (
    # At 2 degC the nights freeze, so that the sheet comes off for good after cold protection. At 3 degC they
    # do not, and it stays for the weeks of curing. Its colour is not known, so that it is white for dates
    # that must be safe: the slab under it takes up a third of the sun that a bare one does.
    Allowance(_SHEET, (2.0, 3.0), _WORK, 110.0, _PLASTIC_OFF),
    Allowance(_SHEET, (2.0, 3.0), _WINTER, 170.0, _PLASTIC_OFF),
)
"""The steps the wrong way that are right. One that no step needs is against a sweep, too."""


def _more(name: str) -> Callable[[Case, float], Case]:
    return lambda case, value: replace(case, more=(*case.more, (name, value)))


def _put(name: str) -> Callable[[Case, float], Case]:
    def put(case: Case, value: float) -> Case:
        values: dict[str, Any] = {name: value}
        return replace(case, **values)

    return put


def _one_of(mixes: tuple[str, ...]) -> Callable[[Case, float], Case]:
    return lambda case, value: replace(case, mix=mixes[int(value)])


def _moves(kinds: Iterable[Kind], way: int) -> dict[Kind, int]:
    return dict.fromkeys(kinds, way)


_SLOWER = _moves((*EARLY, *(each for each in BY_STRENGTH if each not in LATE)), LATER)
"""What comes no sooner with a slower mix. Late gain may bring the dates of months forward."""


def sweeps() -> tuple[Sweep, ...]:
    """Return all sweeps."""
    return (*quantity_sweeps(), *mix_sweeps())


def quantity_sweeps() -> Iterator[Sweep]:
    """Yield the sweeps of one quantity, each with what must hold and, in a comment, why."""
    # Warmth: everything sooner. But a warm first day lowers late strength: trucks go either way.
    warm = _moves((each for each in ALL if each != Kind.HEAVY_VEHICLES), EARLIER)
    degrees = np.arange(-6.0, 40.5)
    for method in METHODS:
        base = Case(method=method, air="humid", known_place=False)
        yield Sweep(f"air, degC: {method}", base, degrees, _put("mean_c"), warm)
    for mix in ("III", "II", "ash 40", "slag 50", "retarder"):
        base = Case(mix=mix, air="dry", known_place=False)
        yield Sweep(f"air, degC: {mix}", base, degrees, _put("mean_c"), warm)
    yield Sweep("air, degC: at a known place", Case(), degrees, _put("mean_c"), warm)
    # Concrete as placed: the same.
    for mean in (2.0, 12.0, 30.0):
        base = Case(mean, known_place=False)
        yield Sweep(f"concrete, degC, in {mean:g}", base, np.arange(8.0, 36.0, 4.0), _put("placed_c"), warm)
    # Thickness: floors dry by thickness. In the cold the concrete is placed warmer than air and ground, and a
    # thicker slab keeps its heat: no date is later, but for those of months, in which a thin slab follows the
    # spring sooner. In the heat a thin slab warms faster: either way.
    inches = np.arange(3.0, 12.5, 1.0)
    dries = {Kind.FLOOR_COVERING: LATER}
    keeps = _moves((*EARLY, *(each for each in BY_STRENGTH if each not in LATE)), EARLIER)
    for mean, season, must in ((2.0, "cool", keeps), (12.0, "cool", dries), (32.0, "hot", dries)):
        yield Sweep(f"inches, in {mean:g} degC", Case(mean, season), inches, _put("inches"), must)
    # Ash and slag: set never sooner, strength before 28 days neither. Late gain may bring trucks forward.
    for mean, season in ((2.0, "cool"), (12.0, "cool"), (24.0, "warm"), (35.0, "hot")):
        base = Case(mean, season, known_place=False)
        yield Sweep(f"ash, in {mean:g} degC", base, np.arange(0.0, 0.51, 0.05), _more("fly_ash"), _SLOWER)
        yield Sweep(f"slag, in {mean:g} degC", base, np.arange(0.0, 0.71, 0.05), _more("slag"), _SLOWER)
    # Water: set later (the degree of hydration at set is a multiple of w/cm). Strength is that of the order.
    wetter = _moves(EARLY, LATER)
    for mean in (2.0, 12.0, 24.0):
        base = Case(mean, known_place=False)
        ratios = np.arange(0.38, 0.67, 0.04)
        yield Sweep(f"w/cm, in {mean:g} degC", base, ratios, _more("water_cementitious"), wetter)
    # Wind: cools a slab that is warmer than the air, as one in the cold is, by day and by its own heat.
    windy = _moves((*EARLY, *BY_STRENGTH), LATER)
    for mean, season in ((2.0, "cool"), (12.0, "cool"), (30.0, "warm")):
        base = Case(mean, season, known_place=False)
        yield Sweep(f"wind, m/s, in {mean:g} degC", base, np.arange(0.5, 12.6, 2.0), _put("wind_ms"), windy)
    # Strength ordered: a fixed strength comes no later. A share of it may go either way, because both the
    # margin of the plant and the scatter are a smaller share of it. Set is not sooner.
    ordered = {
        **_moves((Kind.FOOT_TRAFFIC, Kind.LIGHT_WORK, Kind.FROST_SAFE, Kind.FREEZE_THAW), EARLIER),
        **_moves((Kind.INITIAL_SET, Kind.FINAL_SET), LATER),
    }
    for mean in (2.0, 12.0, 24.0):
        base = Case(mean, known_place=False)
        strengths = np.arange(17.0, 42.0, 4.0)
        yield Sweep(f"f'c, MPa, in {mean:g} degC", base, strengths, _more("specified_strength"), ordered)
    # Cement: more of it is more heat, so nothing is later, but for dates of months: curing ends sooner, and
    # concrete that dries hardens more slowly.
    for mean in (2.0, 12.0):
        base = Case(mean, known_place=False)
        contents = np.arange(240.0, 460.0, 40.0)
        yield Sweep(f"cement, kg/m3, in {mean:g} degC", base, contents, _more("cementitious"), keeps)


MIXES_IN_ORDER = (("III", "plain", "II"), ("III", "plain", "V"), ("accelerator", "plain", "retarder"))
"""Cements and admixtures, the fastest first. No record states a dose of admixture: the rule is a factor."""
ORDER_AT = ((-2.0, "cold"), (2.0, "cool"), (8.0, "cool"), (12.0, "cool"), (24.0, "warm"), (35.0, "hot"))


def mix_sweeps() -> Iterator[Sweep]:
    """Yield the mixes in their order, in cold and heat: neither set nor strength comes sooner."""
    for (mean, season), names in product(ORDER_AT, MIXES_IN_ORDER):
        base = Case(mean, season, known_place=False)
        order = np.arange(len(names), dtype=np.float64)
        title = f"{', '.join(names)}, in {mean:g} degC"
        yield Sweep(title, base, order, _one_of(names), _SLOWER, is_continuous=False)


class Swept:
    """The dates of a sweep, each value computed once."""

    def __init__(self, sweep: Sweep) -> None:
        self.sweep = sweep
        self.known: dict[float, dict[str, tuple[float, float]]] = {}

    def dates(self, value: float) -> dict[str, tuple[float, float]]:
        """Return the dates for a value, in hours, likely and cautious."""
        if value not in self.known:
            self.known[value] = _comparable(self.sweep.put(self.sweep.base, value).schedule(FEW))
        return self.known[value]

    def findings(self) -> Iterator[tuple[str, str]]:
        """Yield "wrong way", "allowed", "not needed" or "jump", and where."""
        values, used = [float(each) for each in self.sweep.values], set()
        for kind, end, (low, high) in product(ALL, (0, 1), pairwise(values)):
            if kind not in self.dates(low) or kind not in self.dates(high):
                continue
            here, there = self.dates(low)[kind][end], self.dates(high)[kind][end]
            step = f"{kind}, {ENDS[end]}: {low:.4g} to {high:.4g}, {here:.1f} to {there:.1f} h"
            if _moves_wrong(here, there, self.sweep.must.get(kind, 0), kind):
                right = self.allowance(kind, ENDS[end], (low, high), _rise(here, there))
                used.add(right)
                yield ("allowed", f"{step}; {right.why}") if right else ("wrong way", step)
            if (
                self.sweep.is_continuous
                and _is_step(here, there)
                and (found := self.jump(kind, end, low, high))
            ):
                yield "jump", f"{step}; {found}"
        for each in ALLOWED:
            if each.sweep == self.sweep.name and each.step in pairwise(values) and each not in used:
                yield "not needed", f"{each.step[0]:.4g} to {each.step[1]:.4g}, allowed: {each.why}"

    def allowance(self, kind: Kind, end: str, step: tuple[float, float], moved_h: float) -> Allowance | None:
        """Return what allows a step the wrong way, or None."""
        return next(
            (
                each
                for each in ALLOWED
                if (each.sweep, each.step) == (self.sweep.name, step)
                and (kind, end) in each.ends
                and moved_h <= each.most_h
            ),
            None,
        )

    def jump(self, kind: Kind, end: int, low: float, high: float) -> str:
        """Return where a step stays when its interval is halved again and again, or nothing."""
        ends = (self.dates(low)[kind][end], self.dates(high)[kind][end])
        first = _rise(*ends)
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            if kind not in self.dates(middle):
                return ""
            at = self.dates(middle)[kind][end]
            if _rise(ends[0], at) >= _rise(at, ends[1]):
                high, ends = middle, (ends[0], at)
            else:
                low, ends = middle, (at, ends[1])
            if _rise(*ends) <= max(first / 2.0, LEAST_JUMP_H):
                return ""
        return f"at {low:.4g} from {ends[0]:.1f} to {ends[1]:.1f} h"


def _comparable(schedule: CureSchedule) -> dict[str, tuple[float, float]]:
    """Return the dates that go by the concrete and its weather, in hours as `dates_of`.

    Moist curing that ends before frost after frost ends on purpose: neither it nor the wheels that wait for
    it are sooner. First water is without the hours of presence, which go by the clock.
    """
    dates = dates_of(schedule)
    first = schedule.milestone(Kind.FIRST_WATER)
    if schedule.dries_before_frost:
        for kind in (Kind.CURING_ENDS, Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES):
            dates.pop(str(kind), None)
    if first is not None and first.because.governing.rule == ATTENDED_RULE:
        gates = first.because.others
        dates[str(first.kind)] = (
            max(_hours(schedule, each.likely) for each in gates),
            max(_hours(schedule, each.not_before) for each in gates),
        )
    return dates


def _moves_wrong(here: float, there: float, must: int, kind: Kind) -> bool:
    if isinf(here) and isinf(there):
        return False
    slack = SLACK * min(here, there) + (SAW_SLACK_H if kind == Kind.SAW_JOINTS else SLACK_H)
    return must * (there - here) < -slack if must else False


def _is_step(here: float, there: float) -> bool:
    if isinf(here) or isinf(there):
        near = min(here, there)
        return not isinf(near) and near < NEARLY_PAST_H
    return abs(there - here) > max(LEAST_JUMP_H, LEAST_JUMP * min(here, there))


def _rise(here: float, there: float) -> float:
    return 0.0 if isinf(here) and isinf(there) else abs(there - here)


# ---- set times ----------------------------------------------------------------------------------------

# Hours to set by temperature that finishers go by; ends read in trade pages, the cells between from memory.
PRACTICE_H = {100: 1.67, 90: 2.67, 80: 4.0, 70: 6.0, 60: 8.0, 50: 11.0, 40: 14.0, 30: 19.0}
SET_MIXES = ("plain", "ash 25", "ash 40", "slag 30", "slag 50", "III", "II", "retarder", "accelerator")


def set_times(degf: int) -> list[tuple[float, float]]:
    """Return the likely initial and final set of each mix in a room of constant temperature, in hours."""
    mean_c = (degf - 32) / 1.8
    found = []
    for mix in SET_MIXES:
        case = Case(mean_c, mix=mix, placed_c=max(mean_c, 0.0), known_place=False)
        weather, still = case.weather(), np.ones(DAYS * 24)
        room = replace(
            weather,
            air_c=mean_c * still,
            relative_humidity=0.6 * still,
            wind_ms=still,
            shortwave_wm2=0.0 * still,
            cloud=still,
        )
        record = case.record()
        record = record.model_copy(
            update={
                "slab": record.slab.model_copy(update={"exposure": "indoors"}),
                "site": record.site.model_copy(update={"room_temperature": mean_c}),
            },
        )
        dates = dates_of(plan_cure(record, room, case.start, members=FEW))
        found.append((dates["initial-set"][0], dates["final-set"][0]))
    return found


# ---- printing -----------------------------------------------------------------------------------------

SHORT = {
    "initial-set": "initial",
    "final-set": "final",
    "first-water": "water",
    "saw-joints": "saw",
    "strip-edge-forms": "strip",
    "foot-traffic": "foot",
    "light-work": "work",
    "light-vehicles": "cars",
    "heavy-vehicles": "trucks",
    "frost-safe": "frost",
    "protection-ends": "protect",
    "freeze-thaw": "winter",
    "curing-ends": "curing",
    "seal": "seal",
}


def _cell(hours: float) -> str:
    return "past" if isinf(hours) else f"{hours:.1f}" if hours < 100 else f"{hours:.0f}"


def print_matrix(pool: ProcessPoolExecutor) -> list[str]:
    """Print the dates of the matrix and its faults; return the faults."""
    every, found = list(cases()), []
    print(f"Hours after the last concrete, cautious ends, {MEMBERS} members")
    print(" " * 55 + "".join(f"{each:>8}" for each in SHORT.values()))
    for case, (dates, wrong) in zip(every, pool.map(faults, every, chunksize=4), strict=True):
        cells = (_cell(dates[each][1]) if each in dates else "-" for each in SHORT)
        print(f"{case!s:55}" + "".join(f"{each:>8}" for each in cells), flush=True)
        found += [f"{case}: {each}" for each in wrong]
    found += [f"cap: a condition of strength has a limit, {each}" for each in capped_strengths()]
    print(f"\n{len(every)} cases\n" + "\n".join(found))
    return found


def print_sweeps(pool: ProcessPoolExecutor, only: str = "") -> list[str]:
    """Print a row for each sweep and what it has against it; return the kind of every finding."""
    kinds: list[str] = []
    chosen = [(number, each) for number, each in enumerate(sweeps()) if only in each.name]
    columns = f"{'values':>8}{'dates':>7}{'wrong way':>11}{'allowed':>9}{'jumps':>7}"
    print(f"\n{'sweep':44}{'from':>7}{'to':>7}{columns}")
    rows = pool.map(sweep_by_number, [number for number, _ in chosen])
    for (_, sweep), found in zip(chosen, rows, strict=True):
        counts = Counter(kind for kind, _ in found)
        values = f"{sweep.values[0]:7.4g}{sweep.values[-1]:7.4g}{len(sweep.values):8}"
        told = f"{counts['wrong way']:11}{counts['allowed']:9}{counts['jump']:7}"
        print(f"{sweep.name:44}{values}{len(sweep.must):7}{told}")
        for kind, where in found:
            print(f"    {kind}: {where}", flush=True)
        kinds += [kind for kind, _ in found]
    return kinds


def sweep_by_number(number: int) -> list[tuple[str, str]]:
    """Return what a sweep has against it; by number, because a function without a name is not pickled."""
    return list(Swept(sweeps()[number]).findings())


def print_set_times(pool: ProcessPoolExecutor) -> None:
    """Print the likely set times by temperature beside the table of practice."""
    print("\nInitial / final set, hours, likely, steady temperature")
    print(f"{'degF':>4}{'table':>7}{'middle':>8}{'ratio':>7}" + "".join(f"{each:>13}" for each in SET_MIXES))
    for (degf, table), times in zip(PRACTICE_H.items(), pool.map(set_times, PRACTICE_H), strict=True):
        middle = sum(times[0]) / 2.0
        cells = (f"{initial:.1f}/{final:.1f}" for initial, final in times)
        line = f"{degf:4}{table:7.2f}{middle:8.2f}{middle / table:7.2f}"
        print(line + "".join(f"{each:>13}" for each in cells), flush=True)


PARTS = ("set", "matrix", "sweeps")


def main(parts: tuple[str, ...]) -> int:
    """Print the parts and the counts; return 1 if anything is wrong. What is allowed and jumps are not."""
    counts: Counter[str] = Counter()
    with ProcessPoolExecutor(PROCESSES) as pool:
        if "set" in parts:
            print_set_times(pool)
        if "matrix" in parts:
            counts.update({"order": 0, "cap": 0, "band": 0, "saw": 0, "watering": 0})
            counts.update(_kind_of(each) for each in print_matrix(pool))
        if "sweeps" in parts:
            counts.update({"wrong way": 0, "not needed": 0, "allowed": 0, "jump": 0})
            counts.update(print_sweeps(pool, next((each for each in parts if each not in PARTS), "")))
    print("\n" + ", ".join(f"{name} {count}" for name, count in counts.items()))
    return 1 if sum(counts[name] for name in counts if name not in ("allowed", "jump")) else 0


def _kind_of(fault: str) -> str:
    return next(each for each in ("order", "cap", "band", "saw", "watering") if f"{each}: " in fault)


if __name__ == "__main__":
    sys.exit(main(tuple(sys.argv[1:]) or PARTS))
