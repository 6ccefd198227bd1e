"""ASTM C150: potential phases by Bogue, as a text on cement chemistry quotes the coefficients."""

import numpy as np
import pytest

from handover.concrete.hydration import bogue
from handover.errors import OutOfRange


def test_worked_example() -> None:
    """A common portland cement, by hand from the quoted coefficients; tolerance 0.01 %: the digits given."""
    phases = bogue(cao=0.635, sio2=0.205, al2o3=0.052, fe2o3=0.028, so3=0.029)
    np.testing.assert_allclose(phases, [0.5543, 0.1704, 0.0905, 0.0851], atol=1e-4)


def test_the_phases_are_most_of_the_cement() -> None:
    """Gypsum, free lime, magnesia and alkalis make up the rest: common practice, 5 to 12 %."""
    total = sum(bogue(cao=0.635, sio2=0.205, al2o3=0.052, fe2o3=0.028, so3=0.029))
    assert 0.88 <= total <= 0.95


def test_iron_rich_cement_is_refused() -> None:
    """Below Al2O3/Fe2O3 of 0.64 these coefficients would give less than no C3A."""
    with pytest.raises(OutOfRange, match="alumina"):
        bogue(cao=0.63, sio2=0.22, al2o3=0.025, fe2o3=0.05, so3=0.02)
