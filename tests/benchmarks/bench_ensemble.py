"""What the band costs: members and days against time and memory, beside a general stiff solver.

python tests/benchmarks/bench_ensemble.py
"""

from __future__ import annotations

import resource
import time
from dataclasses import replace
from datetime import UTC
from statistics import median
from typing import TYPE_CHECKING

import backtest
import numpy as np
from scipy.integrate import solve_ivp

from handover.practice.rules import practice
from handover.schedule import slab_simulation
from handover.schedule.ensemble import draw_ensemble
from handover.schedule.mix import concrete_properties
from handover.schedule.plan import plan_cure
from handover.schedule.slab_simulation import simulate_slab
from handover.weather.series import Origin
from handover.weather.uncertainty import ForecastMembers

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather.series import WeatherSeries

REPEATS = 3
TARGET_S = 0.6


def timed(work: Callable[[], object]) -> float:
    """Return the median time of a piece of work, in s of this process."""
    spent = []
    for _ in range(REPEATS):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return median(spent)


def main() -> None:
    """Print the table."""
    town = backtest.TOWNS[0]
    number, day, real = next(iter(backtest.pours(town, town.year(), 4)))
    job = backtest.job_on(town, number, day)
    made = job.placement.start.astimezone(UTC)

    def march(members: int) -> float:
        drawn = draw_ensemble(job, real, practice(), forecast_issued_s=made.timestamp(), members=members)
        concrete = concrete_properties(job.mix, drawn, practice())
        return timed(lambda: simulate_slab(job, real, drawn, concrete, practice()))

    print("The slab through 28 days, s of one core")
    for members in (1, 50, 100, 200, 400):
        print(f"  {members:4} members {march(members):8.3f}")
    of_200 = march(200)
    print(f"  200 members against the {TARGET_S} s asked for: {of_200 / TARGET_S:.2f}")
    print("200 members, by days followed")
    whole = slab_simulation.DAYS
    for days in (7, 14, 28):
        slab_simulation.DAYS = days
        print(f"  {days:4} days    {march(200):8.3f}")
    slab_simulation.DAYS = whole
    print(f"The whole schedule, 200 members: {timed(lambda: plan_cure(job, real, made)):.3f} s")
    apart = np.linspace(-6.0, 6.0, 51)
    states = {"air_c": real.air_c[:384, np.newaxis] + apart}
    origin = np.full(len(real), Origin.FORECAST, dtype=np.int8)
    members = ForecastMembers(real.time[:384], states, "invented")
    with_members = replace(real, origin=origin, uncertainty=members)
    spent = timed(lambda: plan_cure(job, with_members, made))
    print(f"The whole schedule, with 51 members of a service: {spent:.3f} s")
    print(f"The whole schedule, central case: {timed(lambda: plan_cure(job, real, made, members=2)):.3f} s")
    print(f"Memory at its highest: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    one = stiff_solver(real)
    print(f"A general stiff solver (BDF), one member after another, 200 times one: {200 * one:.1f} s")
    print(f"  ratio to ours: {200 * one / of_200:.0f}")


def stiff_solver(real: WeatherSeries) -> float:
    """Return the time of scipy's BDF on a slab of as many nodes under the same air, one member."""
    nodes, cell, diffusivity = 22, 0.0127, 0.8e-6
    hours = np.arange(28 * 24 + 1) * 3600.0
    air = real.air_c[: len(hours)]

    def flow(t: float, temperature: np.ndarray) -> np.ndarray:
        change = np.zeros_like(temperature)
        flux = np.diff(temperature) / cell**2 * diffusivity
        change[:-1] += flux
        change[1:] -= flux
        change[0] += 15.0 * (np.interp(t, hours, air) - temperature[0]) / (2.35e6 * cell / 2)
        return change

    start = np.full(nodes, 25.0)
    return timed(
        lambda: solve_ivp(flow, (0.0, hours[-1]), start, method="BDF", rtol=1e-4, atol=1e-3, t_eval=hours)
    )


if __name__ == "__main__":
    main()
