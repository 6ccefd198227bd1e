"""What must hold of the heat balance whatever the numbers."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from handover.air.psychrometrics import vapour_pressure
from handover.base.arrays import HOUR_S, Floats
from handover.concrete.evaporation import evaporation_rate
from handover.concrete.freezing import Freezing
from handover.concrete.heat import (
    INERT,
    LATENT_HEAT,
    Exchange,
    GridColumn,
    HydrationParameters,
    Layer,
    March,
    Surface,
    Wetness,
    film_coefficient,
    grid_column,
    march,
    sky_emissivity,
    surface_exchange,
)
from handover.concrete.hydration import degree_and_rate
from handover.errors import OutOfRange

DAY = 24 * HOUR_S
YOUNG = HydrationParameters(ultimate=0.74, tau=15.0, beta=0.67, heat=160e6, activation_energy=45e3)
SLAB = Layer(0.12, 1.5, 2.35e6, 12)
GROUND = Layer(0.48, 1.0, 1.6e6, 24)


def wet(_step: int, age_h: Floats) -> Floats:
    return np.ones(len(age_h))


def smooth_day(count: int, *, cover: float = 0.0, members: int = 1) -> tuple[Floats, Exchange]:
    """Return the steps and the weather of a day that begins gently, the same hour by hour for any count."""
    seconds = np.linspace(0.0, DAY, count + 1)
    rise = (1.0 - np.cos(2.0 * np.pi * seconds / DAY)) / 2.0
    summed = 600.0 * (seconds / 2.0 - DAY / (4.0 * np.pi) * np.sin(2.0 * np.pi * seconds / DAY))
    steps = np.diff(seconds)

    def for_all(values: Floats) -> Floats:
        return np.repeat(values[:, np.newaxis], members, axis=1)

    air = 20.0 - 8.0 * rise
    weather = surface_exchange(
        Surface(),
        air_c=for_all(air),
        vapour_pa=for_all(vapour_pressure(air, 0.6)),
        wind_ms=for_all(2.0 + rise),
        cloud=for_all(np.full(count + 1, 0.3)),
        shortwave_wm2=for_all(np.diff(summed) / steps),
        cover=cover,
    )
    return steps, weather


def steady(count: int, *, air_c: float, film: float, cover: float = 0.0) -> Exchange:
    """Return air and film alone."""
    instants, means = np.zeros((count + 1, 1)), np.zeros((count, 1))
    return Exchange(
        air_c=instants + air_c,
        vapour_pa=instants,
        film=instants + film,
        transfer=instants,
        longwave=instants,
        sun=means,
        cover=means + cover,
        emissivity=0.0,
    )


def day_of(
    body: GridColumn,
    concrete: HydrationParameters,
    count: int,
    *,
    cover: float = 0.0,
    watered: bool = True,
    deep_c: float | None = 15.0,
) -> March:
    steps, weather = smooth_day(count, cover=cover)
    return march(
        body,
        concrete,
        weather,
        steps=steps,
        initial_c=np.full((1, len(body.depth)), 20.0),
        deep_c=deep_c,
        wetness=wet if watered else None,
    )


@pytest.mark.parametrize("watered", [True, False])
@pytest.mark.parametrize("cover", [0.0, 0.2])
@pytest.mark.parametrize("concrete", [YOUNG, INERT])
@pytest.mark.parametrize("deep_c", [15.0, None])
def test_energy_closes(
    watered: bool, cover: float, concrete: HydrationParameters, deep_c: float | None
) -> None:
    """What is stored is what came in: to rounding, of some ten million J/m2."""
    heat = day_of(grid_column(SLAB, [GROUND]), concrete, 48, cover=cover, watered=watered, deep_c=deep_c).heat
    turnover = np.abs(heat.hydration) + np.abs(heat.surface) + np.abs(heat.ground)
    assert np.all(turnover > 1e5)
    left_over = heat.stored - heat.hydration - heat.surface - heat.ground
    assert np.all(np.abs(left_over) < 1e-12 * turnover)


def test_the_heat_of_hydration_is_that_of_the_degree_reached() -> None:
    body = grid_column(SLAB, [GROUND])
    steps, weather = smooth_day(48)
    outcome = march(
        body,
        YOUNG,
        weather,
        steps=steps,
        initial_c=np.full((1, len(body.depth)), 20.0),
        deep_c=15.0,
        nodes=range(len(body.concrete)),
    )
    degree, _ = degree_and_rate(outcome.equivalent_age_h[-1, 0], YOUNG.ultimate, YOUNG.tau, YOUNG.beta)
    assert outcome.heat.hydration[0] == pytest.approx(float((160e6 * degree) @ body.concrete), rel=1e-12)


def error_ratios(outcomes: list[Floats]) -> Floats:
    """Return by how much each refinement moved the answer, over how much the next one did."""
    moved = [np.abs(finer - coarser).max() for coarser, finer in pairwise(outcomes)]
    return np.array(moved[:-1]) / np.array(moved[1:])


@pytest.mark.parametrize(("concrete", "watered"), [(INERT, False), (YOUNG, True)])
def test_halving_the_step_quarters_the_error(concrete: HydrationParameters, watered: bool) -> None:
    """Second order: the ratio tends to 4. Cells of 3 cm, so that the steps resolve what happens in one."""
    body = grid_column(replace(SLAB, cells=4), [replace(GROUND, cells=8)])
    every_two_hours = [
        day_of(body, concrete, count, watered=watered).temperature_c[:: count // 12, 0, :]
        for count in (192, 384, 768, 1536)
    ]
    ratios = error_ratios(every_two_hours)
    assert np.all((ratios > 3.5) & (ratios < 4.5)), ratios


@pytest.mark.parametrize(("concrete", "watered"), [(INERT, False), (YOUNG, True)])
def test_halving_the_cells_quarters_the_error(concrete: HydrationParameters, watered: bool) -> None:
    """Second order, at the surface, in the middle and at the bottom; steps short enough not to matter.

    Nothing passes at the bottom: a held temperature is held a cell below the last node, and moves with it.
    """
    every_two_hours = [
        day_of(
            grid_column(replace(SLAB, cells=cells), [replace(GROUND, cells=4 * cells)]),
            concrete,
            1536,
            watered=watered,
            deep_c=None,
        ).temperature_c[::128, 0, :]
        for cells in (4, 8, 16)
    ]
    ratios = error_ratios(every_two_hours)
    assert np.all((ratios > 3.5) & (ratios < 4.8)), ratios


def test_long_steps_do_not_ring() -> None:
    """Unconditionally stable: a cold front met in steps of ten days."""
    body = grid_column(SLAB, [GROUND])
    outcome = march(
        body,
        INERT,
        steady(10, air_c=0.0, film=20.0),
        steps=np.full(10, 10 * DAY),
        initial_c=np.full((1, len(body.depth)), 20.0),
        deep_c=None,
    )
    assert np.all(np.abs(outcome.temperature_c) <= 20.0 + 1e-9)
    np.testing.assert_allclose(outcome.final_c, 0.0, atol=0.1)


@pytest.mark.parametrize("resistance", [0.0, 0.05, 0.35, 2.0])
def test_a_cover_is_a_resistance_in_series(resistance: float) -> None:
    """Steady heat from the deep through base, slab, cover and air film passes the sum of their resistances.

    The deep temperature is held one cell below the lowest node.
    """
    body = grid_column(SLAB, [GROUND])
    count = 200
    outcome = march(
        body,
        INERT,
        steady(count, air_c=-10.0, film=12.0, cover=resistance),
        steps=np.full(count, DAY),
        initial_c=np.full((1, len(body.depth)), 0.0),
        deep_c=10.0,
    )
    below = (
        SLAB.thickness / SLAB.conductivity + GROUND.thickness * (1 + 1 / GROUND.cells) / GROUND.conductivity
    )
    flow = 20.0 / (1.0 / 12.0 + resistance + below)
    surface = -10.0 + flow * (1.0 / 12.0 + resistance)
    assert outcome.final_c[0, 0] == pytest.approx(surface, abs=1e-6)


def test_a_cover_acts_like_a_weaker_film() -> None:
    """At every hour, not only in the end: 1/h' = 1/h + R; the same equations, so to rounding."""
    body = grid_column(SLAB, [GROUND])
    steps = np.full(24, HOUR_S)
    start = np.full((1, len(body.depth)), 20.0)
    covered, weaker = (
        march(body, YOUNG, weather, steps=steps, initial_c=start, deep_c=15.0).temperature_c
        for weather in (
            steady(24, air_c=2.0, film=15.0, cover=0.4),
            steady(24, air_c=2.0, film=1.0 / (1.0 / 15.0 + 0.4)),
        )
    )
    np.testing.assert_allclose(covered, weaker, rtol=1e-10)


@pytest.mark.parametrize("cover", [0.0, 0.15, 1.0])
def test_more_cover_keeps_a_cold_night_further_off(cover: float) -> None:
    body = grid_column(SLAB, [GROUND])
    steps = np.full(12, HOUR_S)
    start = np.full((1, len(body.depth)), 15.0)
    less, more = (
        march(
            body,
            YOUNG,
            steady(12, air_c=-8.0, film=15.0, cover=each),
            steps=steps,
            initial_c=start,
            deep_c=10.0,
        ).final_c[0, 0]
        for each in (cover, cover + 0.1)
    )
    assert more > less


def test_members_do_not_know_of_each_other() -> None:
    """Two slabs marched together are each the slab marched alone."""
    body = grid_column(SLAB, [GROUND])
    steps, weather = smooth_day(24, members=2)
    warm_and_cold = np.repeat([[28.0], [12.0]], len(body.depth), axis=1)
    mixed = replace(YOUNG, tau=np.array([12.0, 25.0]), heat=np.array([160e6, 120e6]))
    together = march(
        body, mixed, weather, steps=steps, initial_c=warm_and_cold, deep_c=np.array([15.0, 9.0]), wetness=wet
    )
    for member in range(2):
        steps, weather = smooth_day(24)
        alone = march(
            body,
            replace(YOUNG, tau=mixed.tau[member], heat=mixed.heat[member]),
            weather,
            steps=steps,
            initial_c=warm_and_cold[member : member + 1],
            deep_c=(15.0, 9.0)[member],
            wetness=wet,
        )
        np.testing.assert_allclose(together.temperature_c[:, member], alone.temperature_c[:, 0], rtol=1e-11)
        np.testing.assert_allclose(
            together.equivalent_age_h[:, member], alone.equivalent_age_h[:, 0], rtol=1e-11
        )


def test_only_the_instants_asked_for_come_back() -> None:
    body = grid_column(SLAB, [GROUND])
    steps, weather = smooth_day(24)
    start = np.full((1, len(body.depth)), 20.0)
    keep = np.arange(25) % 6 == 0
    some = march(body, YOUNG, weather, steps=steps, initial_c=start, deep_c=15.0, keep=keep)
    every = march(body, YOUNG, weather, steps=steps, initial_c=start, deep_c=15.0)
    np.testing.assert_array_equal(some.seconds, every.seconds[keep])
    np.testing.assert_array_equal(some.temperature_c, every.temperature_c[keep])


def test_arguments_are_not_changed() -> None:
    body = grid_column(SLAB, [GROUND])
    steps, weather = smooth_day(24)
    start = np.full((1, len(body.depth)), 20.0)
    march(body, YOUNG, weather, steps=steps, initial_c=start, deep_c=15.0, wetness=wet)
    np.testing.assert_array_equal(start, 20.0)


def test_nothing_hydrates_in_frozen_pore_water() -> None:
    body = grid_column(SLAB, [GROUND])
    outcome = march(
        body,
        replace(YOUNG, freezing=Freezing(-1.0, -3.0, 50e6)),
        steady(48, air_c=-10.0, film=20.0),
        steps=np.full(48, HOUR_S),
        initial_c=np.full((1, len(body.depth)), -3.0),
        deep_c=-3.0,
    )
    np.testing.assert_array_equal(outcome.equivalent_age_h, 0.0)
    assert outcome.heat.hydration[0] == 0.0


ICE = Freezing(-1.0, -3.0, 50e6)  # some 150 kg of water in the cubic metre


def frosty(count: int, concrete: HydrationParameters, *, swing: float = 0.0) -> March:
    """Return two days of frost on a slab placed at 2 degC, with thaws between if the air swings."""
    body = grid_column(SLAB, [GROUND])
    weather = steady(count, air_c=-6.0, film=12.0)
    hours = np.linspace(0.0, 48.0, count + 1)[:, np.newaxis]
    return march(
        body,
        concrete,
        replace(weather, air_c=weather.air_c + swing * np.sin(hours / 12.0 * np.pi)),
        steps=np.full(count, 2 * DAY / count),
        initial_c=np.full((1, len(body.depth)), 2.0),
        deep_c=1.0,
        keep=np.arange(count + 1) % (count // 48) == 0,
    )


@pytest.mark.parametrize("concrete", [YOUNG, INERT])
@pytest.mark.parametrize("swing", [0.0, 9.0])
def test_energy_closes_while_water_freezes_and_thaws(concrete: HydrationParameters, swing: float) -> None:
    heat = frosty(48, replace(concrete, freezing=ICE), swing=swing).heat
    turnover = np.abs(heat.hydration) + np.abs(heat.surface) + np.abs(heat.ground)
    left_over = heat.stored - heat.hydration - heat.surface - heat.ground
    assert np.all(np.abs(left_over) < 1e-12 * turnover)


def test_a_thin_plate_freezes_like_a_lump() -> None:
    """Exact: C dT/dt = film (air - T), with C + L / 2 K between -1 and -3 degC; steps of a minute, 0.05 K."""
    thin, film, air_c = Layer(0.02, 1e4, 2.4e6, 2), 10.0, -10.0
    body = grid_column(thin, [Layer(1e-6, 1e-6, 1e-6, 1)])
    plain, icy = 0.02 * 2.4e6, 0.02 * (2.4e6 + 50e6 / 2.0)
    outcome = march(
        body,
        replace(INERT, activation_energy=1e9, freezing=ICE),
        steady(600, air_c=air_c, film=film),
        steps=np.full(600, 60.0),
        initial_c=np.full((1, len(body.depth)), 2.0),
        deep_c=None,
    )
    begins = plain / film * np.log((2.0 - air_c) / (-1.0 - air_c))
    ends = begins + icy / film * np.log((-1.0 - air_c) / (-3.0 - air_c))
    seconds = outcome.seconds
    expected = np.where(
        seconds < begins,
        air_c + (2.0 - air_c) * np.exp(-seconds * film / plain),
        np.where(
            seconds < ends,
            air_c + (-1.0 - air_c) * np.exp(-(seconds - begins) * film / icy),
            air_c + (-3.0 - air_c) * np.exp(-(seconds - ends) * film / plain),
        ),
    )
    assert np.abs(outcome.temperature_c[:, 0, 1] - expected).max() < 0.05


@pytest.mark.parametrize("swing", [0.0, 9.0])
def test_steps_of_an_hour_are_short_enough_where_water_freezes(swing: float) -> None:
    """Against steps of a minute: 0.3 K rms, where the heat balance errs by 1 K by night."""
    coarse, fine = (frosty(count, replace(YOUNG, freezing=ICE), swing=swing) for count in (48, 48 * 60))
    assert np.sqrt(((coarse.temperature_c - fine.temperature_c) ** 2).mean(axis=(0, 1))).max() < 0.3


def test_freezing_water_slows_the_cooling_of_a_slab() -> None:
    dry, icy = (frosty(480, replace(YOUNG, freezing=each)).temperature_c for each in (None, ICE))
    assert np.all(icy >= dry - 1e-6)
    assert np.all(icy[-1] > dry[-1] + 0.5)


def test_what_does_not_freeze_is_not_touched() -> None:
    """To the last bit: a summer's dates do not depend on frost."""
    body = grid_column(SLAB, [GROUND])
    plain, icy = (day_of(body, replace(YOUNG, freezing=each), 48) for each in (None, ICE))
    np.testing.assert_array_equal(plain.temperature_c, icy.temperature_c)
    np.testing.assert_array_equal(plain.equivalent_age_h, icy.equivalent_age_h)


def test_steady_temperature_ages_by_the_clock() -> None:
    """At the reference temperature, with nothing passing in or out, equivalent age is clock time."""
    body = grid_column(SLAB, [GROUND])
    still = replace(YOUNG, heat=0.0, reference_c=20.0)
    outcome = march(
        body,
        still,
        steady(24, air_c=20.0, film=10.0),
        steps=np.full(24, HOUR_S),
        initial_c=np.full((1, len(body.depth)), 20.0),
        deep_c=20.0,
    )
    hours = np.arange(25.0)
    np.testing.assert_allclose(outcome.equivalent_age_h[:, 0, :], np.repeat(hours[:, None], 3, 1), rtol=1e-10)
    np.testing.assert_allclose(outcome.temperature_c, 20.0, rtol=1e-10)


def test_cooling_by_evaporation() -> None:
    """A wet surface loses the latent heat of what evaporates: 680.6 W/m2 at 1 kg/m2/h (2.45 MJ/kg).

    First by arithmetic; then the wet slab less the dry one over a short step at 30 degC.
    """
    assert pytest.approx(680.6, abs=0.1) == LATENT_HEAT / HOUR_S
    body = grid_column(SLAB, [GROUND])
    vapour = vapour_pressure(30.0, 0.4)
    weather = surface_exchange(
        Surface(),
        air_c=np.full((2, 1), 30.0),
        vapour_pa=np.full((2, 1), vapour),
        wind_ms=np.full((2, 1), 3.0),
        cloud=np.zeros((2, 1)),
        shortwave_wm2=np.zeros((1, 1)),
    )
    start = np.full((1, len(body.depth)), 30.0)
    drenched, dry = (
        march(
            body, INERT, weather, steps=np.array([0.1]), initial_c=start, deep_c=None, wetness=wetness
        ).heat.surface[0]
        for wetness in (wet, None)
    )
    rate = evaporation_rate(30.0, 30.0, 0.4, 3.0)
    assert (dry - drenched) / 0.1 == pytest.approx(680.556 * float(rate), rel=1e-3)


def test_dew_gives_no_heat() -> None:
    """Condensation is left out, as the rate is clamped at 0: a wet slab in mist is as warm as a dry one."""
    body = grid_column(SLAB, [GROUND])
    instants, means = np.full((13, 1), 25.0), np.zeros((12, 1))
    weather = surface_exchange(
        Surface(),
        air_c=instants,
        vapour_pa=vapour_pressure(instants, 1.0),
        wind_ms=instants / 10.0,
        cloud=instants / 25.0,
        shortwave_wm2=means,
    )
    start = np.full((1, len(body.depth)), 10.0)
    damp, dry = (
        march(
            body, INERT, weather, steps=np.full(12, HOUR_S), initial_c=start, deep_c=10.0, wetness=wetness
        ).temperature_c
        for wetness in (wet, None)
    )
    np.testing.assert_array_equal(damp, dry)


def test_all_are_dry_is_each_is_dry() -> None:
    """After wet hours, with and without a cover on one of two slabs: to the bit."""
    body = grid_column(SLAB, [GROUND])
    steps, weather = smooth_day(24, members=2)
    start = np.full((2, len(body.depth)), 20.0)

    def until_noon(afterwards: Floats | None) -> Wetness:
        return lambda step, _: np.ones(2) if step < 12 else afterwards

    for cover in (0.0, np.array([0.0, 0.3])):
        hours = replace(weather, cover=np.broadcast_to(cover, weather.sun.shape))
        zeros, none = (
            march(body, YOUNG, hours, steps=steps, initial_c=start, deep_c=15.0, wetness=until_noon(dry))
            for dry in (np.zeros(2), None)
        )
        np.testing.assert_array_equal(zeros.temperature_c, none.temperature_c)
        np.testing.assert_array_equal(zeros.equivalent_age_h, none.equivalent_age_h)


def test_film_rises_with_the_wind() -> None:
    """And nearly meets itself where the two formulas change over at 5 m/s."""
    film = film_coefficient(np.linspace(0.0, 15.0, 61))
    assert np.all(np.diff(film) > 0.0)
    below, above = film_coefficient(np.array([5.0, 5.0 + 1e-9]))
    assert above == pytest.approx(below, rel=0.02)


def test_the_sky_is_colder_than_the_air() -> None:
    """Clear sky emits less than a black body, cloud brings it nearer, and damp air shines more than dry."""
    air = np.array([-10.0, 10.0, 30.0])
    dry, damp = (vapour_pressure(air, humidity) for humidity in (0.3, 0.8))
    clear = sky_emissivity(air, dry, np.zeros(3))
    assert np.all((clear > 0.5) & (clear < sky_emissivity(air, damp, np.zeros(3))))
    assert np.all(clear < sky_emissivity(air, dry, np.full(3, 0.5)))
    assert np.all(sky_emissivity(air, damp, np.ones(3)) <= 1.0)


def test_roof_and_walls_hide_the_sky() -> None:
    """Indoors, at air temperature, nothing is exchanged by radiation and no sun comes in."""
    air = np.full((2, 1), 18.0)
    indoors = surface_exchange(
        Surface(sky_view=0.0, sun_share=0.0, emissivity=0.9),
        air_c=air,
        vapour_pa=np.full((2, 1), 1000.0),
        wind_ms=np.zeros((2, 1)),
        cloud=np.zeros((2, 1)),
        shortwave_wm2=np.full((1, 1), 700.0),
    )
    body = grid_column(SLAB, [GROUND])
    outcome = march(
        body,
        INERT,
        indoors,
        steps=np.array([HOUR_S]),
        initial_c=np.full((1, len(body.depth)), 18.0),
        deep_c=18.0,
    )
    np.testing.assert_allclose(outcome.final_c, 18.0, rtol=1e-12)


@pytest.mark.parametrize(
    "wrong", [{"thickness": 0.0}, {"conductivity": -1.0}, {"heat_capacity": 0.0}, {"cells": 0}], ids=str
)
def test_a_layer_of_nothing_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        grid_column(SLAB, [replace(GROUND, **wrong)])


@pytest.mark.parametrize("step", [0.0, -60.0])
def test_time_runs_forward(step: float) -> None:
    body = grid_column(SLAB, [GROUND])
    with pytest.raises(OutOfRange):
        march(
            body,
            INERT,
            steady(1, air_c=0.0, film=1.0),
            steps=np.array([step]),
            initial_c=np.zeros((1, len(body.depth))),
            deep_c=None,
        )


def test_a_start_that_does_not_fit_is_refused() -> None:
    body = grid_column(SLAB, [GROUND])
    with pytest.raises(OutOfRange):
        march(
            body,
            INERT,
            steady(1, air_c=0.0, film=1.0),
            steps=np.array([60.0]),
            initial_c=np.zeros((1, 5)),
            deep_c=None,
        )


@pytest.mark.parametrize("seed", range(4))
def test_no_weather_makes_it_run_away(seed: int) -> None:
    """Gales, a slab wet and dry, sun and frost in turn, in steps of an hour.

    No weather cools a surface by 100 K below the coldest air (a sky of 0 K takes less) or heats it by 60 K
    above the hottest (full sun on a still day).
    """
    random = np.random.default_rng(seed)
    members, hours = 50, 200
    steps = np.full(hours, 3600.0)
    air_c = random.uniform(-30.0, 50.0, (hours + 1, members))
    outcome = march(
        grid_column(Layer(0.1, 1.9, 2.35e6, 8), [Layer(1.5, 1.0, 2.0e6, 9, 1.4)]),
        INERT,
        surface_exchange(
            Surface(),
            air_c=air_c,
            vapour_pa=vapour_pressure(air_c, random.uniform(0.02, 1.0, air_c.shape)),
            wind_ms=random.uniform(0.0, 30.0, air_c.shape),
            cloud=random.uniform(0.0, 1.0, air_c.shape),
            shortwave_wm2=random.uniform(0.0, 1100.0, (hours, members)),
            film_factor=2.0,
            evaporation_factor=2.0,
        ),
        steps=steps,
        initial_c=np.full((members, 18), 40.0),
        deep_c=10.0,
        wetness=lambda number, _: np.full(members, float(number % 3 > 0)),
    )
    surface = outcome.temperature_c[:, :, 0]
    assert surface.min() > -130.0
    assert surface.max() < 110.0
