"""What the modules of this room share: array types, and constants of nature."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT: Final = 8.314462618  # J/(mol K), exact to these digits since the SI of 2019
ZERO_CELSIUS_K: Final = 273.15
