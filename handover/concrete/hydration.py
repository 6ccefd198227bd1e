"""Hydration of cement: the degree reached at an equivalent age, its heat, and its temperature sensitivity.

The three-parameter curve of Schindler and Folliard, alpha = alpha_u exp(-(tau/te)^beta), with its parameters
from the composition of the cement and the shares of fly ash and slag. All its constants are from memory and
not checked against the papers.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final

import numpy as np

from handover.concrete.maturity import arrhenius_rate, energy_at
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


REFERENCE_C: Final = 21.1  # 70 degF, the reference of the three-parameter curve

_YOUNGEST_H: Final = (
    1e-9  # in place of age 0, by which the formula would divide; the degree there is exactly 0
)
_YOUNGEST = np.array(_YOUNGEST_H)  # numpy makes an array of a plain number at each use


@dataclass(frozen=True, eq=False)
class CementComposition:
    """What a portland cement is made of: mass fractions of the cement (0.54, not 54), and its fineness.

    Attributes:
        c3s: Alite.
        c2s: Belite.
        c3a: Tricalcium aluminate.
        c4af: Ferrite.
        blaine: Fineness by air permeability. [m2/kg]
        so3: Sulphate.
        free_cao: Free lime.
        mgo: Magnesia.

    Raises:
        OutOfRange: fractions outside 0 to 1, or none at all of a phase the curve cannot do without.
    """

    c3s: float | Floats
    c2s: float | Floats
    c3a: float | Floats
    c4af: float | Floats
    blaine: float | Floats
    so3: float | Floats
    free_cao: float | Floats
    mgo: float | Floats

    def __post_init__(self) -> None:
        for each in fields(self):
            if each.name != "blaine" and not _all_within(getattr(self, each.name), 0.0, 1.0):
                raise OutOfRange(f"{each.name} is a mass fraction between 0 and 1 (54 % is 0.54)")
        for name in ("c3s", "c3a", "c4af", "so3", "blaine"):
            if not np.all(np.asarray(getattr(self, name)) > 0.0):
                raise OutOfRange(f"{name} must be above 0: the hydration curve has a power of it")


@dataclass(frozen=True, eq=False)
class HydrationCurve:
    """The hydration of one concrete. Fields are scalars, or arrays that broadcast: (m, 1) for m members.

    Attributes:
        ultimate: Degree of hydration that is never passed. [1], above 0, to 1.
        tau_h: Time constant, at the reference temperature. [h], above 0.
        beta: Slope. [1], above 0.
        heat_j_kg: Heat of complete hydration. [J per kg of cementitious]
        activation_energy: Apparent, from the reference temperature up. [J/mol]
        cold_activation_energy: Apparent, below the reference temperature. [J/mol]
        reference_c: Temperature at which ages count as clock time. [degC]

    Raises:
        OutOfRange: a value outside the above.
    """

    ultimate: float | Floats
    tau_h: float | Floats
    beta: float | Floats
    heat_j_kg: float | Floats
    activation_energy: float | Floats
    cold_activation_energy: float | Floats
    reference_c: float = REFERENCE_C

    def __post_init__(self) -> None:
        if not (_all_within(self.ultimate, 0.0, 1.0) and np.all(np.asarray(self.ultimate) > 0.0)):
            raise OutOfRange("the ultimate degree of hydration is above 0 and at most 1")
        for name in ("tau_h", "beta"):
            if not np.all(np.asarray(getattr(self, name)) > 0.0):
                raise OutOfRange(f"{name} must be above 0")
        for name in ("heat_j_kg", "activation_energy", "cold_activation_energy"):
            if not np.all(np.asarray(getattr(self, name)) >= 0.0):
                raise OutOfRange(f"{name} must be 0 or more")


def hydration_curve(
    composition: CementComposition,
    water_cementitious: ArrayLike,
    *,
    fly_ash: ArrayLike = 0.0,
    slag: ArrayLike = 0.0,
    fly_ash_cao: ArrayLike | None = None,
) -> HydrationCurve:
    """Return the hydration curve of a concrete from its cement and mix.

    Args:
        composition: Of the portland cement.
        water_cementitious: Water to cementitious ratio by mass. [1], above 0.
        fly_ash: Share of the cementitious mass. [1]
        slag: Share of the cementitious mass. [1]
        fly_ash_cao: Mass fraction of lime in the fly ash; needed where there is fly ash. [1]

    Returns:
        The curve at 21.1 degC. Fly ash lowers the activation energy: by that alone, more ash would set
        earlier in the cold. Practice is the other way (ASCC position statement 28). So below the reference
        temperature the energy of the mix without its fly ash counts, which is the slower of the two rates.

    Source:
        Schindler and Folliard (2005), Heat of hydration models for cementitious materials, ACI Materials
        Journal 102-M04; from memory, not checked.

    Raises:
        OutOfRange: shares outside 0 to 1, fly ash of unknown lime, a ratio not above 0.
    """
    ratio = np.asarray(water_cementitious, dtype=np.float64)
    if not np.all(ratio > 0.0):
        raise OutOfRange("the water to cementitious ratio must be above 0")
    ash, slag_share, lime = _shares(fly_ash, slag, fly_ash_cao)
    mature = 1.031 * ratio / (0.194 + ratio) + 0.50 * ash + 0.30 * slag_share
    tau = (
        66.78
        * np.power(composition.c3a, -0.154)
        * np.power(composition.c3s, -0.401)
        * np.power(composition.blaine, -0.804)
        * np.power(composition.so3, -0.758)
        * np.exp(2.187 * slag_share + 9.50 * ash * lime)
    )
    beta = (
        181.4
        * np.power(composition.c3a, 0.146)
        * np.power(composition.c3s, 0.227)
        * np.power(composition.blaine, -0.535)
        * np.power(composition.so3, 0.558)
        * np.exp(-0.647 * slag_share)
    )
    return HydrationCurve(
        ultimate=np.minimum(mature, 1.0),
        tau_h=tau,
        beta=beta,
        heat_j_kg=heat_of_hydration(composition, fly_ash=fly_ash, slag=slag, fly_ash_cao=fly_ash_cao),
        activation_energy=activation_energy(composition, fly_ash=fly_ash, slag=slag, fly_ash_cao=fly_ash_cao),
        cold_activation_energy=np.maximum(
            activation_energy(composition, slag=slag),
            activation_energy(composition, fly_ash=fly_ash, slag=slag, fly_ash_cao=fly_ash_cao),
        ),
    )


def activation_energy(
    composition: CementComposition,
    *,
    fly_ash: ArrayLike = 0.0,
    slag: ArrayLike = 0.0,
    fly_ash_cao: ArrayLike | None = None,
) -> Floats:
    """Return the apparent activation energy of hydration.

    Args:
        composition: Of the portland cement.
        fly_ash: Share of the cementitious mass. [1]
        slag: Share of the cementitious mass. [1]
        fly_ash_cao: Mass fraction of lime in the fly ash; needed where there is fly ash. [1]

    Returns:
        Broadcast shape. [J/mol]

    Source:
        Schindler (2004), Effect of temperature on hydration of cementitious materials, ACI Materials Journal
        101-M09; from memory, not checked.

    Raises:
        OutOfRange: as `hydration_curve`.
    """
    ash, slag_share, lime = _shares(fly_ash, slag, fly_ash_cao)
    mix = 1.0 - 1.05 * ash * (1.0 - lime / 0.40) + 0.40 * slag_share
    energy: Floats = (
        22_100.0
        * mix
        * np.power(composition.c3a, 0.30)
        * np.power(composition.c4af, 0.25)
        * np.power(composition.blaine, 0.35)
    )
    return energy


def heat_of_hydration(
    composition: CementComposition,
    *,
    fly_ash: ArrayLike = 0.0,
    slag: ArrayLike = 0.0,
    fly_ash_cao: ArrayLike | None = None,
) -> Floats:
    """Return the heat that complete hydration would set free.

    Args:
        composition: Of the portland cement.
        fly_ash: Share of the cementitious mass. [1]
        slag: Share of the cementitious mass. [1]
        fly_ash_cao: Mass fraction of lime in the fly ash; needed where there is fly ash. [1]

    Returns:
        Broadcast shape. [J per kg of cementitious]

    Source:
        Schindler and Folliard (2005); the heats of the phases are Bogue's. From memory, not checked.

    Raises:
        OutOfRange: as `hydration_curve`.
    """
    ash, slag_share, lime = _shares(fly_ash, slag, fly_ash_cao)
    cement = (
        500e3 * np.asarray(composition.c3s)
        + 260e3 * np.asarray(composition.c2s)
        + 866e3 * np.asarray(composition.c3a)
        + 420e3 * np.asarray(composition.c4af)
        + 624e3 * np.asarray(composition.so3)
        + 1186e3 * np.asarray(composition.free_cao)
        + 850e3 * np.asarray(composition.mgo)
    )
    heat: Floats = cement * (1.0 - ash - slag_share) + 461e3 * slag_share + 1800e3 * lime * ash
    return heat


def reaction_rate(temperature_c: ArrayLike, curve: HydrationCurve) -> Floats:
    """Return how many times faster a concrete hydrates than at its reference temperature.

    Args:
        temperature_c: Any shape that broadcasts with the curve. [degC]
        curve: Of the concrete.

    Returns:
        Broadcast shape. [1]
    """
    energy = energy_at(
        temperature_c, curve.activation_energy, curve.cold_activation_energy, curve.reference_c
    )
    return arrhenius_rate(temperature_c, energy, curve.reference_c)


def degree_of_hydration(equivalent_age_h: ArrayLike, curve: HydrationCurve) -> Floats:
    """Return the degree of hydration: 0 at age 0, rising towards ``curve.ultimate``.

    Args:
        equivalent_age_h: At ``curve.reference_c``, any shape that broadcasts with the curve. [h]
        curve: Of the concrete.

    Returns:
        Broadcast shape. [1]

    Source:
        Schindler and Folliard (2005).
    """
    return degree_and_rate(equivalent_age_h, curve.ultimate, curve.tau_h, curve.beta)[0]


def degree_and_rate(
    equivalent_age_h: ArrayLike, ultimate: ArrayLike, tau_h: ArrayLike, beta: ArrayLike
) -> tuple[Floats, Floats]:
    """Return the degree of hydration and its derivative, unchecked: for the inside of a time step.

    Args:
        equivalent_age_h: Any shape. Ages below 0 count as 0. [h]
        ultimate: Broadcasts, like all that follow. [1]
        tau_h: [h]
        beta: [1]

    Returns:
        Degree [1] and derivative [1/h], each of broadcast shape.

    Source:
        Schindler and Folliard (2005).
    """
    age = np.maximum(equivalent_age_h, _YOUNGEST)
    exponent = np.power(np.asarray(tau_h) / age, beta)
    degree = np.asarray(ultimate) * np.exp(-exponent)
    rate: Floats = degree * exponent * (np.asarray(beta) / age)
    return degree, rate


def age_at_degree(degree: ArrayLike, curve: HydrationCurve) -> Floats:
    """Return the equivalent age at which a degree of hydration is reached.

    Args:
        degree: Any shape that broadcasts with the curve. [1]
        curve: Of the concrete.

    Returns:
        Broadcast shape: 0 for a degree of 0 or less, infinite for the ultimate degree and above.
        [h] at ``curve.reference_c``

    Source:
        Inverse of the curve of Schindler and Folliard (2005).
    """
    share = np.asarray(degree, dtype=np.float64) / np.asarray(curve.ultimate)
    within = (share > 0.0) & (share < 1.0)
    depth = -np.log(np.where(within, share, 0.5))
    age = np.asarray(curve.tau_h) * np.power(depth, -1.0 / np.asarray(curve.beta))
    return np.where(within, age, np.where(share >= 1.0, np.inf, 0.0))


def _shares(
    fly_ash: ArrayLike, slag: ArrayLike, fly_ash_cao: ArrayLike | None
) -> tuple[Floats, Floats, Floats]:
    ash = np.asarray(fly_ash, dtype=np.float64)
    slag_share = np.asarray(slag, dtype=np.float64)
    if fly_ash_cao is None and np.any(ash > 0.0):
        raise OutOfRange("fly ash needs its lime content (fly_ash_cao)")
    lime = np.asarray(0.0 if fly_ash_cao is None else fly_ash_cao, dtype=np.float64)
    if not all(_all_within(share, 0.0, 1.0) for share in (ash, slag_share, ash + slag_share, lime)):
        raise OutOfRange(
            "fly ash, slag, the two together, and the lime of the fly ash are shares from 0 to 1"
        )
    return ash, slag_share, lime


def _all_within(values: ArrayLike, lowest: float, highest: float) -> bool:
    numbers = np.asarray(values, dtype=np.float64)
    return bool(np.all((numbers >= lowest) & (numbers <= highest)))
