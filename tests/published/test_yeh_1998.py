"""Yeh (1998), Modeling of strength of high-performance concrete; the data are open (UCI repository).

Real series of strength. They scatter (a mix given twice has 55.90 and 22.90 MPa at 7 days), so they are
a loose envelope: they would show a curve that is wrong in kind, not one that is off by a tenth.

The whole set, yeh_1998.csv, is for the curves of mixes with fly ash and slag: two thirds of the mixes for the
fit, the third with a number divisible by 3 for the comparison. Run as a program, it prints the comparison.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from scipy.optimize import minimize

from handover.concrete.curves import AdditionCurve, SlowestCurve
from handover.concrete.strength import Aci209, En1992, StrengthCurve
from handover.practice.rules import practice
from handover.schedule.mix import addition_terms, curves_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from handover.base.arrays import Floats

PLAIN = {7: 38.60, 28: 39.29, 90: 42.23, 180: 42.62, 365: 41.93}
SLAG_50 = {7: 26.26, 28: 30.08, 90: 33.12, 180: 36.25, 365: 39.00}
SLAG_40 = {3: 9.13, 7: 14.64, 28: 28.02, 90: 38.07, 180: 41.72, 365: 44.30}
SLAG_60 = {3: 8.06, 7: 14.59, 28: 28.24, 90: 39.36, 180: 44.21, 365: 44.70}
FLY_ASH_30 = {3: 11.58, 14: 24.45, 28: 24.89, 56: 29.45, 100: 40.71}
PLASTICISED = {3: 33.40, 7: 49.20, 28: 60.29, 56: 64.30, 91: 65.20}
SERIES = [PLAIN, SLAG_50, SLAG_40, SLAG_60, FLY_ASH_30, PLASTICISED]


@pytest.mark.parametrize("series", SERIES)
@pytest.mark.parametrize(
    "curve",
    [Aci209(4.0, 0.85), En1992(0.38)],
    ids=["ACI 209 type I", "EN 1992 class S"],
)
def test_within_a_factor_of_1_7(series: dict[int, float], curve: StrengthCurve) -> None:
    """Loose on purpose: within a factor of 1.7 of the slow curves at every age; see above."""
    days = np.array(list(series))
    measured = np.array(list(series.values())) / series[28]
    assert np.all(np.abs(np.log(curve.ratio(days) / measured)) < np.log(1.7))


@pytest.mark.parametrize("series", [PLAIN, PLASTICISED])
def test_cautious_for_mixes_of_mostly_cement(series: dict[int, float]) -> None:
    """Up to 28 days the slow curves promise no more than the mixes of mostly portland cement gave."""
    days = np.array([each for each in series if each <= 28])
    measured = np.array([series[each] for each in days]) / series[28]
    assert np.all(En1992(0.38).ratio(days) <= measured + 1e-9)
    assert np.all(Aci209(4.0, 0.85).ratio(days) <= measured + 0.0075)  # it has 1.007 at 28 days


@pytest.mark.parametrize("series", [SLAG_40, SLAG_60])
def test_much_slag_is_slower_than_the_slowest_class(series: dict[int, float]) -> None:
    """A limit to know: with 40 % of slag and more, concrete at 3 and 7 days is behind EN 1992's class S."""
    for day in (3, 7):
        assert series[day] / series[28] < En1992(0.38).ratio(day)


# ---- the curves of mixes with fly ash and slag, fitted to two thirds of all mixes ---------------------

STRONGER = 0.65  # share of the tests that are stronger than the fitted curve: likely, on the safe side
CLASSES = {
    "plain": (0.0, 0.0, 0.0, 0.0),
    "ash to 40 %": (0.01, 0.40, 0.0, 0.0),
    "ash over 40 %": (0.40, 1.0, 0.0, 0.0),
    "slag to 30 %": (0.0, 0.0, 0.01, 0.30),
    "slag 30 to 45 %": (0.0, 0.0, 0.30, 0.45),
    "slag over 45 %": (0.0, 0.0, 0.45, 1.0),
    "ash and slag": (0.01, 1.0, 0.01, 1.0),
}
"""Share of fly ash above and up to, share of slag above and up to."""


class MixTests(NamedTuple):
    """Tests of mixes that were also tested at 28 days, one for each mix and age; all of shape (n,)."""

    mix: Floats
    ash: Floats
    slag: Floats
    days: Floats
    share: Floats  # of the strength at 28 days

    def where(self, chosen: NDArray[np.bool_]) -> MixTests:
        return MixTests(*(each[chosen] for each in self))


@cache
def every_mix() -> MixTests:
    rows = np.loadtxt(Path(__file__).with_name("yeh_1998.csv"), delimiter=",", skiprows=4)
    mixes, number = np.unique(rows[:, :7], axis=0, return_inverse=True)
    number, days, strength = np.ravel(number), rows[:, 7], rows[:, 8]
    mean = {
        (mix, age): strength[(number == mix) & (days == age)].mean()
        for mix, age in set(zip(number.tolist(), days.tolist(), strict=True))
    }
    found = [
        (mix, age, value / mean[mix, 28.0])
        for (mix, age), value in sorted(mean.items())
        if age != 28.0 and (mix, 28.0) in mean
    ]
    of_mix, age, share = np.array(found).T
    composition = mixes[of_mix.astype(int)]
    binder = composition[:, :3].sum(axis=1)
    return MixTests(of_mix, composition[:, 2] / binder, composition[:, 1] / binder, age, share)


def fitted_part() -> MixTests:
    every = every_mix()
    return every.where(every.mix % 3 != 0)


def held_out() -> MixTests:
    every = every_mix()
    return every.where(every.mix % 3 == 0)


def rule_constants() -> tuple[list[float], list[float]]:
    """Return the constants of the rules: for ages before 28 days, and after."""
    rules = practice()
    s = rules.cements["I"].curves[1].constants["s"]
    early = [rules[f"additions.{name}"] for name in ("per-share", "ash-as-slag", "none-below")]
    return [s, *early], [rules["additions.late-ash"], rules["additions.late-slag"]]


def curve_of(ash: float, slag: float) -> StrengthCurve:
    own = curves_of(practice().cements["I"], practice())
    return AdditionCurve(SlowestCurve(own), *addition_terms(ash, slag, practice()))


def loss(residual: Floats, mix: Floats) -> float:
    """Return the loss of a quantile, each mix with the same weight; residual: log of curve over test."""
    _, place, count = np.unique(mix, return_inverse=True, return_counts=True)
    weight = 1.0 / count[np.ravel(place)]
    return float((weight * np.where(residual > 0.0, STRONGER, 1.0 - STRONGER) * np.abs(residual)).sum())


def loss_before_28(constants: Sequence[float], tests: MixTests) -> float:
    s, per_share, ash_as_slag, none_below = constants
    above = np.maximum(tests.slag + ash_as_slag * tests.ash - none_below, 0.0)
    on_curve = (s + per_share * above) * (1.0 - np.sqrt(28.0 / tests.days))
    return loss(on_curve - np.log(tests.share), tests.mix)


def loss_after_28(constants: Sequence[float], tests: MixTests) -> float:
    gain = constants[0] * tests.ash + constants[1] * tests.slag
    on_curve = np.log(Aci209(4.0, 0.85).ratio(tests.days)) + gain * (1.0 - np.sqrt(28.0 / tests.days))
    return loss(on_curve - np.log(tests.share), tests.mix)


@pytest.mark.parametrize("early", [True, False], ids=["before 28 days", "after 28 days"])
def test_the_rules_are_the_best_fit_to_two_thirds_of_the_mixes(early: bool) -> None:
    """To within 1 % of the loss: the constants are rounded to two figures."""
    part = fitted_part()
    part = part.where((part.days < 28.0) == early)
    of_rules = rule_constants()[0 if early else 1]
    loss_of = loss_before_28 if early else loss_after_28
    best = min(
        minimize(loss_of, start, args=(part,), method="Nelder-Mead", options={"maxiter": 4000}).fun
        for start in ([of_rules, [0.35, 0.6, 0.4, 0.1]] if early else [of_rules, [0.3, 0.3]])
    )
    assert loss_of(of_rules, part) == pytest.approx(best, rel=0.01)


def over_the_mixes(name: str, days: float, tests: MixTests) -> Floats:
    """Return the curve over the test, for each mix of a class tested at an age (90: to 100 days)."""
    ash_above, ash_to, slag_above, slag_to = CLASSES[name]
    of_class = (tests.ash >= ash_above) & (tests.ash <= ash_to)
    of_class &= (tests.slag >= slag_above) & (tests.slag <= slag_to)
    at_age = (tests.days >= 90.0) & (tests.days <= 100.0) if days == 90.0 else tests.days == days
    chosen = tests.where(of_class & at_age)
    on_curve = [
        float(curve_of(ash, slag).ratio(age))
        for ash, slag, age in zip(chosen.ash, chosen.slag, chosen.days, strict=True)
    ]
    return np.array(on_curve) / chosen.share


def test_held_out_third() -> None:
    """The middle of a class, where five mixes or more were tested: at most a ninth above what was measured.

    Below, up to a quarter: slag to 30 % and much slag are promised less than they gave.
    """
    tested = {
        (name, days): over_the_mixes(name, days, held_out())
        for name in CLASSES
        for days in (3.0, 7.0, 14.0, 90.0)
    }
    middles = {each: float(np.median(ratio)) for each, ratio in tested.items() if len(ratio) >= 5}
    assert len(middles) == 18
    assert {each: found for each, found in middles.items() if not 0.75 < found < 1.115} == {}


def test_plain_mixes_at_7_and_14_days() -> None:
    """Within 5 %, on all plain mixes: ACI 209 alone has 9 and 6 % too much."""
    for days in (7.0, 14.0):
        assert np.median(over_the_mixes("plain", days, every_mix())) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("days", [3.0, 14.0])
def test_ash_mixes_are_not_promised_a_third_too_little(days: float) -> None:
    ratio = over_the_mixes("ash to 40 %", days, every_mix())
    assert np.median(ratio) == pytest.approx(1.0, abs=0.12)


def test_late_gain_by_class() -> None:
    """By 90 days, mixes with fly ash have gained more over 28 days than plain ones, measured and curve."""
    every = every_mix()
    late = every.where((every.days >= 90.0) & (every.days <= 100.0) & (every.slag == 0.0))
    plain, ash = (np.median(late.share[chosen]) for chosen in (late.ash == 0.0, late.ash > 0.2))
    assert plain < ash
    assert curve_of(0.0, 0.0).ratio(90.0) < curve_of(0.3, 0.0).ratio(90.0) <= ash


# ---- how water and cement scatter among mixes of one strength, for a record that states neither -------

ORDERED_MPA = (24.0, 36.0)  # at 28 days: what an order of 3000 to 4000 psi delivers


def mixes_as_ordered() -> Floats:
    """Return ratio of water to cementitious material, and content, shape (2, n): one row a mix."""
    rows = np.loadtxt(Path(__file__).with_name("yeh_1998.csv"), delimiter=",", skiprows=4)
    mixes, number = np.unique(rows[:, :7], axis=0, return_inverse=True)
    at_28 = rows[:, 7] == 28.0
    chosen = []
    for mix in np.unique(np.ravel(number)[at_28]):
        strength = rows[(np.ravel(number) == mix) & at_28, 8].mean()
        if mixes[mix, 4] == 0.0 and ORDERED_MPA[0] <= strength <= ORDERED_MPA[1]:
            content = mixes[mix, :3].sum()
            chosen.append((mixes[mix, 3] / content, content))
    return np.array(chosen).T


@pytest.mark.parametrize("rule", ["spread.water-assumed", "spread.cementitious-assumed"])
def test_the_spread_of_what_is_assumed_is_that_of_the_mixes(rule: str) -> None:
    """Standard deviation of the logarithm among the 49 mixes without plasticizer, rounded to a hundredth."""
    water, content = np.log(mixes_as_ordered())
    assert len(water) == 49
    found = np.exp((water if rule == "spread.water-assumed" else content).std(ddof=1))
    assert practice()[rule] == pytest.approx(found, abs=0.005)


@pytest.mark.parametrize("days", [1.0, 3.0, 7.0, 14.0, 28.0, 90.0])
@pytest.mark.parametrize("kind", ["ash", "slag"])
def test_no_step_at_any_share(kind: str, days: float) -> None:
    """A hundredth more changes strength by little over a hundredth of the strength at 28 days."""
    shares = np.arange(0.0, 0.71, 0.01)
    values = [curve_of(*((each, 0.0) if kind == "ash" else (0.0, each))).ratio(days) for each in shares]
    steps = np.diff([float(each) for each in values])
    assert np.max(np.abs(steps)) < 0.011
    assert np.all(steps <= 1e-12) if days <= 28.0 else np.all(steps >= -1e-12)


if __name__ == "__main__":
    sys.stdout.write("curve over test, middle of the mixes (their number)\n")
    sys.stdout.write(f"{'':26}{'3 d':12}{'7 d':12}{'14 d':12}90 d\n")
    for which, part in (("fitted", fitted_part()), ("held out", held_out())):
        for class_name in CLASSES:
            ratios = [over_the_mixes(class_name, days, part) for days in (3.0, 7.0, 14.0, 90.0)]
            cells = [f"{np.median(each):.2f} ({len(each)})" if len(each) else "-" for each in ratios]
            sys.stdout.write(f"{which:9}{class_name:17}{''.join(f'{each:12}' for each in cells)}\n")
