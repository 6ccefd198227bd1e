"""Array types, the length of an hour, and the zero of the Celsius scale."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOUR_S: Final = 3600.0
"""One hour. [s]"""

ONE_HOUR: Final = np.timedelta64(3600, "s")
"""One hour, for sums with ``datetime64[s]``."""

ZERO_CELSIUS_K: Final = 273.15
"""Where the Celsius scale begins. [K]"""
