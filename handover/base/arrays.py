"""Array types, the length of an hour, and the zero of the Celsius scale."""

from __future__ import annotations

from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_Number = TypeVar("_Number", bound=np.generic)

HOUR_S: Final = 3600.0
"""One hour. [s]"""

ONE_HOUR: Final = np.timedelta64(3600, "s")
"""One hour, for sums with ``datetime64[s]``."""

ZERO_CELSIUS_K: Final = 273.15
"""Where the Celsius scale begins. [K]"""


def distinct(values: NDArray[_Number]) -> NDArray[_Number]:
    """Return the different values of an array without NaN, sorted, shape (n,).

    `numpy.unique` loads the module of masked arrays for this.
    """
    ordered: NDArray[_Number] = np.sort(values, axis=None)
    is_new = np.ones(len(ordered), dtype=bool)
    is_new[1:] = ordered[1:] != ordered[:-1]
    return ordered[is_new]
