"""The concrete of a job: how it hydrates, sets and gains strength."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.curves import SlowestCurve
from handover.concrete.hydration import CementComposition, HydrationCurve, hydration_curve
from handover.concrete.maturity import arrhenius_rate
from handover.concrete.setting import scale_time, set_age, set_degree
from handover.concrete.strength import Aci209, En1992, StrengthCurve

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.jobs.record import Mix
    from handover.practice.rules import CementRule, Practice
    from handover.schedule.ensemble import Ensemble


_DAY = 24.0
_CURVES: dict[str, Callable[..., StrengthCurve]] = {"ACI 209": Aci209, "EN 1992": En1992}
_REFERENCES = {"ACI 209": "strength.reference-us", "EN 1992": "strength.reference-en"}


@dataclass(frozen=True)
class ConcreteProperties:
    """The concrete of a job, by member.

    Ages are equivalent hours at ``hydration.reference_c``, the same clock for heat, set and strength.

    Attributes:
        hydration: Curve of hydration; ``tau_h`` and the activation energies have one value for each member,
            shape (m,).
        initial_set_h: Age at initial set, shape (m,). [h]
        final_set_h: Age at final set, shape (m,). [h]
        curve: Strength against age in days at ``reference_c``.
        reference_c: Of the strength curve. [degC]
        per_hydration_hour: Hours on the strength curve for each hour of hydration's clock, shape (m,).
        specified_mpa: Specified strength. [MPa]
        heat_j_m3: Heat of full hydration. [J/m3]
    """

    hydration: HydrationCurve
    initial_set_h: Floats
    final_set_h: Floats
    curve: StrengthCurve
    reference_c: float
    per_hydration_hour: Floats
    specified_mpa: float
    heat_j_m3: float

    def subset(self, members: NDArray[np.int_]) -> ConcreteProperties:
        """Return the concrete of some of the members."""
        curve = self.hydration
        tau_h, energy, cold = (
            np.asarray(each)[members]
            for each in (curve.tau_h, curve.activation_energy, curve.cold_activation_energy)
        )
        return replace(
            self,
            hydration=replace(curve, tau_h=tau_h, activation_energy=energy, cold_activation_energy=cold),
            initial_set_h=self.initial_set_h[members],
            final_set_h=self.final_set_h[members],
            per_hydration_hour=self.per_hydration_hour[members],
        )

    def strength(self, age_h: Floats, members: slice) -> Floats:
        """Return the strength at an age; 0 before final set.

        Args:
            age_h: Shape (n, m, k), for the m ``members``. [h]
            members: Their indices.

        Returns:
            Same shape. [MPa]
        """
        days = age_h * self.per_hydration_hour[members, np.newaxis] / _DAY
        return np.where(
            age_h < self.final_set_h[members, np.newaxis], 0.0, self.specified_mpa * self.curve.ratio(days)
        )

    def age_at_strength(self, strength_mpa: float) -> Floats:
        """Return the age at which a strength is reached, but not before final set, in h, shape (m,)."""
        days = self.curve.age_at(strength_mpa / self.specified_mpa)
        return np.maximum(days * _DAY / self.per_hydration_hour, self.final_set_h)


def concrete_properties(mix: Mix, ensemble: Ensemble, practice: Practice) -> ConcreteProperties:
    """Return the concrete of a mix, by member."""
    cement = practice.cements[mix.cement]
    lime = practice["fly-ash.lime"] if mix.fly_ash else None
    plain = hydration_curve(
        CementComposition(**cement.phases),
        mix.water_cementitious,
        fly_ash=mix.fly_ash,
        slag=mix.slag,
        fly_ash_cao=lime,
    )
    energy, cold = (
        np.asarray(each * ensemble.energy) for each in (plain.activation_energy, plain.cold_activation_energy)
    )
    slower = scale_time(plain, ensemble.setting * _admixtures(mix.admixtures, practice))
    hydration = replace(slower, activation_energy=energy, cold_activation_energy=cold)
    reference_c = practice[_REFERENCES[cement.form]]
    initial = set_degree(mix.water_cementitious, practice["setting.initial"])
    final = set_degree(mix.water_cementitious, practice["setting.final"])
    return ConcreteProperties(
        hydration=hydration,
        initial_set_h=set_age(initial, hydration),
        final_set_h=set_age(final, hydration),
        curve=_curve(cement, mix.fly_ash + mix.slag, practice),
        reference_c=reference_c,
        # By the energy in the cold, on either side: the lower one of fly ash would bring strength forward.
        per_hydration_hour=arrhenius_rate(hydration.reference_c, cold, reference_c) / ensemble.hardening,
        specified_mpa=mix.specified_strength,
        heat_j_m3=float(plain.heat_j_kg) * mix.cementitious,
    )


def _admixtures(named: Sequence[str], practice: Practice) -> float:
    """Return the factor of the admixtures on the time to set."""
    rules = [rule for rule in practice.rules.values() if rule.aliases]
    lower = [name.lower() for name in named]
    acting = [rule.value for rule in rules if any(part in name for part in rule.aliases for name in lower)]
    return float(np.prod(acting))


def _curve(cement: CementRule, additions: float, practice: Practice) -> StrengthCurve:
    """Return the strength curve: that of the cement, or that of a mix with fly ash and slag if slower."""
    curve = _CURVES[cement.form](**cement.constants)
    if additions <= 0.0:
        return curve
    slowed = practice["additions.slowest-class"] + practice["additions.per-share"] * additions
    return SlowestCurve((curve, En1992(slowed)))
