"""Cements and slag in their order: Types II and V are never faster than I, III is never slower.

Principle: Types II and V gain strength more slowly than Type I, Type III faster. Slag to 30 % does not affect
times of set significantly, more slows the colder it is (Slag Cement Association, information sheet 3).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.concrete.hydration import degree_of_hydration, reaction_rate
from handover.practice.rules import practice
from handover.schedule.ensemble import draw_ensemble
from handover.schedule.mix import concrete_properties

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.concrete.hydration import HydrationCurve
    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Hours = Callable[..., Floats]

STEADY_C = [2.0, 8.0, 20.0, 35.0]
SHARES = [0.2, 0.5, 0.6, 0.7, 0.85]
AGES: dict[tuple[tuple[str, Any], ...], tuple[Floats, HydrationCurve]] = {}
"""The ages and the hydration of each mix, at whatever temperature they are asked for."""


@pytest.fixture
def hours(job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime) -> Hours:
    """Hours at a steady temperature to initial and final set and to shares of strength, for each member."""
    ensemble = draw_ensemble(job(), weather(), practice(), forecast_issued_s=as_of.timestamp(), members=20)

    def build(temperature_c: float, **mix: Any) -> Floats:
        key = tuple(mix.items())
        if key not in AGES:
            delivered = concrete_properties(job(mix=mix).mix, ensemble, practice())
            concrete = replace(delivered, delivered=np.ones_like(delivered.delivered))  # as specified
            later = [concrete.age_at_strength(share * concrete.specified_mpa) for share in SHARES]
            ages = np.array([concrete.initial_set_h, concrete.final_set_h, *later])
            AGES[key] = ages, concrete.hydration
        ages, curve = AGES[key]
        return np.asarray(ages / reaction_rate(temperature_c, curve))

    return build


@pytest.mark.parametrize("temperature_c", STEADY_C)
@pytest.mark.parametrize("slower", ["II", "V"])
def test_types_ii_and_v_are_not_faster_than_i(hours: Hours, slower: str, temperature_c: float) -> None:
    assert np.all(hours(temperature_c, cement=slower) >= hours(temperature_c, cement="I") * (1.0 - 1e-9))


@pytest.mark.parametrize("slower", ["II", "V"])
def test_types_ii_and_v_have_given_off_no_more_heat_than_i(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime, slower: str
) -> None:
    """At any age: they are chosen for little heat. Seen: more in the first hours, so that they set sooner."""
    ensemble = draw_ensemble(job(), weather(), practice(), forecast_issued_s=as_of.timestamp(), members=20)
    ages_h = np.geomspace(0.05, 2000.0, 100)[:, np.newaxis]

    def heat(cement: str) -> Floats:
        concrete = concrete_properties(job(mix={"cement": cement}).mix, ensemble, practice())
        since_h = np.maximum(ages_h - concrete.heat_delay_h, 0.0)
        return degree_of_hydration(since_h, concrete.hydration) * concrete.heat_j_m3

    assert np.all(heat(slower) <= heat("I"))


@pytest.mark.parametrize("temperature_c", STEADY_C)
def test_type_iii_is_not_slower_than_i(hours: Hours, temperature_c: float) -> None:
    assert np.all(hours(temperature_c, cement="III") < hours(temperature_c, cement="I"))


@pytest.mark.parametrize("temperature_c", STEADY_C)
def test_slag_to_30_percent_sets_much_like_the_cement(hours: Hours, temperature_c: float) -> None:
    """Never sooner; within 15 %, near freezing 25 %."""
    plain, slag = hours(temperature_c)[:2], hours(temperature_c, slag=0.30)[:2]
    assert np.all(slag >= plain * (1.0 - 1e-9))
    assert np.all(slag <= (1.25 if temperature_c < 5.0 else 1.15) * plain)


@pytest.mark.parametrize("temperature_c", STEADY_C)
@pytest.mark.parametrize("kind", ["slag", "fly_ash"])
def test_more_additions_never_set_or_harden_earlier(hours: Hours, kind: str, temperature_c: float) -> None:
    """Without a step from one hundredth to the next: at most a tenth later."""
    shares = np.arange(0.0, 0.61, 0.01)
    rows = np.array([hours(temperature_c, **{kind: share}) for share in shares])
    steps = rows[1:] / rows[:-1]
    assert np.all(steps >= 1.0 - 1e-9)
    assert np.all(steps < 1.10)


def test_ages_are_on_the_clock_of_their_curve(hours: Hours) -> None:
    """EN 1992 at 20 degC, what was measured on Type I at 23 degC: each by its formula there."""

    def by_formula(cement: str, share: float) -> float:
        s = practice().cements[cement].curves[-1].constants["s"]
        return float(28.0 * 24.0 / (1.0 - np.log(share) / s) ** 2)

    assert hours(20.0, cement="32.5 N")[3, 0] == pytest.approx(by_formula("32.5 N", SHARES[1]))
    assert hours(23.0, cement="I")[3, 0] == pytest.approx(by_formula("I", SHARES[1]), rel=0.005)


def test_nine_mixes_in_ten_have_the_specified_strength(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime
) -> None:
    """ACI 318: the mean is 1.34 standard deviations above it, so 91 % are, if they are normal."""
    ensemble = draw_ensemble(job(), weather(), practice(), forecast_issued_s=as_of.timestamp(), members=800)
    delivered = concrete_properties(job().mix, ensemble, practice()).delivered[ensemble.last_placed]
    assert np.mean(delivered >= 1.0) == pytest.approx(0.91, abs=0.03)


def test_energy_hardening_and_strength_are_drawn_apart(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime
) -> None:
    """With one draw for two of them, a slab that is warm would have no spread at all."""
    ensemble = draw_ensemble(job(), weather(), practice(), forecast_issued_s=as_of.timestamp(), members=800)
    draws = [ensemble.draws[name][ensemble.last_placed] for name in ("energy", "hardening", "strength")]
    between = np.corrcoef(draws) - np.eye(3)
    assert np.max(np.abs(between)) < 0.15
