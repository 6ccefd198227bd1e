"""The heat balance of a schedule against scipy's stiff solver on the same problem, to the same accuracy.

A slab of 4 in on 1.5 m of soil, young type I concrete kept wet, 28 days of made-up summer weather. Both
solve the same equations on the same nodes, written apart from each other. The reference is BDF at a tight
tolerance; then BDF is tightened until its worst hour is no further off than ours. Run it by hand:

    python tests/benchmarks/heat_against_scipy.py
"""

from __future__ import annotations

import sys
from functools import partial
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np
from scipy.integrate import solve_ivp

from handover.air.psychrometrics import saturation_over_water, vapour_pressure
from handover.base.arrays import HOUR_S, ZERO_CELSIUS_K
from handover.concrete.heat import (
    LATENT_HEAT,
    STEFAN_BOLTZMANN,
    Exchange,
    GridColumn,
    HydrationParameters,
    Layer,
    Surface,
    grid_column,
    march,
    surface_exchange,
)
from handover.concrete.hydration import degree_and_rate
from handover.concrete.maturity import arrhenius_rate

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.base.arrays import Floats

HOURS = 28 * 24
SLAB_NODES = 9
SLAB = Layer(0.1016, 1.5, 2.35e6, SLAB_NODES - 1)
SOIL = Layer(1.5, 1.0, 1.6e6, 9, 1.4)
CONCRETE = HydrationParameters(
    ultimate=0.7428, tau=15.01, beta=0.6742, heat=484.6e3 * 335.0, activation_energy=46_626.0
)
PLACED_C, DEEP_C = 25.0, 20.0
TOLERANCES = (3e-2, 1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6)


def steps() -> Floats:
    """Return the steps of a schedule: 20 minutes on the first day, 30 on the second, then an hour."""
    return np.concatenate([np.full(72, HOUR_S / 3), np.full(48, HOUR_S / 2), np.full(HOURS - 48, HOUR_S)])


def weather(instants: Floats) -> Exchange:
    """Return hourly weather, read off between the hours; the sun is the mean of the hour."""
    hours = np.arange(HOURS + 1.0)
    day = np.sin(2.0 * np.pi * (hours - 9.0) / 24.0)
    air = 22.0 + 7.0 * day + 3.0 * np.sin(2.0 * np.pi * hours / 150.0)
    fallen = np.concatenate([[0.0], np.cumsum(np.maximum(800.0 * day[1:], 0.0))]) * HOUR_S

    def read(values: Floats) -> Floats:
        return np.interp(instants, hours * HOUR_S, values)[:, np.newaxis]

    return surface_exchange(
        Surface(),
        air_c=read(air),
        vapour_pa=read(vapour_pressure(air, 0.6 - 0.2 * day)),
        wind_ms=read(2.0 + day),
        cloud=read(0.3 + 0.0 * day),
        shortwave_wm2=np.diff(read(fallen), axis=0) / np.diff(instants)[:, np.newaxis],
    )


def ours(body: GridColumn, instants: Floats, outside: Exchange) -> Floats:
    """Return the surface, hour by hour."""
    outcome = march(
        body,
        CONCRETE,
        outside,
        steps=np.diff(instants),
        initial_c=start(body)[np.newaxis, : len(body.depth)],
        deep_c=DEEP_C,
        wetness=lambda _step, age_h: np.ones(len(age_h)),
        keep=np.isin(np.round(instants), np.arange(HOURS + 1) * HOUR_S),
    )
    return outcome.temperature_c[:, 0, 0]


def start(body: GridColumn) -> Floats:
    """Return the temperatures of all nodes, then the equivalent ages of those of concrete."""
    soil = np.full(len(body.depth) - SLAB_NODES, DEEP_C)
    return np.concatenate([np.full(SLAB_NODES, PLACED_C), soil, np.zeros(SLAB_NODES)])


def equations(body: GridColumn) -> Callable[[float, Floats], Floats]:
    """Return the right-hand side: temperatures in K/s, equivalent ages in h/s."""
    nodes = len(body.depth)
    hourly = weather(np.arange(HOURS + 1) * HOUR_S)
    result = np.hstack([hourly.air_c, hourly.vapour_pa, hourly.film, hourly.transfer])

    def slope(seconds: float, state: Floats) -> Floats:
        temperature, age = state[:nodes], state[nodes:]
        hour = min(int(seconds / HOUR_S), HOURS - 1)
        share = seconds / HOUR_S - hour
        air, vapour, film, transfer = result[hour] + share * (result[hour + 1] - result[hour])
        longwave = hourly.longwave[hour, 0] + share * (
            hourly.longwave[hour + 1, 0] - hourly.longwave[hour, 0]
        )
        surface = temperature[0]
        emitted = hourly.emissivity * STEFAN_BOLTZMANN * (surface + ZERO_CELSIUS_K) ** 4
        drying = max(float(saturation_over_water(surface)) - vapour, 0.0)
        flux = (
            film * (air - surface)
            + longwave
            + hourly.sun[hour, 0]
            - emitted
            - LATENT_HEAT * transfer / HOUR_S * drying
        )
        degree, rate = degree_and_rate(age, CONCRETE.ultimate, CONCRETE.tau, CONCRETE.beta)
        ageing = arrhenius_rate(temperature[:SLAB_NODES], CONCRETE.activation_energy, CONCRETE.reference_c)
        links = body.conductance.copy()
        links[: SLAB_NODES - 1] *= 1.0 + CONCRETE.conductivity_gain * (1.0 - degree.mean())
        flow = links * np.diff(temperature)
        load = np.zeros(nodes)
        load[:-1] += flow
        load[1:] -= flow
        load[0] += flux
        load[-1] += body.conductance[-1] * (DEEP_C - temperature[-1])
        load[:SLAB_NODES] += CONCRETE.heat * body.concrete * rate * ageing / HOUR_S
        return np.concatenate([load / body.capacity, ageing / HOUR_S])

    return slope


def scipys(body: GridColumn, tolerance: float) -> Floats:
    """Return the surface, hour by hour, by BDF; it may not step over an hour of weather."""
    answer = solve_ivp(
        equations(body),
        (0.0, HOURS * HOUR_S),
        start(body),
        method="BDF",
        t_eval=np.arange(HOURS + 1) * HOUR_S,
        rtol=tolerance,
        atol=tolerance,
        max_step=HOUR_S,
    )
    return answer.y[0]


def timed(work: Callable[[], Floats], times: int) -> tuple[Floats, float]:
    """Return the answer and the shortest of several runs, in s."""
    taken = []
    for _ in range(times):
        begun = perf_counter()
        answer = work()
        taken.append(perf_counter() - begun)
    return answer, min(taken)


def main() -> int:
    body = grid_column(SLAB, [SOIL])
    instants = np.concatenate([[0.0], np.cumsum(steps())])
    outside = weather(instants)
    reference = scipys(body, 1e-8)
    fine = np.arange(HOURS * 60 + 1) * 60.0
    agreement = np.abs(ours(body, fine, weather(fine)) - reference).max()
    print(f"both at steps too short to matter: {agreement:.4f} degC apart at most")

    answer, seconds = timed(lambda: ours(body, instants, outside), 5)
    worst = np.abs(answer - reference).max()
    print(f"ours, {len(instants) - 1} steps: {seconds:.3f} s, worst hour {worst:.3f} degC off")
    for tolerance in TOLERANCES:
        answer, scipy_seconds = timed(partial(scipys, body, tolerance), 1)
        off = np.abs(answer - reference).max()
        print(f"scipy BDF, tolerance {tolerance:g}: {scipy_seconds:.3f} s, worst hour {off:.3f} degC off")
        if off <= worst:
            print(f"ratio at the same accuracy, scipy to ours: {scipy_seconds / seconds:.1f}")
            break
    return 0


if __name__ == "__main__":
    sys.exit(main())
