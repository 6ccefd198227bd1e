"""What each case makes of the weather: errors that grow, and hours of a typical year past the forecast."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
import scipy.special

from handover.practice.rules import practice
from handover.schedule.ensemble import CENTRAL, Ensemble, draw_ensemble, further_draws, stratified_draws
from handover.schedule.later_weeks import later_weeks
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate
from handover.schedule.slab_age import age_at, hours_to_age, hours_to_value
from handover.weather.climate import Climate
from handover.weather.extrapolate import extrapolate
from handover.weather.past_years import PastYears
from handover.weather.series import Origin

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

pytestmark = pytest.mark.all_members

MANY = 800
STRENGTH = "heavy-vehicles.strength-share"
HOUR = np.timedelta64(3600, "s")


def year_of(weather: WeatherSeries) -> WeatherSeries:
    """Return sixty days about the pour in which no two hours have the same air."""
    time = weather.time[0] + (np.arange(60 * 24) - 20 * 24) * HOUR
    air = np.arange(len(time)) * 0.01
    same = {
        name: np.full(len(time), value)
        for name, value in (("relative_humidity", 0.6), ("wind_ms", 3.0), ("cloud", 0.5))
    }
    return replace(
        weather,
        time=time,
        air_c=air,
        shortwave_wm2=np.zeros(len(time)),
        precipitation_mm=np.zeros(len(time)),
        precipitation_probability=np.full(len(time), np.nan),
        origin=np.full(len(time), Origin.TYPICAL, dtype=np.int8),
        issued_at=None,
        **same,
    )


class TestForecast:
    @pytest.fixture
    def drawn(self, job: Job, weather: Weather, as_of: datetime) -> Ensemble:
        return draw_ensemble(job(), weather(), practice(), forecast_issued_s=as_of.timestamp(), members=MANY)

    def test_errors_have_the_spread_that_the_rules_state(self, drawn: Ensemble, as_of: datetime) -> None:
        """At once, a day ahead and three; two standard errors of 600 draws are 6 %, 10 % is allowed."""
        air, rules = drawn.errors["air_c"][:, drawn.last_placed], practice()
        for days in (0, 1, 3):
            asked = rules["forecast.air_c-at-once"] + days * rules["forecast.air_c-per-day"]
            assert air[as_of.hour + 24 * days].std() == pytest.approx(asked, rel=0.10)

    def test_errors_hang_together_from_hour_to_hour(self, drawn: Ensemble) -> None:
        """A first-order series: the correlation falls as exp(-t/memory); 300 pairs know it to 0.06, once."""
        air = drawn.errors["air_c"][:, drawn.last_placed]
        for apart in (1, 24, 72):
            found = np.corrcoef(air[24], air[24 + apart])[0, 1]
            assert found == pytest.approx(np.exp(-apart / practice()["forecast.memory"]), abs=0.15)

    def test_the_central_case_is_what_was_forecast(self, drawn: Ensemble) -> None:
        for error in drawn.errors.values():
            assert not error[:, CENTRAL].any()

    def test_hours_that_were_observed_have_none(self, job: Job, weather: Weather, as_of: datetime) -> None:
        seen = weather()
        origin = np.where(np.arange(len(seen)) < 48, Origin.OBSERVED, Origin.FORECAST).astype(np.int8)
        drawn = draw_ensemble(
            job(), replace(seen, origin=origin), practice(), forecast_issued_s=as_of.timestamp()
        )
        for error in drawn.errors.values():
            assert not error[:48].any()
            assert error[48:].any()


class TestTypicalYear:
    @pytest.fixture
    def whole(self, job: Job, weather: Weather) -> WeatherSeries:
        seen = weather()
        until = job().placement.end.replace(day=10, month=8)
        return extrapolate(seen, until, typical=year_of(seen))

    def test_past_the_forecast_each_case_has_the_hours_of_another_day(
        self, job: Job, whole: WeatherSeries, weather: Weather, as_of: datetime
    ) -> None:
        year = year_of(weather())
        drawn = draw_ensemble(job(), whole, practice(), forecast_issued_s=as_of.timestamp(), typical=year)
        beyond = np.flatnonzero(whole.origin == Origin.TYPICAL)
        met = whole.air_c[beyond, np.newaxis] + drawn.errors["air_c"][beyond]
        at = np.round((met - year.air_c[0]) / 0.01)
        assert met[:, 1:] == pytest.approx(year.air_c[at[:, 1:].astype(int)])  # hours that there are ...
        assert np.diff(at[:, 1:], axis=0) == pytest.approx(1.0)  # ... one after the other ...
        expected = (whole.time[beyond[0]] - year.time[0]) / HOUR
        days = (at[0, 1 : drawn.n_last] - expected) / 24.0
        assert set(days) == set(range(-10, 11))  # ... of every day up to ten from the date

    def test_the_central_case_has_the_date_itself(
        self, job: Job, whole: WeatherSeries, weather: Weather, as_of: datetime
    ) -> None:
        drawn = draw_ensemble(
            job(), whole, practice(), forecast_issued_s=as_of.timestamp(), typical=year_of(weather())
        )
        settled = np.flatnonzero(whole.origin == Origin.TYPICAL)[12:]  # the joint has faded by then
        assert drawn.errors["air_c"][settled, CENTRAL] == pytest.approx(0.0, abs=1e-9)

    def test_a_year_that_does_not_reach_draws_nothing(
        self, job: Job, whole: WeatherSeries, weather: Weather, as_of: datetime
    ) -> None:
        year = year_of(weather())
        short = year.window(year.first_hour, as_of)
        with_it, without = (
            draw_ensemble(job(), whole, practice(), forecast_issued_s=as_of.timestamp(), typical=each)
            for each in (short, None)
        )
        assert np.array_equal(with_it.errors["air_c"], without.errors["air_c"])

    def test_it_moves_the_dates_past_the_forecast_and_no_others(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """The year is some 15 K colder than the forecast; before it, only the ground at placement differs.

        With much slag, the strength for trucks comes past the forecast.
        """
        slow = job(mix={"slag": 0.6})
        plain, cold = (plan_cure(slow, weather(), as_of, typical=each) for each in (None, year_of(weather())))
        sets = [each.milestone("final-set").not_before for each in (plain, cold)]
        assert abs(sets[0] - sets[1]) < timedelta(minutes=10)
        full = [
            next(gate.not_before for gate in (reason.governing, *reason.others) if gate.rule == STRENGTH)
            for reason in (each.milestone("heavy-vehicles").because for each in (plain, cold))
        ]
        assert full[1] - full[0] > timedelta(days=2)


class TestPastYears:
    """Three years, each of one temperature: 0, 10 and 20 degC."""

    @pytest.fixture
    def past(self, weather: Weather) -> PastYears:
        year = year_of(weather())
        years = tuple(replace(year, air_c=np.full(len(year), air)) for air in (0.0, 10.0, 20.0))
        columns = {each.name: getattr(year, each.name) for each in fields(year)}
        return PastYears(**columns | {"air_c": np.full(len(year), 10.0)}, years=years)

    @pytest.fixture
    def met(self, job: Job, weather: Weather, as_of: datetime, past: PastYears) -> NDArray[np.float64]:
        """The air that each member meets past the forecast, shape (h, m)."""
        until = job().placement.end.replace(day=10, month=8)
        whole = extrapolate(weather(), until, typical=past)
        drawn = draw_ensemble(job(), whole, practice(), forecast_issued_s=as_of.timestamp(), typical=past)
        beyond = np.flatnonzero(whole.origin == Origin.TYPICAL)
        return whole.air_c[beyond, np.newaxis] + drawn.errors["air_c"][beyond][:, : drawn.n_last]

    def test_each_member_comes_to_follow_a_year(self, met: NDArray[np.float64]) -> None:
        """After five times the memory of two days, what is left of 40 K at the joint: times exp(-5)."""
        late = met[240]
        assert np.abs(late - np.round(late, -1)).max() < 40 * np.exp(-5)
        followed = np.round(late[1:], -1)
        assert [int((followed == air).sum()) for air in (0.0, 10.0, 20.0)] == [50, 50, 49]

    def test_the_central_member_has_their_mean(self, met: NDArray[np.float64]) -> None:
        assert met[12:, CENTRAL] == pytest.approx(10.0)

    def test_no_member_jumps_where_the_forecast_ends(self, met: NDArray[np.float64]) -> None:
        """Some 20 K to a year of 0 degC take days: 1/48 of it an hour, and the day's own 1.3 K at most."""
        assert np.abs(np.diff(met, axis=0)).max() < 3.0


class TestPastTheSimulation:
    """Ten days of one temperature, at which something grows by one an hour, or else by nothing."""

    HOURS = np.arange(241.0)
    PLACED = np.datetime64("2026-07-14T12:00:00")
    CLIMATE = Climate(48.0, 10.0, (0.0, 1.0, 5.0, 9.0, 14.0, 17.0, 19.0, 19.0, 15.0, 10.0, 4.0, 1.0))

    def reached(self, temperature_c: NDArray[np.float64], needed: float, climate: Climate | None) -> float:
        """Return when enough hours of 15 degC and more have come."""
        warm = temperature_c[:-1, np.newaxis] >= 15.0
        series = np.concatenate([np.zeros((1, 1)), np.cumsum(warm, axis=0)])
        weeks = later_weeks(self.HOURS, self.PLACED, climate)
        later = weeks.hours, weeks.accumulate(temperature_c[:, np.newaxis], lambda each: each >= 15.0)
        return float(hours_to_value(self.HOURS, series, needed, lambda: later)[0])

    def test_without_a_climate_its_weeks_come_again(self) -> None:
        assert self.reached(np.full(241, 16.0), 340.0, None) == pytest.approx(340.0)

    def test_a_last_day_of_frost_is_not_repeated_for_ever(self) -> None:
        """Nine days in ten are warm: 124 hours more take 124 x 10 / 9, to a seventh of a day."""
        days = np.where(self.HOURS < 216.0, 16.0, -5.0)
        assert self.reached(days, 340.0, None) == pytest.approx(240.0 + 124.0 * 10.0 / 9.0, abs=4.0)

    def test_nothing_comes_of_what_never_was_where_no_season_brings_it(self) -> None:
        assert np.isinf(self.reached(np.full(241, 14.0), 340.0, None))

    def test_the_season_brings_warmth_and_takes_it(self) -> None:
        """By the middle of October the mean of the season is 9 K below that of July, by May 14 3 K."""
        summer, cold = np.full(241, 20.0), np.full(241, 14.0)
        assert np.isinf(self.reached(summer, 3500.0, self.CLIMATE))
        assert self.reached(summer, 1000.0, self.CLIMATE) == pytest.approx(1000.0, abs=4.0)
        weeks = later_weeks(self.HOURS, np.datetime64("2026-01-14T12:00:00"), self.CLIMATE)
        grown = weeks.accumulate(cold[:, np.newaxis], lambda each: each >= 16.0)
        assert grown[1, 0] == 0.0
        assert grown[-1, 0] > 0.0

    def test_what_no_season_reaches_is_never_met(self) -> None:
        assert np.isinf(self.reached(np.full(241, 16.0), 1e6, None))

    def test_frozen_concrete_thaws_in_spring(self, job: Job, weather: Weather, as_of: datetime) -> None:
        """The month of July is winter at the edge of the Antarctic; in January it is above 0 degC there."""
        coast = {"latitude": -63.4, "longitude": -57.0}
        slab = simulate(job(site=coast), weather(-12.0, -6.0, **coast), as_of, members=3).slab
        frozen, thawed = np.diff(slab.later_age_h[:, CENTRAL, 1])[[0, -1]]
        assert frozen < 0.25 * thawed  # the rates of 10 K apart alone would be as 1 to 2

    def test_concrete_of_fall_waits_and_that_of_spring_does_not(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """July at 36 degrees north and south: the month after next is colder here, warmer there."""
        southern = {"latitude": -36.1, "longitude": 146.0}
        north, south = (
            simulate(job(site=site), weather(**site), as_of, members=3).slab.later_age_h[:, CENTRAL, 1]
            for site in ({}, southern)
        )
        first, last = np.diff(north)[[0, 12]]
        assert last < first
        first, last = np.diff(south)[[0, 12]]
        assert last > first

    def test_an_age_past_the_end_is_of_the_hour_at_which_it_is_reached(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        slab = simulate(job(), weather(4.0, 10.0), as_of, members=20).slab
        needed = slab.age_h[-1].max() + 200.0
        met = hours_to_age(slab, needed)
        assert np.all(met > slab.hours[-1])
        assert age_at(slab, met).min(axis=1) == pytest.approx(np.full(len(met), needed))


def test_neither_id_nor_name_of_a_job_moves_a_date(job: Job, weather: Weather, as_of: datetime) -> None:
    renamed = job(site={"name": "Another bay"}).model_copy(update={"id": "another"})
    one, other = (plan_cure(each, weather(), as_of) for each in (job(), renamed))
    assert one.milestones == other.milestones


@pytest.mark.parametrize("pairs", [1, 7, 74])
def test_every_equal_share_of_a_distribution_holds_one_draw(pairs: int) -> None:
    for drawn in stratified_draws(np.random.default_rng(1), 3, pairs):
        shares = scipy.special.ndtr(np.concatenate([drawn, -drawn])) * 2 * pairs
        assert sorted(np.floor(shares)) == list(range(2 * pairs))


def test_uncertainties_are_hardly_correlated() -> None:
    """Shuffled alone, 74 pairs of 13 uncertainties have correlations up to about 3 / sqrt(74), 0.35."""
    random = np.random.default_rng(1)
    first = stratified_draws(random, 13, 74)
    found = np.corrcoef(np.concatenate([first, further_draws(random, first, 3)])) - np.eye(16)
    assert np.abs(found).max() < 0.12


@pytest.mark.parametrize("days", [(22.0, 32.0), (2.0, 10.0)])
def test_two_hundred_members_tell_what_two_thousand_tell(
    job: Job, weather: Weather, as_of: datetime, days: tuple[float, float]
) -> None:
    """A quarter of an hour or a fiftieth of the time since placing, at most half a day."""
    few, many = (plan_cure(job(), weather(*days), as_of, members=members) for members in (200, 2000))
    for one, other in zip(few.milestones, many.milestones, strict=True):
        for found, expected in ((one.likely, other.likely), (one.not_before, other.not_before)):
            if found is None or expected is None:
                assert found is expected, one.kind
            else:
                after = expected - job().placement.end
                limit = min(max(timedelta(minutes=15), after / 50), timedelta(hours=12))
                assert abs(found - expected) <= limit, (one.kind, found, expected)
