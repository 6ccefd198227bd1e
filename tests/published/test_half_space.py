"""Conduction in a half-space: the closed solutions of Carslaw and Jaeger, Conduction of Heat in Solids.

A deep enough column of inert material represents the half-space. A given surface temperature is a film
coefficient of 1e6 W/(m2 K), 3000 times what the top cell conducts. The figures in the tests were worked out
apart from this code; where a problem is printed, its source stands beside it.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, erfc

from handover.base.arrays import Floats
from handover.concrete.heat import INERT, Exchange, Layer, grid_column, march

CONDUCTIVITY = 1.5  # W/(m K)
HEAT_CAPACITY = 2350.0 * 1000.0  # J/(m3 K)
DIFFUSIVITY = CONDUCTIVITY / HEAT_CAPACITY
GIVEN_TEMPERATURE = 1e6  # W/(m2 K)
DAY = 86_400.0
PULSE = 2.0 * np.pi / DAY
REACH = np.sqrt(2.0 * DIFFUSIVITY / PULSE)  # m


def weather(steps: Floats, air_c: float | Floats, film: float, sun: float = 0.0) -> Exchange:
    """Return air, film and sun alone: no vapour, no sky, no cover."""
    instants = np.zeros((len(steps) + 1, 1))
    means = np.zeros((len(steps), 1))
    return Exchange(
        air_c=instants + np.reshape(air_c, (-1, 1)),
        vapour_pa=instants,
        film=instants + film,
        transfer=instants,
        longwave=instants,
        sun=means + sun,
        cover=means,
        emissivity=0.0,
    )


def profile(
    *,
    depth: float,
    cells: int,
    steps: Floats,
    start_c: float,
    air_c: float,
    film: float,
    sun: float = 0.0,
    conductivity: float = CONDUCTIVITY,
    heat_capacity: float = HEAT_CAPACITY,
) -> tuple[Floats, Floats]:
    """Return the depths of the nodes and their temperatures at the end."""
    ground = grid_column(Layer(depth, conductivity, heat_capacity, cells), ())
    outcome = march(
        ground,
        INERT,
        weather(steps, air_c, film, sun),
        steps=steps,
        initial_c=np.full((1, cells + 1), start_c),
        deep_c=None,
    )
    return ground.depth, outcome.final_c[0]


def test_step_of_the_surface_temperature() -> None:
    """20 degC, surface to 5 degC, 6 h: erf(x / 2 sqrt(a t)); tolerance 0.002 degC, cells of 5 mm."""
    depths, ends = profile(
        depth=2.0, cells=400, steps=np.full(72, 300.0), start_c=20.0, air_c=5.0, film=GIVEN_TEMPERATURE
    )
    at = np.array([0.05, 0.10, 0.20])
    np.testing.assert_allclose(np.interp(at, depths, ends), [8.550, 11.794, 16.574], atol=2e-3)
    exact = 5.0 + 15.0 * erf(depths / (2.0 * np.sqrt(DIFFUSIVITY * 6 * 3600.0)))
    np.testing.assert_allclose(ends, exact, atol=2e-3)


def test_convection_at_the_surface() -> None:
    """30 degC, air 10 degC, 20 W/(m2 K), 6 h; tolerance 0.002 degC, cells of 5 mm."""
    depths, ends = profile(
        depth=2.0, cells=400, steps=np.full(72, 300.0), start_c=30.0, air_c=10.0, film=20.0
    )
    at = np.array([0.0, 0.05, 0.10])
    np.testing.assert_allclose(np.interp(at, depths, ends), [16.223, 20.110, 23.335], atol=2e-3)
    spread = DIFFUSIVITY * 6 * 3600.0
    near, ratio = depths[:200] / (2.0 * np.sqrt(spread)), 20.0 / CONDUCTIVITY
    cooled = erfc(near) - np.exp(ratio * depths[:200] + ratio**2 * spread) * erfc(
        near + ratio * np.sqrt(spread)
    )
    np.testing.assert_allclose(ends[:200], 30.0 - 20.0 * cooled, atol=2e-3)


def test_convection_printed_example() -> None:
    """Printed in the examples of a library of heat transfer: 389.5 K; tolerance 0.05 K, its last digit.

    393 K at first, fluid 355 K, 50 W/(m2 K), k 10 W/(m K), a 4.029e-6 m2/s, 3 mm deep after 100 s.
    """
    depths, ends = profile(
        depth=0.3,
        cells=300,
        steps=np.full(100, 1.0),
        start_c=393.0 - 273.15,
        air_c=355.0 - 273.15,
        film=50.0,
        conductivity=10.0,
        heat_capacity=10.0 / 4.029e-6,
    )
    assert np.interp(0.003, depths, ends) + 273.15 == pytest.approx(389.5, abs=0.05)


def test_constant_flux() -> None:
    """500 W/m2 for 1 h warm the surface by 2 q/k sqrt(a t/pi) = 18.03 degC; tolerance 0.01 degC."""
    _, ends = profile(
        depth=1.0, cells=400, steps=np.full(12, 300.0), start_c=20.0, air_c=0.0, film=0.0, sun=500.0
    )
    assert ends[0] - 20.0 == pytest.approx(18.03, abs=0.01)


@pytest.mark.parametrize(
    ("start", "surface", "diffusivity", "expected", "tolerance"),
    [
        pytest.param(20.0, -15.0, 0.138e-6, 0.68, 0.005, id="Incropera"),
        pytest.param(8.0, -8.0, 0.15e-6, 0.841, 0.001, id="Cengel"),
    ],
)
def test_frost_depth(
    start: float, surface: float, diffusivity: float, expected: float, tolerance: float
) -> None:
    """How deep a water main must be not to freeze in 60 days: problems of Incropera and of Cengel.

    0.68 m is printed (recalled, and the identity agrees); 0.841 m follows from inputs that were read.
    """
    depths, ends = profile(
        depth=8.0,
        cells=400,
        steps=np.full(60 * 24, 3600.0),
        start_c=start,
        air_c=surface,
        film=GIVEN_TEMPERATURE,
        conductivity=diffusivity * 2e6,
        heat_capacity=2e6,
    )
    assert np.interp(0.0, ends, depths) == pytest.approx(expected, abs=tolerance)


def daily_wave(seconds: float) -> tuple[complex, complex, complex]:
    """Return the third day's harmonics of a given sine, of the surface that follows it, and of 0.1 m."""
    steps = np.full(round(3 * DAY / seconds), seconds)
    phase = PULSE * np.concatenate([[0.0], np.cumsum(steps)])
    ground = grid_column(Layer(2.0, CONDUCTIVITY, HEAT_CAPACITY, 400), ())
    settled = np.exp(-ground.depth / REACH) * np.sin(-ground.depth / REACH)
    given = np.sin(phase)
    outcome = march(
        ground,
        INERT,
        weather(steps, given, GIVEN_TEMPERATURE),
        steps=steps,
        initial_c=settled[np.newaxis],
        deep_c=None,
        nodes=[0, 20],  # surface and 0.1 m
    )
    day = slice(-round(DAY / seconds), None)
    turning = np.exp(-1j * phase[day])
    surface, below = turning @ outcome.temperature_c[day, 0, :]
    return complex(turning @ given[day]), complex(surface), complex(below)


def test_daily_wave() -> None:
    """A daily sine at the surface is 0.470 as strong at 0.1 m and 2.883 h late; tolerance 0.1 %.

    exp(-x/d), x/(d w), d = sqrt(2 a/w) = 0.1325 m.
    """
    assert pytest.approx(0.1325, rel=1e-3) == REACH
    given, _, below = daily_wave(300.0)
    assert abs(below / given) == pytest.approx(0.470, rel=1e-3)
    assert -np.angle(below / given) / PULSE / 3600.0 == pytest.approx(2.883, rel=1e-3)


def test_the_surface_keeps_step_with_the_wave() -> None:
    """A surface whose temperature is given has that temperature; tolerance 0.1 % and 1 min in steps of 15."""
    given, surface, _ = daily_wave(900.0)
    assert abs(surface / given) == pytest.approx(1.0, rel=1e-3)
    assert np.angle(surface / given) / PULSE == pytest.approx(0.0, abs=60.0)


def test_two_half_spaces_meet() -> None:
    """Warm concrete on cold ground: the contact takes (e1 T1 + e2 T2)/(e1 + e2), e = sqrt(k rho c), at once.

    The node at the contact starts with the heat of its two halves. Tolerance 0.01 degC after an hour.
    """
    concrete = Layer(1.0, 1.5, 2.35e6, 200)
    soil = Layer(1.0, 0.3, 1.28e6, 200)
    start = np.where(np.arange(401) < 200, 30.0, 10.0)
    start[200] = (2.35e6 * 30.0 + 1.28e6 * 10.0) / (2.35e6 + 1.28e6)
    steps = np.full(60, 60.0)
    outcome = march(
        grid_column(concrete, [soil]),
        INERT,
        weather(steps, 0.0, 0.0),
        steps=steps,
        initial_c=start[np.newaxis],
        deep_c=None,
    )
    warm, cold = np.sqrt(1.5 * 2.35e6), np.sqrt(0.3 * 1.28e6)
    assert outcome.final_c[0, 200] == pytest.approx((warm * 30.0 + cold * 10.0) / (warm + cold), abs=0.01)


def test_warm_concrete_thaws_frozen_ground() -> None:
    """Neumann's solution, Carslaw and Jaeger, sec. 11.2, for a half-space of concrete on ice at 0 degC.

    The contact is at once at Ti, and the thaw at 2 m sqrt(a t) below it: what the concrete conducts to the
    contact, k1 (T1 - Ti)/sqrt(a1), the thawed ground conducts on, k2 Ti/(sqrt(a2) erf m), and what reaches
    the thaw melts ice, k2 Ti exp(-m2)/(sqrt(pi a2) erf m) = L m sqrt(a2). Tolerance 2 %: cells of 5 mm melt
    one after the other.
    """
    k1, c1, k2, c2, ice, warm = 1.5, 2.35e6, 1.0, 2.0e6, 1e8, 20.0
    ratio = np.sqrt(k2 * c2) / np.sqrt(k1 * c1)

    def contact(m: float) -> float:
        return float(warm / (1.0 + ratio / erf(m)))

    def unbalanced(m: float) -> float:
        return float(c2 * contact(m) * np.exp(-(m**2)) / (np.sqrt(np.pi) * erf(m)) - ice * m)

    m = brentq(unbalanced, 1e-3, 3.0)
    steps = np.full(24 * 60, 60.0)
    lost = 2.0 * np.sqrt(k1 * c1 / np.pi) * (warm - contact(m)) * np.sqrt(steps.sum())
    start = np.where(np.arange(401) < 200, warm, -1e-9)
    start[200] = c1 * warm / (c1 + c2)
    outcome = march(
        grid_column(Layer(1.0, k1, c1, 200), [Layer(1.0, k2, c2, 200, ice=ice)]),
        INERT,
        weather(steps, 0.0, 0.0),
        steps=steps,
        initial_c=start[np.newaxis],
        deep_c=None,
        frozen=np.ones((1, 401), dtype=bool),
    )
    held = c1 * np.trapezoid(outcome.final_c[0, :201], dx=0.005)
    assert warm * c1 - held == pytest.approx(lost, rel=0.02)
    thawed = 0.005 * np.count_nonzero(outcome.final_c[0, 200:] > 1e-6)
    assert thawed == pytest.approx(2.0 * m * np.sqrt(k2 / c2 * steps.sum()), abs=0.005)
    assert outcome.heat.stored[0] == pytest.approx(0.0, abs=1e-3 * lost)  # nothing passes either end
