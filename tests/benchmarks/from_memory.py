"""How many dates rest on a rule that is from memory: 100 random jobs, under the rules of every country.

A date rests on the rule that governs it, which is printed beside it with its mark. A time to set with a
retarder or an accelerator rests on the factor of that admixture as well. Other rules from memory govern no
date: they are constants of the model, spreads, and limits of records.

    python tests/benchmarks/from_memory.py [JOBS]
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter
from datetime import UTC, timedelta
from importlib.resources import files
from typing import TYPE_CHECKING, Any, get_args

import backtest
import numpy as np

from handover.jobs.record import (
    Base,
    Curing,
    Exposure,
    JobRecord,
    Method,
    Mix,
    Placement,
    Site,
    Slab,
    SlabUse,
)
from handover.practice.rules import practice, rule_sets
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.schedule.model import CureSchedule

JOBS = 100
MEMBERS = 40
MEMORY = "from memory"
ADMIXTURES = {"retarder": "setting.retarder", "accelerator": "setting.accelerator"}
SETTING = ("initial-set.degree", "final-set.degree", "saw-joints.final-set")


def random_job(random: np.random.Generator, number: int, town: backtest.Town, day: datetime) -> JobRecord:
    """Return a slab of any use, mix and method, placed on a day."""

    def one_of(values: tuple[Any, ...]) -> Any:
        return values[random.integers(len(values))]

    start = day.replace(hour=int(random.integers(6, 14)))
    ash, slag = one_of(((0.0, 0.0), (0.0, 0.0), (0.2, 0.0), (0.3, 0.0), (0.0, 0.25), (0.0, 0.5)))
    return JobRecord(
        id=f"from-memory-{number}",
        site=Site(name=town.name, latitude=town.latitude, longitude=town.longitude, timezone=town.zone),
        slab=Slab(
            use=one_of(get_args(SlabUse)),
            area=100.0,
            thickness=float(random.choice([0.1016, 0.127, 0.1524, 0.254])),
            on=one_of(get_args(Base)),
            exposure=one_of(get_args(Exposure)),
        ),
        placement=Placement(start=start, end=start + timedelta(hours=1)),
        mix=Mix(
            specified_strength=float(random.choice([20.684, 24.132, 27.579, 32.0])),
            cement=one_of(tuple(practice().cements)),
            cementitious=float(random.uniform(280.0, 380.0)),
            water_cementitious=float(random.uniform(0.42, 0.58)),
            fly_ash=ash,
            slag=slag,
            admixtures=one_of(((), (), (), ("retarder",), ("accelerator",))),
        ),
        curing=Curing(method=one_of(get_args(Method)), application_rate=10.16),
    )


def schedules(count: int) -> Iterator[tuple[JobRecord, CureSchedule]]:
    """Yield random jobs with their schedules, under the rules of each country in turn."""
    random = np.random.default_rng(2026)
    codes = sorted(rule_sets())
    for number in range(count):
        town = backtest.TOWNS[number % len(backtest.TOWNS)]
        days = list(backtest.pours(town, town.year(), 12))
        _, day, weather = days[random.integers(len(days))]
        job = random_job(random, number, town, day)
        made = job.placement.start.astimezone(UTC)
        code = codes[number % len(codes)]
        yield job, plan_cure(job, weather, made, members=MEMBERS, rules=code)


def rests_on(job: JobRecord, schedule: CureSchedule) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield each printed date with the rules from memory that it rests on."""
    factors = [rule for name, rule in ADMIXTURES.items() if name in job.mix.admixtures]
    for milestone in schedule.milestones:
        if milestone.not_before is None:
            continue
        gate = milestone.because.governing
        named = [f"{gate.rule}: {gate.source.partition('. ')[0]}"] if gate.mark == MEMORY else []
        if gate.rule in SETTING:
            named += [rule for rule in factors if practice().rules[rule].mark == MEMORY]
        yield milestone.kind, tuple(named)


def marked(folder: str = "") -> Iterator[str]:
    """Yield every row of the data that is from memory, by its file and name."""
    for entry in sorted(files("handover.practice").joinpath(folder).iterdir(), key=lambda each: each.name):
        if entry.name.endswith(".toml"):
            tables = tomllib.loads(entry.read_text(encoding="utf-8"))
            name = entry.name.removesuffix(".toml")
            yield from (f"{name}: {row}" for row in _marked_rows(tables, ()))


def _marked_rows(table: dict[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    if table.get("mark") == MEMORY:
        yield table.get("rule") or ".".join(path)
    for name, value in table.items():
        for row in value if isinstance(value, list) else [value]:
            if isinstance(row, dict):
                yield from _marked_rows(row, (*path, name))


def main(count: int) -> None:
    """Print the table."""
    found = [pair for job, schedule in schedules(count) for pair in rests_on(job, schedule)]
    by_rule = Counter(rule for _, rules in found for rule in rules)
    resting = sum(bool(rules) for _, rules in found)
    print(f"{count} jobs, {len(found)} dates; {resting} of them rest on a rule from memory\n")
    for rule, number in by_rule.most_common():
        kinds = Counter(kind for kind, rules in found if rule in rules)
        print(f"{number:6}  {rule}\n        {', '.join(f'{kind} {n}' for kind, n in kinds.items())}")
    rows = [*marked(), *marked("countries")]
    print(f"\nFrom memory, {len(rows)} rows of the data:")
    for row in rows:
        print(f"  {row}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else JOBS)
