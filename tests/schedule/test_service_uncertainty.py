"""The members and percentiles of a service as the errors of its forecast."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.practice.rules import practice
from handover.schedule.ensemble import CENTRAL, Ensemble, draw_ensemble
from handover.schedule.plan import plan_cure
from handover.weather.extrapolate import extrapolate
from handover.weather.series import Origin
from handover.weather.uncertainty import ForecastMembers, ForecastPercentiles

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

HOUR = np.timedelta64(3600, "s")
STATES = ("air_c", "relative_humidity", "wind_ms", "cloud")
ROUND = np.arange(31) - 15.0
"""What 31 members differ by from their mean, one apart."""


def with_members(weather: WeatherSeries, apart: Floats, hours: int = 240, **more: Floats) -> WeatherSeries:
    """Return weather with members of the air, which differ from a mean 7 K colder than the forecast."""
    time = weather.time[:hours]
    states = {"air_c": weather.air_c[:hours, np.newaxis] - 7.0 + apart}
    states |= {name: np.broadcast_to(each, (hours, len(each))).copy() for name, each in more.items()}
    return replace(weather, uncertainty=ForecastMembers(time, states, "an ensemble"))


def drawn(job: Job, weather: WeatherSeries, as_of: datetime, members: int = 200) -> Ensemble:
    whole = extrapolate(weather, job().placement.end.replace(day=30, month=8))
    return draw_ensemble(job(), whole, practice(), forecast_issued_s=as_of.timestamp(), members=members)


@pytest.mark.all_members
class TestMembers:
    def test_each_member_follows_one_of_the_service_in_turn(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """About the forecast, though their own mean is 7 K colder; 2.7 K rms is enough, nothing is added."""
        apart = ROUND * 0.3
        ensemble = drawn(job, with_members(weather(), apart), as_of)
        for hour in (0, 100, 239):
            error = ensemble.errors["air_c"][hour]
            assert error[1 : ensemble.n_last] == pytest.approx(apart[np.arange(ensemble.n_last - 1) % 31])
        assert np.array_equal(
            ensemble.errors["air_c"][:, ensemble.n_last :],
            ensemble.errors["air_c"][:, : len(ensemble) - ensemble.n_last],
        )

    def test_the_forecast_stays_the_central_case(self, job: Job, weather: Weather, as_of: datetime) -> None:
        ensemble = drawn(job, with_members(weather(), ROUND), as_of)
        assert not ensemble.errors["air_c"][:, CENTRAL].any()
        assert not ensemble.errors["air_c"][:, ensemble.n_last].any()

    def test_members_that_agree_leave_the_error_of_the_first_hours(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """Two standard errors of 600 draws are 6 %."""
        alike = with_members(weather(), np.zeros(31), wind_ms=np.full(31, 4.0))
        ensemble = drawn(job, alike, as_of, members=800)
        for name in ("air_c", "wind_ms"):
            at_once = practice()[f"forecast.{name}-at-once"]
            for hour in (50, 150, 230):
                spread = ensemble.errors[name][hour, ensemble.last_placed].std()
                assert spread == pytest.approx(at_once, rel=0.10), (name, hour)

    def test_no_hour_has_less_spread_than_the_first_hours(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """Members 1.0 K apart from their mean, root mean square: the rest is drawn, both squared add up."""
        apart = ROUND / ROUND.std()
        ensemble = drawn(job, with_members(weather(), apart), as_of, members=800)
        spread = ensemble.errors["air_c"][150, ensemble.last_placed].std()
        assert spread == pytest.approx(practice()["forecast.air_c-at-once"], rel=0.10)

    def test_wind_differs_by_as_many_metres_per_second(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        forecast = weather()
        ensemble = drawn(job, with_members(forecast, ROUND, wind_ms=20.0 + ROUND), as_of)
        met = forecast.wind_ms[100] * (1.0 + ensemble.errors["wind_ms"][100])
        assert met[1:32] == pytest.approx(forecast.wind_ms[100] + ROUND)

    def test_what_the_members_lack_has_the_usual_error(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        plain, with_them = (drawn(job, each, as_of) for each in (weather(), with_members(weather(), ROUND)))
        for name in ("relative_humidity", "wind_ms", "cloud"):
            assert np.array_equal(plain.errors[name], with_them.errors[name])

    def test_hours_that_were_observed_have_no_error(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        seen = weather()
        origin = np.where(np.arange(len(seen)) < 48, Origin.OBSERVED, Origin.FORECAST).astype(np.int8)
        ensemble = drawn(job, with_members(replace(seen, origin=origin), ROUND), as_of)
        assert not ensemble.errors["air_c"][:48].any()
        assert ensemble.errors["air_c"][48, 1:32] == pytest.approx(ROUND)

    @pytest.mark.parametrize("origin", [Origin.OBSERVED, Origin.TYPICAL])
    def test_without_a_forecast_they_change_nothing(
        self, job: Job, weather: Weather, as_of: datetime, origin: Origin
    ) -> None:
        seen = replace(weather(), origin=np.full(len(weather()), origin, dtype=np.int8))
        plain, with_them = (plan_cure(job(), each, as_of) for each in (seen, with_members(seen, ROUND)))
        assert plain.milestones == with_them.milestones
        assert with_them.weather.spread is None

    def test_after_their_end_their_error_is_forgotten(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """Of the difference to the error by the rules, exp(-t / memory) is left; nothing jumps."""
        plain, with_them = (drawn(job, each, as_of) for each in (weather(), with_members(weather(), ROUND)))
        apart = with_them.errors["air_c"] - plain.errors["air_c"]
        for hours in (1, 24, 48, 200):
            left = np.exp(-hours / practice()["forecast.memory"])
            assert apart[239 + hours, 1:] == pytest.approx(left * apart[239, 1:], abs=1e-9)
        assert np.abs(apart[-1]).max() < 1e-3

    def test_a_member_that_ends_early_goes_over_alone(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        whole = with_members(weather(), ROUND)
        cut = with_members(weather(), ROUND)
        assert isinstance(cut.uncertainty, ForecastMembers)
        cut.uncertainty.states["air_c"][100:, 15] = np.nan  # the one at the mean: the others stay
        one, other = (drawn(job, each, as_of).errors["air_c"][:, 1:] for each in (whole, cut))
        follows = np.arange(one.shape[1]) % 31 == 15
        same = follows[:149]
        assert other[:240, :149][:, ~same] == pytest.approx(one[:240, :149][:, ~same])
        assert other[99, :149][same] == pytest.approx(0.0)
        assert np.abs(other[200, :149][same]).max() > 0.5

    def test_before_they_begin_the_error_comes_over_from_the_rules(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        late = with_members(weather(), ROUND)
        assert isinstance(late.uncertainty, ForecastMembers)
        late.uncertainty.states["air_c"][:100] = np.nan
        plain, ensemble = (drawn(job, each, as_of).errors["air_c"] for each in (weather(), late))
        apart = ensemble - plain
        assert ensemble[100, 1:32] == pytest.approx(ROUND)
        assert apart[76, 1:] == pytest.approx(np.exp(-24 / practice()["forecast.memory"]) * apart[100, 1:])

    @pytest.mark.parametrize("kept", [0, 9])
    def test_too_few_members_change_nothing(
        self, job: Job, weather: Weather, as_of: datetime, kept: int
    ) -> None:
        few = with_members(weather(), ROUND)
        assert isinstance(few.uncertainty, ForecastMembers)
        few.uncertainty.states["air_c"][:, kept:] = np.nan
        plain, with_them = (drawn(job, each, as_of).errors for each in (weather(), few))
        for name in STATES:
            assert np.array_equal(plain[name], with_them[name])
        assert plan_cure(job(), few, as_of).weather.spread is None

    def test_members_apart_move_the_cautious_date_and_not_the_likely_one(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """Members 9 K about the forecast against members that agree: the same estimate, more to fear."""
        alike, apart = (
            plan_cure(job(), with_members(weather(), each), as_of).milestone("light-vehicles")
            for each in (np.zeros(31), ROUND)
        )
        assert apart.not_before - alike.not_before > timedelta(hours=6)
        assert abs(apart.likely - alike.likely) < 0.25 * (apart.not_before - alike.not_before)
        weather_share = [
            next((each.value for each in found.spread_by if each.name == "weather"), 0.0)
            for found in (alike, apart)
        ]
        assert weather_share[1] > weather_share[0]

    def test_neither_id_nor_name_of_a_job_moves_a_date(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        renamed = job(site={"name": "Another bay"}).model_copy(update={"id": "another"})
        one, other = (plan_cure(each, with_members(weather(), ROUND), as_of) for each in (job(), renamed))
        assert one.milestones == other.milestones

    def test_the_schedule_says_where_the_spread_comes_from(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        forecast = weather()
        spread = plan_cure(job(), with_members(forecast, ROUND), as_of).weather.spread
        assert spread is not None
        assert (spread.kind, spread.source, spread.members) == ("members", "an ensemble", 31)
        assert spread.until == forecast.first_hour + timedelta(hours=239)
        assert plan_cure(job(), forecast, as_of).weather.spread is None


class TestPercentiles:
    def with_spread(self, weather: WeatherSeries, kelvin: float, hours: int = 96) -> WeatherSeries:
        spreads = {"air_c": np.full(hours, kelvin), "wind_ms": np.full(hours, 3.0)}
        percentiles = ForecastPercentiles(weather.time[:hours], spreads, "a service")
        return replace(weather, uncertainty=percentiles)

    def test_they_scale_the_errors_hour_by_hour(self, job: Job, weather: Weather, as_of: datetime) -> None:
        forecast = weather()
        plain, wide = (drawn(job, each, as_of).errors for each in (forecast, self.with_spread(forecast, 6.0)))
        rules = practice()
        for hour in (as_of.hour, as_of.hour + 48):
            days = (hour - as_of.hour) / 24.0
            usual = rules["forecast.air_c-at-once"] + days * rules["forecast.air_c-per-day"]
            assert wide["air_c"][hour] == pytest.approx(plain["air_c"][hour] * 6.0 / usual, rel=0.02)
            usual = rules["forecast.wind_ms-at-once"] + days * rules["forecast.wind_ms-per-day"]
            share = 3.0 / forecast.wind_ms[hour]
            assert wide["wind_ms"][hour] == pytest.approx(plain["wind_ms"][hour] * share / usual, rel=0.02)

    def test_elsewhere_the_rules_have_the_errors(self, job: Job, weather: Weather, as_of: datetime) -> None:
        plain, wide = (
            drawn(job, each, as_of).errors for each in (weather(), self.with_spread(weather(), 6.0))
        )
        assert np.array_equal(wide["air_c"][96:], plain["air_c"][96:])
        for name in ("relative_humidity", "cloud"):
            assert np.array_equal(wide[name], plain[name])

    def test_past_the_forecast_the_rules_have_the_errors(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        """Percentiles of two weeks, a forecast of five days."""
        forecast = weather()
        short = forecast.window(forecast.time[0], forecast.time[119])
        wide = replace(short, uncertainty=self.with_spread(forecast, 6.0, hours=14 * 24).uncertainty)
        plain, scaled = (drawn(job, each, as_of).errors["air_c"] for each in (short, wide))
        assert not np.array_equal(scaled[119], plain[119])
        assert np.array_equal(scaled[120:], plain[120:])

    def test_narrow_ones_leave_the_error_of_the_first_hours(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        ensemble = drawn(job, self.with_spread(weather(), 0.1), as_of, members=800)
        spread = ensemble.errors["air_c"][90, ensemble.last_placed].std()
        assert spread == pytest.approx(practice()["forecast.air_c-at-once"], rel=0.10)

    def test_the_central_case_and_observed_hours_have_none(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        seen = weather()
        origin = np.where(np.arange(len(seen)) < 48, Origin.OBSERVED, Origin.FORECAST).astype(np.int8)
        errors = drawn(job, self.with_spread(replace(seen, origin=origin), 6.0), as_of).errors["air_c"]
        assert not errors[:, CENTRAL].any()
        assert not errors[:48].any()
        assert errors[48].any()

    def test_the_schedule_says_where_the_spread_comes_from(
        self, job: Job, weather: Weather, as_of: datetime
    ) -> None:
        forecast = weather()
        spread = plan_cure(job(), self.with_spread(forecast, 6.0), as_of).weather.spread
        assert spread is not None
        assert (spread.kind, spread.source, spread.members) == ("percentiles", "a service", 0)
        assert spread.until == forecast.first_hour + timedelta(hours=95)
