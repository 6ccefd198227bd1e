"""Cylinders: standard-cured ones correct the mix, field-cured ones correct the slab."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.curves import ConstantBound, FastestCurve, OnsetBound, ScaledCurve, SlowestCurve
from handover.concrete.strength_fit import Hyperbola, fit_hyperbola
from handover.schedule.ensemble import CENTRAL
from handover.schedule.measurement_result import MeasurementResult
from handover.schedule.model import Figure, Measurement, StrengthFit, StrengthTest

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from handover.concrete.strength import StrengthCurve
    from handover.concrete.strength_fit import Fit
    from handover.jobs.record import Cylinder, JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.slab_simulation import SlabSimulation


_DAY = 24
_MIDDLE = 1
_TO_FIT, _AGES_TO_FIT = 3, 2


@dataclass(frozen=True)
class _Test:
    """One cylinder test: hours since placement, strength in MPa."""

    cylinder: Cylinder
    hours: float
    strength: float
    name: str


def _tests(job: JobRecord, cured: str) -> tuple[_Test, ...]:
    """Return the cylinders of a kind, in order of age.

    The age of a test with a time counts from the first concrete placed, which is cautious: an older cylinder
    of the same strength means slower concrete.
    """
    start = job.placement.start.astimezone(UTC)
    found = []
    for at, each in enumerate(job.cylinder):
        tested = None if each.tested is None else (each.tested.astimezone(UTC) - start) / timedelta(hours=1)
        hours = tested if each.age is None else each.age
        if each.cured == cured and hours is not None:
            found.append(_Test(each, hours, each.strength, str(at + 1)))
    return tuple(sorted(found, key=lambda test: test.hours))


# ---- standard-cured ---------------------------------------------------------------------------------


def apply_standard_cylinders(
    job: JobRecord, concrete: ConcreteProperties, practice: Practice
) -> tuple[ConcreteProperties, MeasurementResult]:
    """Return the concrete with its strength curve corrected by its standard-cured cylinders.

    They are compared with the curve that reaches the specified strength. Standard curing is at the reference
    temperature of the curve, so the age of a cylinder is its equivalent age.

    Three or more at two or more ages are fitted, in place of what plants deliver; the curve then never
    exceeds what was measured. Beyond the oldest test it rises only where the cement's own curve, scaled down
    if necessary, exceeds that test; before the youngest test it is no faster than the cement's own curve
    scaled to that test. With fewer, or with a poor fit, the weakest age conditions what the plant
    delivers.
    """
    begins = float(concrete.final_set_h[CENTRAL] * concrete.per_hydration_hour[CENTRAL])
    tests = _tests(job, "standard")
    usable = tuple(test for test in tests if test.hours > begins)
    if not usable:
        return concrete, MeasurementResult(tuple(_record(test, concrete, "too-young") for test in tests))
    found = _fit_curve(usable, begins, concrete, practice)
    words = None if found is None else found[1]
    if found is not None and found[1].verdict == "used":
        fit = found[0]
        corrected = replace(
            concrete, curve=_from_fit(fit, usable, concrete), delivered=np.ones_like(concrete.delivered)
        )
        outcome, ratio = "curve-fitted", _ratio(usable[-1].hours, float(fit.fitted_mpa[-1]), concrete)
    else:
        hours, ratio = min(_scale_by_age(usable, concrete).items(), key=lambda each: each[1])
        most_mpa = max(test.strength for test in usable)
        corrected = condition_on_test(ratio, hours, most_mpa, concrete, practice)
        outcome = "curve-lowered" if ratio < 1.0 else "curve-raised" if ratio > 1.0 else "curve-kept"
    records = tuple(
        _record(test, concrete, outcome if test in usable else "too-young", _scale_curve(ratio))
        for test in tests
    )
    weak = ratio < 1.0 - practice["cylinder.disagree"]
    cautions = (("cylinders-weak", _scale_curve(ratio)),) if weak else ()
    if (most := max(_scale_by_age(usable, concrete).values())) > practice["cylinder.most"]:
        cautions = (*cautions, ("cylinders-high", _scale_curve(most)))
    return corrected, MeasurementResult(records, cautions, words)


def _scale_curve(ratio: float) -> tuple[Figure, ...]:
    return (Figure("strength_share", ratio, "1"),)


def _ratio(hours: float, strength: float, concrete: ConcreteProperties) -> float:
    """Return a strength as a share of the curve at that age."""
    return strength / (concrete.specified_mpa * float(concrete.curve.ratio(hours / _DAY)))


def _scale_by_age(usable: Sequence[_Test], concrete: ConcreteProperties) -> dict[float, float]:
    """Return the mean at each age as a share of the curve: a test is the mean of its cylinders."""
    ages = sorted({test.hours for test in usable})
    return {
        age: _ratio(age, float(np.mean([test.strength for test in usable if test.hours == age])), concrete)
        for age in ages
    }


def condition_on_test(
    ratio: float, hours: float, most_mpa: float, concrete: ConcreteProperties, practice: Practice
) -> ConcreteProperties:
    """Return the concrete with the strength that its plant delivers, conditioned on a test.

    The members move together. Those that are weaker than expected come closer to it, as normal errors do. The
    stronger ones keep their distance, so that a test of the strength that was expected makes none weaker: a
    date may rest on members that are slow but strong, where most of the spread is of weather. A weaker test
    is taken as it is, not raised by what other mixes of the plant have. A stronger one counts as far as it is
    surer than they are, and for no strength above the highest that was measured.

    Args:
        ratio: The test as a share of the curve that reaches the specified strength. [1]
        hours: Its age. [h]
        most_mpa: Highest strength that was measured. [MPa]
        concrete: Before the test.
        practice: The rules.
    """
    expected = float(concrete.delivered[CENTRAL])
    spread = practice["spread.strength"] / concrete.specified_mpa / expected
    gain = spread**2 / (spread**2 + _error_of_a_test(hours, concrete, practice) ** 2)
    mean = min(ratio, expected)
    stronger = concrete.delivered / expected - 1.0
    delivered = mean * (1.0 + np.where(stronger < 0.0, np.sqrt(1.0 - gain), 1.0) * stronger)
    raised = 1.0 + gain * (ratio - mean) / mean
    if raised <= 1.0:
        return replace(concrete, delivered=delivered)
    measured = ConstantBound(most_mpa / (concrete.specified_mpa * mean))
    bounded = FastestCurve((measured, concrete.curve))
    curve = SlowestCurve((ScaledCurve(concrete.curve, raised), bounded))
    return replace(concrete, delivered=delivered, curve=curve)


def _error_of_a_test(hours: float, concrete: ConcreteProperties, practice: Practice) -> float:
    """Return how far a test may be from what its mix has later, as a share: by itself, and by its age.

    A young test says less, because mixes differ in how fast they harden, by a factor on the age.
    """
    spread = practice["spread.hardening"]
    slow, fast = (float(concrete.curve.ratio(hours / _DAY * each)) for each in (1.0 / spread, spread))
    by_age = float(np.log(fast / slow)) / 2.0
    return float(np.hypot(practice["cylinder.error"], by_age))


def _fit_curve(
    usable: Sequence[_Test], begins: float, concrete: ConcreteProperties, practice: Practice
) -> tuple[Fit, StrengthFit] | None:
    """Return the fit of the cylinders with its verdict, or None where there are too few."""
    ages = [test.hours for test in usable]
    strengths = [test.strength for test in usable]
    if len(usable) < _TO_FIT or len(set(ages)) < _AGES_TO_FIT:
        return None
    fit = fit_hyperbola(ages, strengths, offset_h=begins)
    reach = fit.ultimate / max(strengths)
    rules = practice.rules["fit.most-scatter"], practice.rules["fit.most-reach"]
    verdict = "used"
    if reach > rules[1].value:
        verdict = "too-far"
    if fit.scatter > rules[0].value:
        verdict = "too-scattered"
    words = StrengthFit(
        verdict=verdict,
        ultimate_mpa=fit.ultimate,
        rate_per_h=fit.rate,
        offset_h=fit.offset_h,
        reference_c=concrete.reference_c,
        scatter=fit.scatter,
        most_scatter=rules[0].value,
        reach=reach,
        most_reach=rules[1].value,
        tests=tuple(
            StrengthTest(test.hours, test.strength, float(fitted))
            for test, fitted in zip(usable, fit.fitted_mpa, strict=True)
        ),
        source="; ".join(rule.source for rule in rules),
        mark=rules[0].mark,
    )
    return fit, words


def _from_fit(fit: Fit, usable: Sequence[_Test], concrete: ConcreteProperties) -> StrengthCurve:
    """Return the fitted curve, limited before the youngest test and beyond the oldest."""
    own = concrete.curve
    fitted = Hyperbola(fit.ultimate / concrete.specified_mpa, fit.rate, fit.offset_h)
    young, old = (
        _ratio(test.hours, float(value), concrete)
        for test, value in ((usable[0], fit.fitted_mpa[0]), (usable[-1], fit.fitted_mpa[-1]))
    )
    reached = min(float(fit.fitted_mpa[-1]), max(test.strength for test in usable)) / concrete.specified_mpa
    return SlowestCurve(
        (
            fitted,
            FastestCurve((ScaledCurve(own, young), OnsetBound(usable[0].hours / _DAY))),
            FastestCurve((ConstantBound(reached), ScaledCurve(own, min(old, 1.0)))),
        )
    )


def _record(
    test: _Test, concrete: ConcreteProperties, outcome: str, figures: tuple[Figure, ...] = ()
) -> Measurement:
    estimate = concrete.specified_mpa * float(concrete.curve.ratio(test.hours / _DAY))
    return Measurement(
        kind="standard-cylinder",
        name=test.name,
        at=test.cylinder.tested,
        measured=(Figure("age", test.hours, "h"), Figure("strength", test.strength, "MPa")),
        estimated=(Figure("strength", estimate, "MPa"),),
        outcome=outcome,
        figures=() if outcome == "too-young" else figures,
    )


# ---- field-cured ------------------------------------------------------------------------------------


def apply_field_cylinders(
    job: JobRecord, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation, practice: Practice
) -> tuple[ConcreteProperties, MeasurementResult]:
    """Return the concrete with its strength lowered to that of the cylinders beside the slab.

    They are compared with the likely strength of the middle of the slab at their age. Within the limit of
    disagreement, the estimate is kept. If they are weaker, the curve is lowered to them. If they are
    stronger, the estimate is kept, because the later of two dates counts. Of tests at several ages the oldest
    decide, because the important dates come after them.
    """
    limit = practice["cylinder.disagree"]
    records: list[Measurement] = []
    differing: list[tuple[float, tuple[Figure, ...]]] = []
    lowest = 1.0
    tests = _tests(job, "field")
    for test in tests:
        estimate = _estimate(test.hours, ensemble, concrete, slab)
        share = test.strength / estimate if estimate > 0.0 else np.inf
        outcome = "too-young" if estimate <= 0.0 else _agreement(share, limit)
        compared = (Figure("strength", test.strength, "MPa"), Figure("strength_estimated", estimate, "MPa"))
        if outcome in {"field-weaker", "field-stronger"}:
            differing.append((abs(np.log(share)), compared))
            if test.hours == tests[-1].hours:
                lowest = min(lowest, share)
        records.append(
            Measurement(
                kind="field-cylinder",
                name=test.name,
                at=test.cylinder.tested,
                measured=(Figure("age", test.hours, "h"), compared[0]),
                estimated=(Figure("strength", estimate, "MPa"),),
                outcome=outcome,
                figures=_scale_curve(float(share)) if np.isfinite(share) else (),
            )
        )
    cautions = tuple(_largest_departure(differing))
    if lowest < 1.0:
        concrete = replace(concrete, curve=ScaledCurve(concrete.curve, float(lowest)))
    return concrete, MeasurementResult(tuple(records), cautions)


def _agreement(share: float, limit: float) -> str:
    if abs(share - 1.0) <= limit:
        return "field-agrees"
    return "field-weaker" if share < 1.0 else "field-stronger"


def _largest_departure(
    differing: list[tuple[float, tuple[Figure, ...]]],
) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Yield a caution for the cylinder that is furthest from the estimate."""
    if differing:
        yield "cylinders-differ", max(differing, key=lambda each: each[0])[1]


def _estimate(hours: float, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation) -> float:
    """Return the likely strength of the middle of the slab at an age, in MPa; 0 before final set.

    Past the end of the estimate, the last day is repeated.
    """
    last = ensemble.last_placed
    age = slab.age_h[:, last, _MIDDLE]
    ahead = max(hours - slab.hours[-1], 0.0)
    at = min(int(hours), len(slab.hours) - 2)
    share = min(hours - at, 1.0)
    then = age[at] * (1.0 - share) + age[at + 1] * share + ahead / _DAY * (age[-1] - age[-1 - _DAY])
    strength = concrete.strength(then[np.newaxis, :, np.newaxis], last)
    return float(np.median(strength))
