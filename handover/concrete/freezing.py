"""The freezing of pore water in young concrete: over a range of temperature, with its latent heat.

Enthalpy of a node, relative to liquid water at 0 degC: H(T) = C T - L (1 - w(T)), with the heat capacity C,
the latent heat L of the water that freezes, and the liquid share w, which falls linearly over the range.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats

HEAT_OF_FUSION = 333.5e3
"""Latent heat of freezing of water at 0 degC: handbooks, 333.5 kJ/kg. [J/kg]"""


@dataclass(frozen=True)
class Freezing:
    """How the pore water of fresh concrete freezes.

    Attributes:
        begins_c: Temperature at which ice begins to form. [degC]
        ends_c: Temperature at which all free water is ice, below ``begins_c``. [degC]
        latent: Latent heat of the water that freezes, per volume of concrete. A number or one value a
            member, shape (m,). [J/m3]

    Raises:
        OutOfRange: The range has no width.
    """

    begins_c: float
    ends_c: float
    latent: float | Floats = 0.0

    def __post_init__(self) -> None:
        if not self.ends_c < self.begins_c:
            raise OutOfRange("freezing ends at a lower temperature than it begins")

    @property
    def width_k(self) -> float:
        """Width of the range, in K."""
        return self.begins_c - self.ends_c


def liquid_share(temperature_c: ArrayLike, freezing: Freezing) -> Floats:
    """Return the share of the free water that is liquid, 0 to 1, shape of the temperature."""
    above = (np.asarray(temperature_c, dtype=np.float64) - freezing.ends_c) / freezing.width_k
    return np.asarray(np.minimum(np.maximum(above, 0.0), 1.0))


def enthalpy(temperature_c: Floats, capacity: Floats, latent: Floats, freezing: Freezing) -> Floats:
    """Return the enthalpy of nodes.

    Args:
        temperature_c: Any shape. [degC]
        capacity: Broadcasts. [J/(m2 K)]
        latent: Of the free water, broadcasts. [J/m2]
        freezing: The range.

    Returns:
        Same shape. [J/m2]
    """
    ice = 1.0 - liquid_share(temperature_c, freezing)
    return np.asarray(capacity * temperature_c - latent * ice)


def temperature_at(whole: Floats, capacity: Floats, latent: Floats, freezing: Freezing) -> Floats:
    """Return the temperature of nodes by their enthalpy, the inverse of `enthalpy`, in degC."""
    # Lines of liquid, freezing and frozen: where one holds, the minimum and the maximum leave it.
    within = (whole + latent * (freezing.begins_c / freezing.width_k)) / (
        capacity + latent / freezing.width_k
    )
    return np.maximum(whole / capacity, np.minimum(within, (whole + latent) / capacity))
