"""What a comparison of start hours costs: starts against time, beside one schedule of the same job.

python tests/benchmarks/bench_starts.py
"""

from __future__ import annotations

from datetime import UTC, timedelta

import backtest
from bench_ensemble import timed

from handover.schedule.ensemble import MEMBERS
from handover.schedule.plan import plan_cure
from handover.schedule.start_hours import compare_starts

PLACING = timedelta(hours=2)
STARTS = (1, 6, 12, 24)
TARGET_S = 3.0


def main() -> None:
    """Print the table."""
    town = backtest.TOWNS[0]
    number, day, real = next(iter(backtest.pours(town, town.year(), 4)))
    job = backtest.job_on(town, number, day)
    first = job.placement.start
    asked = first.astimezone(UTC) - timedelta(hours=2)

    def compare(count: int) -> float:
        starts = [first + timedelta(hours=each) for each in range(count)]
        return timed(lambda: compare_starts(job, real, asked, starts, PLACING))

    schedule = timed(lambda: plan_cure(job, real, first.astimezone(UTC)))
    print(f"One schedule, 28 days, 200 members: {schedule:.2f} s of one core")
    print(f"Start hours, 7 days, {MEMBERS} members each, s of one core, and as schedules")
    for count in STARTS:
        spent = compare(count)
        print(f"  {count:3} starts {spent:8.2f} {spent / schedule:8.2f}")
    print(f"  {STARTS[-1]} starts against the {TARGET_S:g} s asked for: {spent / TARGET_S:.2f}")


if __name__ == "__main__":
    main()
