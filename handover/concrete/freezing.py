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


# Numbers as arrays: numpy makes an array of a plain number at each use.
_NONE, _ALL = np.array(0.0), np.array(1.0)


def liquid_share(temperature_c: ArrayLike, freezing: Freezing) -> Floats:
    """Return the share of the free water that is liquid, 0 to 1, shape of the temperature."""
    above = (np.asarray(temperature_c, dtype=np.float64) - freezing.ends_c) / freezing.width_k
    return np.asarray(np.minimum(np.maximum(above, _NONE), _ALL))


class FreezingNodes:
    """Nodes in which pore water freezes; what their temperature follows from is worked out once.

    Attributes:
        freezing: The range.
        capacity: Broadcasts. [J/(m2 K)]
        latent: Of the free water, broadcasts. [J/m2]
    """

    def __init__(self, freezing: Freezing, capacity: Floats, latent: Floats) -> None:
        self.freezing = freezing
        self.capacity, self.latent = capacity, latent
        self._latent_of_line = latent * (freezing.begins_c / freezing.width_k)
        self._capacity_of_line = capacity + latent / freezing.width_k

    def enthalpy(self, temperature_c: Floats) -> Floats:
        """Return the enthalpy of the nodes, in J/m2."""
        ice = _ALL - liquid_share(temperature_c, self.freezing)
        return np.asarray(self.capacity * temperature_c - self.latent * ice)

    def temperature_at(self, whole: Floats) -> Floats:
        """Return the temperature of the nodes by their enthalpy in J/m2, in degC."""
        # Lines of liquid, freezing and frozen: where one holds, the minimum and the maximum leave it.
        within = (whole + self._latent_of_line) / self._capacity_of_line
        return np.maximum(whole / self.capacity, np.minimum(within, (whole + self.latent) / self.capacity))


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
    return FreezingNodes(freezing, capacity, latent).enthalpy(temperature_c)


def temperature_at(whole: Floats, capacity: Floats, latent: Floats, freezing: Freezing) -> Floats:
    """Return the temperature of nodes by their enthalpy, the inverse of `enthalpy`, in degC."""
    return FreezingNodes(freezing, capacity, latent).temperature_at(whole)
