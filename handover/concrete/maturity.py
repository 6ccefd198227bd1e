"""Maturity: how far time and temperature have carried the concrete, as one number."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import ZERO_CELSIUS_K
from handover.concrete.constants import GAS_CONSTANT
from handover.concrete.freezing import liquid_share
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats
    from handover.concrete.freezing import Freezing

_ONE = np.array(1.0)  # numpy makes an array of a plain number at each use


def arrhenius_rate(temperature_c: ArrayLike, activation_energy: ArrayLike, reference_c: ArrayLike) -> Floats:
    """Return how many times faster the reactions run than at the reference temperature.

    Args:
        temperature_c: Of the concrete, any shape. [degC]
        activation_energy: Apparent, broadcasts (one for each member: shape (m, 1)). [J/mol]
        reference_c: Temperature at which the rate is 1, broadcasts. [degC]

    Returns:
        Broadcast shape. [1]

    Source:
        Freiesleben Hansen and Pedersen (1977); ASTM C1074 eq. 2 (from memory, not checked against the
        standard), with the exact gas constant and 273.15 K.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    reference_k = np.asarray(reference_c, dtype=np.float64) + ZERO_CELSIUS_K
    return rate_by_kelvin(kelvin, np.asarray(activation_energy) / GAS_CONSTANT, 1.0 / reference_k)


def rate_by_kelvin(kelvin: Floats, energy_k: Floats, inverse_reference: Floats) -> Floats:
    """Return `arrhenius_rate` from absolute temperatures, unchecked: for the inside of a time step.

    Args:
        kelvin: Of the concrete, any shape. [K]
        energy_k: Activation energy over the gas constant, broadcasts. [K]
        inverse_reference: Of the temperature at which the rate is 1, broadcasts. [1/K]

    Returns:
        Broadcast shape. [1]
    """
    rate: Floats = np.exp(energy_k * (inverse_reference - _ONE / kelvin))
    return rate


def energy_at(
    temperature_c: ArrayLike, energy: ArrayLike, cold_energy: ArrayLike, reference_c: ArrayLike
) -> Floats:
    """Return the activation energy that counts at a temperature: another one below the reference than above.

    Args:
        temperature_c: Of the concrete, any shape. [degC]
        energy: From the reference temperature up, broadcasts. [J/mol]
        cold_energy: Below the reference temperature, broadcasts. [J/mol]
        reference_c: Reference temperature, broadcasts. [degC]

    Returns:
        Broadcast shape. [J/mol]
    """
    return np.where(np.asarray(temperature_c) < reference_c, cold_energy, energy)


def equivalent_age(
    hours: ArrayLike,
    temperature_c: ArrayLike,
    activation_energy: ArrayLike,
    reference_c: ArrayLike,
    freezing: Freezing | None = None,
) -> Floats:
    """Return the age at the reference temperature that the concrete has reached, accumulated.

    Means nothing without its reference temperature: keep the two together.

    Args:
        hours: Instants, strictly increasing, shape (n+1,). [h]
        temperature_c: Mean between each two instants, shape (..., n). [degC]
        activation_energy: Broadcasts against ``temperature_c``. [J/mol]
        reference_c: Broadcasts likewise. [degC]
        freezing: How the pore water freezes: age grows by its liquid share. None: it never freezes.

    Returns:
        At each instant, the first 0, shape (..., n+1). [h]

    Source:
        ASTM C1074 eq. 2 (from memory, not checked against the standard); see `arrhenius_rate`.

    Raises:
        OutOfRange: hours that do not increase, temperatures that do not fit them or below absolute zero.
    """
    intervals, temperature = _intervals(hours, temperature_c)
    rate = arrhenius_rate(temperature, activation_energy, reference_c)
    return _accumulate(intervals, rate if freezing is None else rate * liquid_share(temperature, freezing))


def temperature_time_factor(hours: ArrayLike, temperature_c: ArrayLike, datum_c: ArrayLike) -> Floats:
    """Return the temperature-time factor, accumulated. A temperature below the datum counts 0.

    Args:
        hours: Instants, strictly increasing, shape (n+1,). [h]
        temperature_c: Mean between each two instants, shape (..., n). [degC]
        datum_c: Temperature at and below which nothing is gained, broadcasts likewise. [degC]

    Returns:
        At each instant, the first 0, shape (..., n+1). [degC h]

    Source:
        Saul (1951), Principles underlying the steam curing of concrete; ASTM C1074.

    Raises:
        OutOfRange: as `equivalent_age`.
    """
    intervals, temperature = _intervals(hours, temperature_c)
    return _accumulate(intervals, np.maximum(np.subtract(temperature, datum_c), 0.0))


def _intervals(hours: ArrayLike, temperature_c: ArrayLike) -> tuple[Floats, Floats]:
    """Return the lengths of the intervals, shape (n,), and the temperatures that belong to them."""
    instants = np.asarray(hours, dtype=np.float64)
    temperature = np.asarray(temperature_c, dtype=np.float64)
    if instants.ndim != 1 or instants.size == 0:
        raise OutOfRange("hours must be a row of at least one instant")
    intervals = np.diff(instants)
    if not np.all(intervals > 0.0):
        raise OutOfRange("hours must increase from one instant to the next")
    if temperature.ndim == 0 or temperature.shape[-1] != intervals.size:
        raise OutOfRange(
            f"{instants.size} instants need {intervals.size} temperatures between them; "
            f"the temperatures have shape {temperature.shape}"
        )
    if np.any(temperature <= -ZERO_CELSIUS_K):
        raise OutOfRange("a temperature is below absolute zero; is it the mark of a missing value?")
    return intervals, temperature


def _accumulate(intervals: Floats, rate: Floats) -> Floats:
    gained = np.cumsum(rate * intervals, axis=-1)
    return np.concatenate([np.zeros_like(gained[..., :1], shape=(*gained.shape[:-1], 1)), gained], axis=-1)
