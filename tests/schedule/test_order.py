"""Dates that need each other are in order, for every mix, method, thickness, temperature and set of rules.

Identity: nobody walks on unset concrete, and a cover that protects from frost stays until frost does no harm.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import cycle, product
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.schedule_json import schedule_json
from handover.practice.rules import STRICTEST, rule_sets
from handover.schedule.model import CureSchedule, Milestone, MilestoneKind
from handover.schedule.plan import _with_window, plan_cure
from handover.schedule.surface_task import SurfacePlan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
ORDER = [
    (Kind.INITIAL_SET, Kind.FINAL_SET),
    (Kind.FINAL_SET, Kind.FIRST_WATER),
    (Kind.FINAL_SET, Kind.SAW_JOINTS),
    (Kind.FINAL_SET, Kind.STRIP_EDGE_FORMS),
    (Kind.FINAL_SET, Kind.FOOT_TRAFFIC),
    (Kind.FINAL_SET, Kind.FROST_SAFE),
    (Kind.FOOT_TRAFFIC, Kind.LIGHT_WORK),
    (Kind.LIGHT_WORK, Kind.LIGHT_VEHICLES),
    (Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES),
    (Kind.FINAL_SET, Kind.CURING_ENDS),
    (Kind.FROST_SAFE, Kind.CURING_ENDS),
    (Kind.FROST_SAFE, Kind.PROTECTION_ENDS),
    (Kind.PROTECTION_ENDS, Kind.CURING_ENDS),
    (Kind.CURING_ENDS, Kind.SEAL),
    (Kind.CURING_ENDS, Kind.FLOOR_COVERING),
]
MIXES: dict[str, dict[str, Any]] = {
    "plain": {},
    "fly ash": {"fly_ash": 0.4},
    "slag": {"slag": 0.5},
    "type III": {"cement": "III"},
}
MEMBERS = 16  # few: the order holds for any number
METHODS = ["sprinkler", "curing compound", "insulating blanket"]
DAYS = {"frost": (-8.0, 0.0), "cold": (-2.0, 6.0), "cool": (4.0, 12.0), "hot": (26.0, 38.0)}


UNDER_A_COVER = [(Kind.PROTECTION_ENDS, Kind.LIGHT_VEHICLES), (Kind.PROTECTION_ENDS, Kind.HEAVY_VEHICLES)]


def broken(schedule: CureSchedule) -> list[str]:
    """Return the pairs of dates that are not in order; a date past the estimate is after all others."""
    dates = {each.kind: _for_the_last(each, schedule) for each in schedule.milestones}
    order = ORDER + (UNDER_A_COVER if schedule.curing_method == "insulating blanket" else [])
    return [
        f"{second} before {first}"
        for first, second in order
        if first in dates and second in dates and not _in_order(dates[first], dates[second])
    ]


def _for_the_last(date: Milestone, schedule: CureSchedule) -> Milestone:
    """Return a date for the concrete placed last, as all are but sawing part by part."""
    windows = schedule.joints.windows if schedule.joints else ()
    if date.kind != Kind.SAW_JOINTS or not windows or windows[-1].part != "last":
        return date
    window = windows[-1]
    return replace(date, likely=window.opens, not_before=window.opens_not_before)


PAIRS = [("not_before", "not_after"), ("opens", "closes"), ("opens_not_before", "closes"), ("start", "end")]


def crossed(document: Any, where: str = "") -> Iterator[str]:
    """Yield the pairs of a JSON document of which the first instant is after the second, with their place."""
    if isinstance(document, list):
        for number, each in enumerate(document):
            yield from crossed(each, f"{where}[{number}]")
    if isinstance(document, dict):
        for first, second in PAIRS:
            ends = [document.get(first), document.get(second)]
            if all(ends) and datetime.fromisoformat(ends[0]) > datetime.fromisoformat(ends[1]):
                yield f"{where}: {first} {ends[0]}, {second} {ends[1]}"
        for key, each in document.items():
            yield from crossed(each, f"{where}.{key}")


def _in_order(first: Milestone, second: Milestone) -> bool:
    return all(
        later is None or (earlier is not None and earlier <= later)
        for earlier, later in ((first.likely, second.likely), (first.not_before, second.not_before))
    )


ONE_OF_THREE = [
    (day, mix, METHODS[(first + second) % len(METHODS)])
    for (first, day), (second, mix) in product(enumerate(DAYS), enumerate(MIXES))
]
"""Every day with every mix and with every method; `make matrix` crosses all three."""


@pytest.mark.parametrize(("day", "mix", "method"), ONE_OF_THREE)
def test_no_date_is_before_one_that_it_needs(
    job: Job, weather: Weather, as_of: datetime, mix: str, method: str, day: str
) -> None:
    record = job(mix=MIXES[mix], curing={"method": method})
    lowest, highest = DAYS[day]
    assert broken(plan_cure(record, weather(lowest, highest), as_of, members=MEMBERS)) == []


@pytest.mark.parametrize(("rules", "thickness"), list(zip([STRICTEST, *rule_sets()], cycle([0.254, 0.089]))))
def test_no_set_of_rules_breaks_the_order_in_frost(
    job: Job, weather: Weather, as_of: datetime, rules: str, thickness: float
) -> None:
    record = job(slab={"thickness": thickness}, curing={"method": "insulating blanket"})
    assert broken(plan_cure(record, weather(-8.0, 0.0), as_of, members=MEMBERS, rules=rules)) == []


def test_a_blanket_stays_on_concrete_that_has_not_set(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: covers off three days before the first set, because days of curing had a cap and strength too."""
    record = job(
        placement={"concrete_temperature": 16.0},
        curing={"method": "insulating blanket", "blanket_r_value": 0.7},
    )
    schedule = plan_cure(record, weather(-8.0, 0.0), as_of)
    ends, safe = (schedule.milestone(kind) for kind in (Kind.CURING_ENDS, Kind.FROST_SAFE))
    assert ends is not None
    assert safe is not None
    assert safe.not_before is None or ends.not_before is None or ends.not_before >= safe.not_before
    assert broken(schedule) == []


def test_a_condition_of_order_is_named_only_where_it_governs(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    warm = plan_cure(job(), weather(), as_of, members=MEMBERS)
    for each in warm.milestones:
        rules = {gate.rule for gate in each.because.others}
        assert not rules & {"foot-traffic.set", "light-work.foot-traffic", "curing-ends.frost-safe"}


@pytest.mark.parametrize(
    ("mix", "joints"),
    [
        ({}, "sawn"),
        ({"slag": 0.5}, "early-entry"),
        ({"cement": "III"}, "sawn"),
        ({"admixtures": ("retarder",)}, "early-entry"),
    ],
)
@pytest.mark.parametrize("day", [(-4.0, 4.0), (9.0, 21.0), (26.0, 38.0)])
def test_no_pair_of_the_json_is_crossed(
    job: Job, weather: Weather, as_of: datetime, mix: dict[str, Any], joints: str, day: tuple[float, float]
) -> None:
    """Seen: a slab placed in seven hours, sawn part by part, had `not_before` after `not_after`."""
    record = job(
        slab={"joints": joints}, mix=mix, placement={"end": as_of.replace(hour=13), "finished": None}
    )
    schedule = plan_cure(record, weather(*day), as_of, members=MEMBERS)
    assert list(crossed(json.loads(schedule_json(schedule)))) == []
    assert broken(schedule) == []


@pytest.mark.parametrize("mix", [{}, {"slag": 0.5}, {"admixtures": ("retarder",)}])
@pytest.mark.parametrize("day", [(-8.0, 0.0), (-4.0, 4.0)])
@pytest.mark.parametrize("members", [4, 8, MEMBERS])
def test_no_saw_comes_before_set_however_the_members_scatter(
    job: Job, weather: Weather, as_of: datetime, mix: dict[str, Any], day: tuple[float, float], members: int
) -> None:
    """Seen: hours of an early-entry saw that were over in some members before half of them had set."""
    record = job(
        slab={"joints": "early-entry"}, mix=mix, placement={"end": as_of.replace(hour=13), "finished": None}
    )
    assert broken(plan_cure(record, weather(*day), as_of, members=members)) == []


@pytest.mark.parametrize("end", [7, 10, 13, 17])
def test_sawn_part_by_part_the_date_is_that_of_the_part_placed_first(
    job: Job, weather: Weather, as_of: datetime, end: int
) -> None:
    """One meaning: the hours that must not be missed; each part has its own window, in the order placed."""
    record = job(placement={"end": as_of.replace(hour=end), "finished": None})
    schedule = plan_cure(record, weather(26.0, 38.0), as_of, members=40)
    date, joints = schedule.milestone(Kind.SAW_JOINTS), schedule.joints
    assert date is not None
    assert joints is not None
    first, *others = [each for each in joints.windows if each.saw == "conventional"]
    assert (date.likely, date.not_after) == (first.opens, first.closes)
    assert date.not_before == (first.opens_not_before or first.closes)
    assert [each.part for each in (first, *others)] == (["first", "last"] if others else ["whole"])
    codes = {each.code for each in schedule.cautions} & {"saw-in-stages", "saw-in-order"}
    meet = [each.opens_not_before is not None and each.opens_not_before <= first.closes for each in others]
    assert codes == ({"saw-in-order" if all(meet) else "saw-in-stages"} if others else set())
    later = plan_cure(record, weather(26.0, 38.0), as_of + timedelta(days=3), members=40)
    assert not {each.code for each in later.cautions} & {"saw-in-stages", "saw-in-order"}
    for last in others:
        assert first.opens is not None
        assert last.opens is not None
        assert first.closes is not None
        assert last.closes is not None
        assert first.opens < last.opens
        assert first.closes < last.closes


def test_frost_that_puts_water_off_leaves_it_no_late_end(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: first water not before April 22, and not after April 17, with covers on the slab until then."""
    first = plan_cure(job(), weather(20.0, 30.0), as_of, members=MEMBERS).milestone(Kind.FIRST_WATER)
    assert first is not None
    assert first.not_before is not None
    hour = timedelta(hours=1)
    for late, kept in ((first.not_before - hour, None), (first.not_before + hour, first.not_before + hour)):
        [water] = _with_window((first,), SurfacePlan(late, None))
        assert water.not_after == kept
