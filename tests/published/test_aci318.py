"""ACI 318: modulus of rupture, 7.5 sqrt(f'c), and 9 sqrt(f'c) of paving practice, in psi.

The formula is from memory; 3000 psi giving 411 and 493 psi is arithmetic on it: it guards the units.
"""

import pytest

from handover.concrete.strength import modulus_of_rupture

MPA_PER_PSI = 1.0 / 145.04


@pytest.mark.parametrize(("factor", "expected"), [(7.5, 411.0), (9.0, 493.0)])
def test_3000_psi(factor: float, expected: float) -> None:
    """Tolerance 0.2 %: half of the last digit given."""
    rupture = modulus_of_rupture(3000.0 * MPA_PER_PSI, factor)
    assert rupture / MPA_PER_PSI == pytest.approx(expected, rel=2e-3)
