"""What must hold of freezing pore water whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.freezing import Freezing, enthalpy, liquid_share, temperature_at
from handover.errors import OutOfRange

ICE = Freezing(-1.0, -3.0)


def test_the_liquid_share_falls_over_the_range() -> None:
    np.testing.assert_allclose(liquid_share([5.0, -1.0, -2.0, -3.0, -20.0], ICE), [1.0, 1.0, 0.5, 0.0, 0.0])


def test_there_is_no_cliff() -> None:
    """A hundredth of a kelvin moves the share by half a hundredth."""
    warm = np.arange(-5.0, 2.0, 0.01)
    assert np.abs(np.diff(liquid_share(warm, ICE))).max() == pytest.approx(0.005)


@given(st.floats(-30.0, 40.0), st.floats(1e3, 1e6), st.floats(0.0, 1e7))
def test_temperature_is_the_inverse_of_enthalpy(temperature: float, capacity: float, latent: float) -> None:
    each = np.array([temperature]), np.array([capacity]), np.array([latent])
    back = temperature_at(enthalpy(*each, ICE), each[1], each[2], ICE)
    np.testing.assert_allclose(back, each[0], rtol=1e-9, atol=1e-9)


def test_the_latent_heat_is_between_the_two_ends() -> None:
    begins, ends = (
        enthalpy(np.array([each]), np.array([2.4e6]), np.array([50e6]), ICE) for each in (-1.0, -3.0)
    )
    np.testing.assert_allclose(begins - ends, 2.0 * 2.4e6 + 50e6)


def test_a_range_without_width_is_refused() -> None:
    with pytest.raises(OutOfRange):
        Freezing(-1.0, -1.0)
