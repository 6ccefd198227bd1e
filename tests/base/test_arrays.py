"""Arrays: what every layer computes with."""

from __future__ import annotations

import numpy as np
import pytest

from handover.base.arrays import distinct


@pytest.mark.parametrize("count", [0, 1, 2, 500])
def test_the_different_values_are_those_of_numpy(count: int) -> None:
    values = np.random.default_rng(count).integers(0, 100, (count,))
    for each in (values, values / 8.0, values.astype("datetime64[h]"), values.reshape(-1, 1)):
        assert np.array_equal(distinct(each), np.unique(each))
        assert distinct(each).dtype == each.dtype
