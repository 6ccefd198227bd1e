"""Array types, and the length of an hour."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOUR_S: Final = 3600.0
"""One hour. [s]"""

ONE_HOUR: Final = np.timedelta64(3600, "s")
"""One hour, for sums with ``datetime64[s]``."""
