"""Relative humidity from the dew point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from handover.base.arrays import Floats

DEW_POINT = "Magnus formula of Alduchov and Eskridge (1996), over water"

_A, _B_C = 17.625, 243.04


def humidity_from_dew_point(air_c: Floats, dew_point_c: Floats) -> Floats:
    """Return the relative humidity over water, 0 to 1.

    Args:
        air_c: Air temperature, shape (n,). [degC], -40 to 50.
        dew_point_c: Dew point over water, shape (n,). [degC]

    Returns:
        Shape (n,), at most 1: a dew point above the air's own temperature is rounding or fog.

    Source:
        Alduchov and Eskridge (1996), Journal of Applied Meteorology 35, 601-609: vapour pressure within
        0.4 % from -40 to 50 degC.
    """
    exponent = _A * dew_point_c / (_B_C + dew_point_c) - _A * air_c / (_B_C + air_c)
    return np.minimum(np.exp(exponent), 1.0)
