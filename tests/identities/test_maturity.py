"""What must hold of maturity whatever the numbers."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.base.arrays import Floats
from handover.concrete.freezing import Freezing
from handover.concrete.maturity import (
    arrhenius_rate,
    equivalent_age,
    temperature_time_factor,
)
from handover.errors import OutOfRange

ENERGY = 41.5e3
lengths = st.lists(st.floats(0.05, 12.0), min_size=1, max_size=30)
energies = st.floats(20e3, 60e3)

INDICES: list[Callable[[object, object], Floats]] = [
    lambda hours, temperature: equivalent_age(hours, temperature, ENERGY, 20.0),
    lambda hours, temperature: temperature_time_factor(hours, temperature, -10.0),
]
every_index = pytest.mark.parametrize("index", INDICES, ids=["equivalent age", "TTF"])


def instants(intervals: list[float]) -> Floats:
    return np.concatenate([[0.0], np.cumsum(intervals)])


def temperatures_for(intervals: list[float]) -> Floats:
    """Return temperatures that swing from -15 to 45 degC, one for each interval."""
    return 15.0 + 30.0 * np.sin(1.7 * np.arange(len(intervals)))


@given(lengths, energies, st.floats(5.0, 30.0))
def test_equivalent_age_is_clock_time_at_the_reference(
    intervals: list[float], energy: float, reference: float
) -> None:
    hours = instants(intervals)
    steady = np.full(len(intervals), reference)
    np.testing.assert_allclose(equivalent_age(hours, steady, energy, reference), hours, rtol=1e-12)


@given(energies, st.floats(-10.0, 60.0), st.floats(0.1, 20.0))
def test_warmer_is_faster(energy: float, temperature: float, step: float) -> None:
    assert arrhenius_rate(temperature + step, energy, 20.0) > arrhenius_rate(temperature, energy, 20.0)


@given(st.floats(-10.0, 60.0), energies)
def test_changing_the_reference_divides_by_the_rate_there(temperature: float, energy: float) -> None:
    at_20 = arrhenius_rate(temperature, energy, 20.0)
    assert arrhenius_rate(temperature, energy, 23.0) == pytest.approx(
        at_20 / arrhenius_rate(23.0, energy, 20.0), rel=1e-12
    )


@every_index
@given(intervals=lengths, share=st.floats(0.05, 0.95))
def test_additive_over_splits(
    index: Callable[[object, object], Floats], intervals: list[float], share: float
) -> None:
    """Cutting every interval in two at the same temperature changes nothing at the old instants."""
    hours, temperature = instants(intervals), temperatures_for(intervals)
    cuts = hours[:-1] + share * np.diff(hours)
    finer = index(np.sort(np.concatenate([hours, cuts])), np.repeat(temperature, 2))
    np.testing.assert_allclose(finer[::2], index(hours, temperature), rtol=1e-9, atol=1e-12)


@every_index
@given(intervals=lengths)
def test_starts_at_nothing_and_never_falls(
    index: Callable[[object, object], Floats], intervals: list[float]
) -> None:
    grown = index(instants(intervals), temperatures_for(intervals))
    assert grown[0] == 0.0
    assert grown.shape == (len(intervals) + 1,)
    assert np.all(np.diff(grown) >= 0.0)


@every_index
def test_many_histories_at_once_are_each_its_own(index: Callable[[object, object], Floats]) -> None:
    hours = np.array([0.0, 1.0, 4.0, 6.0])
    histories = np.array([[20.0, 25.0, 30.0], [5.0, -2.0, 8.0]])
    together = index(hours, histories)
    assert together.shape == (2, 4)
    for row, history in zip(together, histories, strict=True):
        np.testing.assert_array_equal(row, index(hours, history))


def test_each_member_with_its_own_energy() -> None:
    hours, temperature = np.array([0.0, 2.0, 5.0]), np.array([30.0, 10.0])
    together = equivalent_age(hours, temperature, np.array([[30e3], [50e3]]), 20.0)
    assert together.shape == (2, 3)
    for row, energy in zip(together, (30e3, 50e3), strict=True):
        np.testing.assert_array_equal(row, equivalent_age(hours, temperature, energy, 20.0))


@given(lengths, st.floats(-10.0, 10.0))
def test_nothing_is_gained_at_and_below_the_datum(intervals: list[float], datum: float) -> None:
    cold = np.linspace(datum - 20.0, datum, len(intervals))
    np.testing.assert_array_equal(temperature_time_factor(instants(intervals), cold, datum), 0.0)


def test_age_does_not_advance_while_frozen() -> None:
    """Two hours at 10 degC count; the frozen one between them does not."""
    hours, temperature = [0.0, 1.0, 2.0, 3.0], [10.0, -4.0, 10.0]
    ages = equivalent_age(hours, temperature, ENERGY, 10.0, Freezing(-1.0, -3.0))
    np.testing.assert_allclose(ages, [0.0, 1.0, 1.0, 2.0], rtol=1e-12)


@every_index
@pytest.mark.parametrize(
    ("hours", "temperature"),
    [
        ([0.0, 2.0, 1.0], [20.0, 20.0]),
        ([0.0, 1.0, 1.0], [20.0, 20.0]),
        ([0.0, np.nan, 2.0], [20.0, 20.0]),
        ([0.0, 1.0, 2.0], [20.0]),
        ([0.0, 1.0, 2.0], 20.0),
        ([0.0, 1.0], [20.0, 20.0]),
        ([[0.0, 1.0]], [20.0]),
        ([], []),
        ([0.0, 1.0], [-9999.0]),
    ],
    ids=["back", "still", "unknown", "too few", "no row", "too many", "grid", "none", "missing mark"],
)
def test_histories_that_make_no_sense(
    index: Callable[[object, object], Floats], hours: object, temperature: object
) -> None:
    with pytest.raises(OutOfRange):
        index(hours, temperature)
