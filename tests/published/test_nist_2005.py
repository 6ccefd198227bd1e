"""NIST (2005), paper to the American Chemical Society on the simulation of cement hydration.

With an activation energy of 45.5 kJ/mol, hydration runs about 3.3 times faster at 40 than at 20 degC.
"""

import pytest

from handover.concrete.maturity import arrhenius_rate


def test_rate() -> None:
    """Tolerance 0.05: half of the last printed digit."""
    assert arrhenius_rate(40.0, 45.5e3, 20.0) == pytest.approx(3.3, abs=0.05)
