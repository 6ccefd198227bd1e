"""Constants of nature."""

from __future__ import annotations

from typing import Final

GAS_CONSTANT: Final = 8.314462618  # J/(mol K), exact to these digits since the SI of 2019
DENSITY_OF_WATER: Final = 1000.0  # kg/m3, at 0 to 10 degC to a thousandth: handbooks
