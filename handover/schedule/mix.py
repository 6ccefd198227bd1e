"""The concrete of a job: how it hydrates, sets and gains strength."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.curves import (
    AdditionCurve,
    ClockCurve,
    FastestCurve,
    ScaledCurve,
    SlowestCurve,
    lowered_late,
    raised_to_reach,
)
from handover.concrete.freezing import HEAT_OF_FUSION, Freezing
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
_HYDRATED = np.geomspace(1e-5, 0.95, 400)  # shares of what hydrates in the end
_CURVES: dict[str, Callable[..., StrengthCurve]] = {
    "ACI 209": Aci209,
    "EN 1992": En1992,
    "Yeh 1998": En1992,
}
_REFERENCES = {
    "ACI 209": "strength.reference-us",
    "EN 1992": "strength.reference-en",
    "Yeh 1998": "strength.reference-us",
}


@dataclass(frozen=True)
class ConcreteProperties:
    """The concrete of a job, by member.

    Ages are equivalent hours at ``hydration.reference_c``, the same clock for heat, set and strength.
    How strong it is delivered has a spread of its own, in which that of water and cement is contained.

    Attributes:
        hydration: Curve of hydration; ``ultimate``, ``tau_h`` and the activation energies have one value for
            each member, shape (m,).
        setting: Curves of hydration by which it sets, on the same clock; the latest of them counts.
        initial_set_h: Age at initial set, shape (m,). [h]
        final_set_h: Age at final set, shape (m,). [h]
        curve: Strength against age in days at ``reference_c``.
        reference_c: Of the strength curve. [degC]
        per_hydration_hour: Hours on the strength curve for each hour of hydration's clock, shape (m,).
        specified_mpa: Specified strength. [MPa]
        delivered: 28-day strength as delivered, over the specified one, shape (m,). [1]
        late_share: What a warm first day leaves of the 28-day strength, shape (m,). [1]
        lowered_from: Share of the 28-day strength up to which it costs nothing. [1]
        water: Ratio of water to cementitious material over the recorded one, shape (m,). [1]
        heat_delay_h: How much later than usual heat begins, so that the cement gives off no more than the one
            than which it is no faster, shape (m,). [h]
        heat_j_m3: Heat of full hydration, shape (m,). [J/m3]
        freezing: How its pore water freezes.
    """

    hydration: HydrationCurve
    setting: tuple[HydrationCurve, ...]
    initial_set_h: Floats
    final_set_h: Floats
    curve: StrengthCurve
    reference_c: float
    per_hydration_hour: Floats
    specified_mpa: float
    delivered: Floats
    water: Floats
    heat_delay_h: Floats
    heat_j_m3: Floats
    late_share: Floats
    lowered_from: float
    freezing: Freezing

    def subset(self, members: NDArray[np.int_]) -> ConcreteProperties:
        """Return the concrete of some of the members."""
        return replace(
            self,
            hydration=_of_members(self.hydration, members),
            setting=tuple(_of_members(each, members) for each in self.setting),
            initial_set_h=self.initial_set_h[members],
            final_set_h=self.final_set_h[members],
            per_hydration_hour=self.per_hydration_hour[members],
            delivered=self.delivered[members],
            water=self.water[members],
            heat_delay_h=self.heat_delay_h[members],
            heat_j_m3=self.heat_j_m3[members],
            late_share=self.late_share[members],
        )

    def with_setting(self, factor: Floats) -> ConcreteProperties:
        """Return the concrete with its time to set, and its whole hydration, multiplied, shape (m,)."""
        return replace(
            self,
            hydration=scale_time(self.hydration, factor),
            initial_set_h=self.initial_set_h * factor,
            final_set_h=self.final_set_h * factor,
            heat_delay_h=self.heat_delay_h * factor,
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
        late = self.late_share[members, np.newaxis]
        share = lowered_late(self.curve.ratio(days), late, self.lowered_from)
        strength = self.specified_mpa * self.delivered[members, np.newaxis] * share
        return np.where(age_h < self.final_set_h[members, np.newaxis], 0.0, strength)

    def age_at_strength(self, strength_mpa: float) -> Floats:
        """Return the age at which a strength is reached, but not before final set, in h, shape (m,)."""
        delivered = strength_mpa / self.specified_mpa / self.delivered
        share = raised_to_reach(delivered, self.late_share, self.lowered_from)
        return np.maximum(self.curve.age_at(share) * _DAY / self.per_hydration_hour, self.final_set_h)


def concrete_properties(mix: Mix, ensemble: Ensemble, practice: Practice) -> ConcreteProperties:
    """Return the concrete of a mix, by member."""
    cements = _limiting_cements(practice.cements[mix.cement], practice)
    water = mix.water_cementitious * ensemble.water
    plain, *others = (_hydration(mix, cement, practice, slag=mix.slag, water=water) for cement in cements)
    warm, cold = _slowest_energies(mix, cements, practice)
    above, below = np.asarray(warm * ensemble.energy), np.asarray(cold * ensemble.energy)
    admixed = ensemble.setting * _admixtures(mix.admixtures, practice)
    # Slag delays heat much and set little: set goes by the other cement, and a factor of its own.
    without_slag = (_hydration(mix, cement, practice, slag=0.0, water=water) for cement in cements)
    setting = tuple(
        _with_energies(scale_time(each, admixed * slag_set_factor(mix.slag, practice)), above, below)
        for each in without_slag
    )
    hydration = _with_energies(scale_time(plain, admixed), above, below)
    reference_c = max(practice[_REFERENCES[curve.form]] for cement in cements for curve in cement.curves)
    return ConcreteProperties(
        hydration=hydration,
        setting=setting,
        initial_set_h=set_time(setting, water, practice["setting.initial"]),
        final_set_h=set_time(setting, water, practice["setting.final"]),
        curve=_curve(cements, mix, reference_c, cold, practice),
        reference_c=reference_c,
        # By the energy in the cold, on either side: the lower one of fly ash would bring strength forward.
        per_hydration_hour=arrhenius_rate(hydration.reference_c, below, reference_c) / ensemble.hardening,
        specified_mpa=mix.specified_strength,
        delivered=_strength_factor(mix.specified_strength, ensemble, practice),
        water=ensemble.water,
        heat_delay_h=_heat_delay(plain, others) * admixed,
        heat_j_m3=np.asarray(plain.heat_j_kg * mix.cementitious * ensemble.cementitious * ensemble.heat),
        late_share=np.ones(len(ensemble)),
        lowered_from=practice["strength.warm-loss-from"],
        freezing=_freezing(mix, practice),
    )


def _strength_factor(specified_mpa: float, ensemble: Ensemble, practice: Practice) -> Floats:
    """Return the 28-day strength of each member over the specified one, which few mixes miss by much."""
    scatter = practice["spread.strength"] / specified_mpa
    delivered = 1.0 + scatter * (practice["strength.over-design"] + ensemble.draws["strength"])
    return np.maximum(delivered, 1.0 - 2.0 * scatter)


def after_first_day(
    concrete: ConcreteProperties, first_day_c: Floats, practice: Practice
) -> ConcreteProperties:
    """Return the concrete with the late strength that the warmth of its first day leaves.

    Args:
        concrete: By member.
        first_day_c: Mean temperature of the first day, shape (m,). [degC]
        practice: The rules.
    """
    above = np.maximum(first_day_c - practice["strength.reference-us"], 0.0)
    return replace(concrete, late_share=1.0 - practice["strength.warm-loss"] * above)


def set_time(setting: Sequence[HydrationCurve], water_cementitious: Floats, coefficient: float) -> Floats:
    """Return the age at a set, initial or final by its coefficient: the latest of the curves, in h."""
    degree = set_degree(water_cementitious, coefficient)
    age: Floats = np.maximum.reduce([set_age(degree, curve) for curve in setting])
    return age


def slag_set_factor(slag: float, practice: Practice) -> float:
    """Return how many times later a mix sets with a share of slag than without: 1 up to a share."""
    above = max(slag - practice["setting.slag-none-below"], 0.0)
    return 1.0 + practice["setting.slag-per-share"] * above


def _of_members(curve: HydrationCurve, members: NDArray[np.int_]) -> HydrationCurve:
    ultimate, tau_h, energy, cold = (
        np.asarray(each)[members]
        for each in (curve.ultimate, curve.tau_h, curve.activation_energy, curve.cold_activation_energy)
    )
    return replace(
        curve, ultimate=ultimate, tau_h=tau_h, activation_energy=energy, cold_activation_energy=cold
    )


def _with_energies(curve: HydrationCurve, above: Floats, below: Floats) -> HydrationCurve:
    return replace(curve, activation_energy=above, cold_activation_energy=below)


def _limiting_cements(cement: CementRule, practice: Practice) -> tuple[CementRule, ...]:
    """Return the cement, and the one than which it is no faster."""
    if cement.no_faster_than is None:
        return (cement,)
    return (cement, practice.cements[cement.no_faster_than])


def _hydration(
    mix: Mix, cement: CementRule, practice: Practice, *, slag: float, water: float | Floats
) -> HydrationCurve:
    return hydration_curve(
        CementComposition(**cement.phases),
        water,
        fly_ash=mix.fly_ash,
        slag=slag,
        fly_ash_cao=practice["fly-ash.lime"] if mix.fly_ash else None,
    )


def _heat_delay(own: HydrationCurve, others: Sequence[HydrationCurve]) -> float:
    """Return how much later the heat of a cement must begin to be never more than that of others, in h.

    A cement with little aluminate has the flatter curve, and so the higher one in the first hours: by that
    alone, Type II would set a slab in frost sooner than Type I, which gives off more heat in all.
    """
    delays = [(_hours_to(_HYDRATED, each) - _hours_to(_HYDRATED, own)).max() for each in others]
    return max((float(each) for each in delays), default=0.0)


def _hours_to(share: Floats, curve: HydrationCurve) -> Floats:
    """Return when a share of what hydrates in the end has hydrated, by the formula of the curve, in h."""
    return np.asarray(curve.tau_h * (-np.log(share)) ** (-1.0 / np.asarray(curve.beta)))


def _slowest_energies(mix: Mix, cements: Sequence[CementRule], practice: Practice) -> tuple[float, float]:
    """Return the activation energies of the slowest rates, above and below the reference temperature.

    Slag raises the energy: by that alone, more slag would set earlier in the heat. A cement of lower energy
    would be faster than others in the cold. So the least counts above the reference, the most below it.
    """
    curves = [
        _hydration(mix, cement, practice, slag=slag, water=mix.water_cementitious)
        for cement in cements
        for slag in {0.0, mix.slag}
    ]
    warm = min(float(curve.activation_energy) for curve in curves)
    return warm, max(float(curve.cold_activation_energy) for curve in curves)


def _freezing(mix: Mix, practice: Practice) -> Freezing:
    """Return how the pore water freezes: half of it for good, which is cautious for the first nights.

    All mixing water of fresh concrete would give some 50 MJ/m3. Of what has hydrated, no water freezes.
    """
    free = max(mix.water_cementitious - practice["freezing.bound"], 0.0) * mix.cementitious
    return Freezing(practice["freezing.begins"], practice["freezing.ends"], HEAT_OF_FUSION * free)


def _admixtures(named: Sequence[str], practice: Practice) -> float:
    """Return the factor of the admixtures on the time to set."""
    rules = [rule for rule in practice.rules.values() if rule.aliases]
    lower = [name.lower() for name in named]
    acting = [rule.value for rule in rules if any(part in name for part in rule.aliases for name in lower)]
    return float(np.prod(acting))


def _curve(
    cements: Sequence[CementRule], mix: Mix, reference_c: float, energy: float, practice: Practice
) -> StrengthCurve:
    """Return the strength curve: the slowest of those of the cement, as fly ash and slag change it."""
    curves = []
    for cement in cements:
        for rule, curve in zip(cement.curves, curves_of(cement, practice), strict=True):
            own_c = practice[_REFERENCES[rule.form]]
            per_day = float(arrhenius_rate(reference_c, energy, own_c))
            curves.append(curve if own_c == reference_c else ClockCurve(curve, per_day))
    slowest = curves[0] if len(curves) == 1 else SlowestCurve(tuple(curves))
    early, late = addition_terms(mix.fly_ash, mix.slag, practice)
    return AdditionCurve(slowest, early, late) if mix.fly_ash + mix.slag > 0.0 else slowest


def curves_of(cement: CementRule, practice: Practice) -> tuple[StrengthCurve, ...]:
    """Return the strength curves of a cement, each by its own clock.

    Before the youngest age that was measured, a fit goes on in the shape of the cement's first curve.
    """
    first, *others = (_CURVES[rule.form](**rule.constants) for rule in cement.curves)
    youngest = practice["strength.youngest-measured"]
    return (
        first,
        *(
            FastestCurve((each, ScaledCurve(first, float(each.ratio(youngest) / first.ratio(youngest)))))
            for each in others
        ),
    )


def addition_terms(fly_ash: float, slag: float, practice: Practice) -> tuple[float, float]:
    """Return what fly ash and slag add to s of EN 1992 until 28 days, and from then on."""
    as_slag = slag + practice["additions.ash-as-slag"] * fly_ash
    early = practice["additions.per-share"] * max(as_slag - practice["additions.none-below"], 0.0)
    return early, practice["additions.late-ash"] * fly_ash + practice["additions.late-slag"] * slag
