"""Measurements take over: tickets, cylinders and a logger move dates the way they must, and no other way."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.concrete.maturity import equivalent_age
from handover.jobs.record import Cylinder, JobRecord, LogReading, TemperatureLog, Ticket
from handover.practice.rules import practice
from handover.schedule.delivery_tickets import limit_on_the_way, loads
from handover.schedule.ensemble import CENTRAL
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate
from handover.schedule.temperature_log import depth_weights

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.model import CureSchedule, Measurement
    from handover.schedule.simulation import Simulation
    from handover.weather.series import WeatherSeries

Job = Callable[..., JobRecord]
Weather = Callable[..., "WeatherSeries"]
Planned = Callable[..., "CureSchedule"]
Concrete = Callable[..., "ConcreteProperties"]

ESTIMATED = [
    kind
    for kind in MilestoneKind
    if kind not in {MilestoneKind.DEICING_SALT, MilestoneKind.FLOOR_COVERING, MilestoneKind.SEAL}
]
MEMBERS = 8
DAYS_OF_CONCRETE = 4


@pytest.fixture
def planned(job: Job, weather: Weather, as_of: datetime) -> Planned:
    """The schedule of the plain job with measurements, on a mild day; nobody wrote when finishing ended."""

    def plan(record: JobRecord | None = None, *, members: int = MEMBERS, **measurements: Any) -> CureSchedule:
        measured = (record or job(placement={"finished": None})).model_copy(update=measurements)
        return plan_cure(measured, weather(14.0, 24.0), as_of, members=members)

    return plan


@pytest.fixture
def simulated(job: Job, weather: Weather, as_of: datetime) -> Callable[..., Simulation]:
    def simulate_measured(**measurements: Any) -> Simulation:
        measured = job(placement={"finished": None}).model_copy(update=measurements)
        return simulate(measured, weather(14.0, 24.0), as_of, members=MEMBERS)

    return simulate_measured


@pytest.fixture
def concrete_of(job: Job, weather: Weather, as_of: datetime) -> Callable[..., ConcreteProperties]:
    """The concrete as measurements correct it; of the slab, it depends on the first days alone."""

    def measure(**measurements: Any) -> ConcreteProperties:
        measured = job(placement={"finished": None}).model_copy(update=measurements)
        return simulate(measured, weather(14.0, 24.0), as_of, members=MEMBERS, days=DAYS_OF_CONCRETE).concrete

    return measure


def not_before(schedule: CureSchedule, kind: MilestoneKind) -> datetime | None:
    found = schedule.milestone(kind)
    assert found is not None
    return found.not_before


def estimated_dates(schedule: CureSchedule) -> dict[MilestoneKind, datetime | None]:
    """Return the estimated dates that a slab has; in mild weather none for cold protection or frost."""
    return {each.kind: each.not_before for each in schedule.milestones if each.kind in ESTIMATED}


def none_is_later(sooner: CureSchedule, later: CureSchedule) -> None:
    """Assert that no date of the first is after that of the second, which has all dates of the first."""
    dates = estimated_dates(later)
    for kind, one in estimated_dates(sooner).items():
        other = dates[kind]
        assert other is None or (one is not None and one <= other), kind


def record_of(schedule: CureSchedule, kind: str) -> Measurement:
    return next(each for each in schedule.measurements if each.kind == kind)


def codes(schedule: CureSchedule) -> set[str]:
    return {each.code for each in schedule.cautions}


def test_without_measurements_there_is_none_in_the_schedule(planned: Planned) -> None:
    schedule = planned()
    assert schedule.measurements == ()
    assert schedule.strength_fit is None


# ---- tickets ----------------------------------------------------------------------------------------


def ticket(minutes_before_end: float, job: Job, **more: Any) -> Ticket:
    batched = job().placement.end - timedelta(minutes=minutes_before_end)
    return Ticket(number="88121", batched=batched, volume=7.0, **more)


class TestTickets:
    def test_the_longer_in_the_truck_the_sooner_it_sets(self, planned: Planned, job: Job) -> None:
        dates = [planned(ticket=(ticket(minutes, job),)) for minutes in (0, 30, 60, 85)]
        sets = [not_before(each, MilestoneKind.FINAL_SET) for each in (planned(), *dates)]
        assert sets[0] == sets[1]
        assert sets[1:] == sorted(sets[1:], reverse=True)  # type: ignore[type-var]
        assert len(set(sets[1:])) == 4
        # The slab is warmer when it sets than the load was: an hour in the truck is less than one of setting.
        assert timedelta(minutes=15) < sets[1] - sets[3] < timedelta(hours=1)  # type: ignore[operator]

    def test_more_time_than_a_load_may_have_is_not_credited(self, planned: Planned, job: Job) -> None:
        limit, longer = (planned(ticket=(ticket(minutes, job),)) for minutes in (90, 200))
        assert not_before(limit, MilestoneKind.FINAL_SET) == not_before(longer, MilestoneKind.FINAL_SET)
        assert "late-discharge" in codes(longer)
        assert "late-discharge" not in codes(limit)

    @pytest.mark.parametrize(("allowed_h", "late"), [(None, True), (1.0, True), (2.0, False)])
    def test_the_limit_is_that_of_the_ticket(
        self, planned: Planned, job: Job, allowed_h: float | None, late: bool
    ) -> None:
        """ASTM C94/C94M-21: the limit is on the ticket; 90 minutes where it has none. Here: 100 minutes."""
        schedule = planned(ticket=(ticket(100, job, discharge_limit=allowed_h),))
        assert ("late-discharge" in codes(schedule)) is late
        for caution in schedule.cautions:
            if caution.code == "late-discharge":
                printed = {figure.name: figure.value for figure in caution.figures}
                assert printed["limit"] == pytest.approx(90.0 if allowed_h is None else 60.0 * allowed_h)

    @pytest.mark.parametrize(
        ("allowed_h", "name", "minutes"),
        [((None, None), "usual_limit", 90.0), ((2.5, 1.5), "ticket_limit", 90.0)],
    )
    def test_the_least_limit_of_the_tickets_counts_until_the_pour_is_over(
        self, job: Job, allowed_h: tuple[float | None, ...], name: str, minutes: float
    ) -> None:
        """ASTM C94/C94M-21, as above: who empties trucks goes by the shortest time."""
        tickets = tuple(ticket(60, job, discharge_limit=each) for each in allowed_h)
        record = job().model_copy(update={"ticket": tickets})
        limit = limit_on_the_way(record, practice())
        assert (limit.name, limit.value, limit.unit) == (name, pytest.approx(minutes), "min")

    def test_the_time_limit_is_in_the_schedule_until_the_pour_is_over(
        self, job: Job, weather: Weather
    ) -> None:
        ends = job().placement.end
        for hours, is_there in ((-0.5, True), (0.5, False)):
            schedule = plan_cure(job(), weather(14.0, 24.0), ends + timedelta(hours=hours))
            assert ("usual_limit" in {each.name for each in schedule.figures}) == is_there

    def test_the_time_of_a_load_is_the_same_wherever_it_is_named(self, planned: Planned, job: Job) -> None:
        """103 minutes by the tickets: rounded up to five, because no ticket says when its truck was empty."""
        schedule = planned(ticket=(ticket(103, job),))
        (caution,) = (each for each in schedule.cautions if each.code == "late-discharge")
        (measured,) = (each for each in schedule.measurements if each.kind == "ticket")
        named = {
            figure for figure in (*caution.figures, *measured.measured) if figure.name == "time_to_discharge"
        }
        assert [(figure.value, figure.unit) for figure in named] == [(105.0, "min")]

    def test_a_longer_limit_credits_no_more_time_in_the_truck(self, planned: Planned, job: Job) -> None:
        usual, longer = (planned(ticket=(ticket(200, job, discharge_limit=h),)) for h in (None, 4.0))
        assert not_before(usual, MilestoneKind.FINAL_SET) == not_before(longer, MilestoneKind.FINAL_SET)

    def test_a_ticket_without_its_time_credits_none(self, planned: Planned, job: Job) -> None:
        one = planned(ticket=(ticket(60, job), Ticket(number="2", volume=5.0)))
        assert not_before(one, MilestoneKind.FINAL_SET) == not_before(planned(), MilestoneKind.FINAL_SET)

    def test_equal_loads_follow_each_other_at_an_even_pace(self, job: Job) -> None:
        start, end = job().placement.start, job().placement.end
        tickets = tuple(Ticket(batched=start - timedelta(minutes=30), volume=5.0) for _ in range(3))
        hours = [load.on_the_way_h for load in loads(job().model_copy(update={"ticket": tickets}))]
        pace = (end - start) / timedelta(hours=1) / 3
        assert hours == pytest.approx([0.5 + pace, 0.5 + 2 * pace, 0.5 + 3 * pace], abs=1e-6)

    def test_more_water_is_never_sooner(self, planned: Planned, job: Job) -> None:
        loads_by_water = [(ticket(60, job, water_added=added),) for added in (0, 60, 150)]
        schedules = [planned(ticket=each, members=MEMBERS) for each in loads_by_water]
        for drier, wetter in pairwise(schedules):
            none_is_later(drier, wetter)

    def test_water_added_is_printed_with_its_cost(self, planned: Planned, job: Job) -> None:
        """By hand: 40 L over 7 m3 of 334.6 kg/m3 is 0.0171 of w/cm; 14^-0.0171 leaves 0.956."""
        schedule = planned(ticket=(ticket(60, job, water_added=40.0),))
        cautions = next(each for each in schedule.cautions if each.code == "water-added")
        figures = {each.name: each.value for each in cautions.figures}
        assert figures["water_cementitious"] == pytest.approx(0.5171, abs=1e-4)
        assert figures["strength_lost"] == pytest.approx(0.044, abs=0.001)
        assert "water-added" not in codes(planned(ticket=(ticket(60, job, water_added=5.0),)))

    def test_the_wettest_load_governs(self, planned: Planned, job: Job) -> None:
        wet = ticket(60, job, water_added=60.0)
        alone, among = planned(ticket=(wet,)), planned(ticket=(wet, ticket(60, job), ticket(60, job)))
        for kind in (MilestoneKind.LIGHT_WORK, MilestoneKind.HEAVY_VEHICLES):
            assert not_before(alone, kind) == not_before(among, kind)

    def test_abrams_law_agrees_with_the_trade_about_a_gallon(self) -> None:
        """Common practice, no source: a gallon to the yard costs 150 to 250 psi of a 3500 psi mix.

        A gallon of water is 3.785 kg, a yard of a six-sack mix holds 255.8 kg of cement (564 lb).
        """
        lost = 1.0 - practice()["retemper.abrams"] ** -(3.785 / 255.8)
        assert 150.0 / 3500.0 * 0.85 < lost < 250.0 / 3500.0

    def test_a_wet_slump_and_a_hot_load_are_printed(self, planned: Planned, job: Job) -> None:
        schedule = planned(ticket=(ticket(40, job, slump=0.2, temperature=36.0), ticket(30, job)))
        assert {"slump-high", "hot-discharge"} <= codes(schedule)
        plain = planned(ticket=(ticket(40, job, slump=0.1524, temperature=30.0),))
        assert not {"slump-high", "hot-discharge"} & codes(plain)


# ---- cylinders --------------------------------------------------------------------------------------

SPECIFIED = 20.684  # MPa, of the plain job


def standard(*tests: tuple[float, float]) -> tuple[Cylinder, ...]:
    return tuple(Cylinder(age=24.0 * days, strength=strength) for days, strength in tests)


def on_the_curve(days: float, times: float = 1.0) -> tuple[float, float]:
    """Type I by the slower of ACI 209 and the mixes of Yeh (1998), of the specified strength."""
    return days, times * SPECIFIED * float(type_i(days))


def type_i(days: ArrayLike) -> Floats:
    """Return t / (4 + 0.85 t), or exp(0.41 (1 - sqrt(28/t))) where it is less; no less than at 3 days."""
    age = np.asarray(days, dtype=np.float64)

    def measured(at: ArrayLike) -> Floats:
        return np.asarray(np.exp(0.41 * (1.0 - np.sqrt(28.0 / np.asarray(at)))))

    aci = age / (4.0 + 0.85 * age)
    at_3 = float(measured(3.0)) / (3.0 / (4.0 + 0.85 * 3.0))
    return np.minimum(aci, np.maximum(measured(age), at_3 * aci))


class TestStandardCured:
    def test_a_cylinder_on_the_curve_of_the_specified_strength_changes_no_curve(
        self, planned: Planned, concrete_of: Concrete
    ) -> None:
        """No date is sooner: plants deliver more than that on average."""
        tested = planned(cylinder=standard(on_the_curve(7)))
        assert record_of(tested, "standard-cylinder").figures[0].value == pytest.approx(1.0)
        concrete = concrete_of(cylinder=standard(on_the_curve(7)))
        assert concrete.delivered[CENTRAL] == pytest.approx(1.0)
        assert concrete.curve.ratio([3.0, 28.0]) == pytest.approx(type_i([3.0, 28.0]))
        none_is_later(planned(), tested)

    @pytest.mark.parametrize("times", [0.5, 0.7, 0.9])
    def test_a_weak_cylinder_is_never_sooner(self, planned: Planned, times: float) -> None:
        weak = planned(cylinder=standard(on_the_curve(7, times)))
        none_is_later(planned(), weak)
        assert ("cylinders-weak" in codes(weak)) == (times < 0.8)

    def test_a_strong_cylinder_brings_nothing_above_what_was_measured(self, concrete_of: Concrete) -> None:
        """Nor above what the plant has on average: 1.34 standard deviations of 500 psi over the specified."""
        days = np.linspace(0.5, 60.0, 200)
        expected = (SPECIFIED + 1.34 * 3.5) * type_i(days)
        for times in (1.3, 1.5, 2.0):
            concrete = concrete_of(cylinder=standard(on_the_curve(7, times)))
            likely = SPECIFIED * concrete.delivered[CENTRAL] * concrete.curve.ratio(days)
            assert np.all(likely <= np.maximum(on_the_curve(7, times)[1], expected) + 1e-9)
            assert np.all(likely >= expected - 1e-9)

    def test_a_cylinder_of_the_expected_strength_makes_nothing_later(
        self, planned: Planned, concrete_of: Concrete
    ) -> None:
        """What was expected moves no mean, narrows the spread, and makes no member weaker."""
        expected = 1.0 + 1.34 * 3.5 / SPECIFIED  # times the specified strength: ACI 318, as a plant delivers
        cylinder = standard(on_the_curve(3.0, expected))
        before, after = concrete_of().delivered, concrete_of(cylinder=cylinder).delivered
        assert after[CENTRAL] == pytest.approx(before[CENTRAL])
        assert np.all(np.abs(after - expected) <= np.abs(before - expected) + 1e-9)
        assert after.std() < before.std()
        assert np.all(after >= before - 1e-9)
        none_is_later(planned(cylinder=cylinder, members=200), planned(members=200))

    @pytest.mark.parametrize("days", [3.0, 14.0])
    @pytest.mark.parametrize("times", [1.0, 1.2])
    def test_nor_in_the_cold_where_weather_spreads_the_dates(
        self, job: Job, weather: Weather, as_of: datetime, times: float, days: float
    ) -> None:
        """There a date may rest on members that are slow but strong. Forms wait for a day if blankets do."""
        cold = weather(-7.0, 1.0, shortwave_wm2=np.zeros(14 * 24))
        plain = job(placement={"finished": None}, curing={"method": "insulating blanket"})
        before = simulate(plain, cold, as_of, members=MEMBERS)
        middle = float(before.concrete.delivered[CENTRAL] * before.concrete.curve.ratio(days))
        cylinder = standard((days, SPECIFIED * times * middle))
        tested = plain.model_copy(update={"cylinder": cylinder})
        after = simulate(tested, cold, as_of, members=MEMBERS)
        ages = np.array([1.0, 3.0, 7.0, 28.0])[:, np.newaxis]
        strengths = (each.concrete.delivered * each.concrete.curve.ratio(ages) for each in (before, after))
        assert np.all(np.subtract(*strengths) <= 1e-9)
        sooner, later = (plan_cure(each, cold, as_of, members=MEMBERS) for each in (tested, plain))
        none_is_later(sooner, later)

    def test_no_cylinder_widens_the_spread_and_an_older_one_says_more(self, concrete_of: Concrete) -> None:
        def spread(*tests: tuple[float, float]) -> float:
            return float(concrete_of(cylinder=standard(*tests)).delivered.std())

        for times in (0.6, 1.5):
            ages = [spread(on_the_curve(days, times)) for days in (3.0, 7.0, 28.0)]
            assert [spread(), *ages] == sorted([spread(), *ages], reverse=True)

    def test_a_stronger_cylinder_is_never_later(self, planned: Planned) -> None:
        dates = [planned(cylinder=standard(on_the_curve(3, 0.1 * tenths))) for tenths in range(18, 5, -4)]
        for stronger, weaker in pairwise(dates):
            none_is_later(stronger, weaker)

    def test_the_weaker_of_two_ages_governs(self, planned: Planned) -> None:
        both = planned(cylinder=standard(on_the_curve(3, 1.2), on_the_curve(7, 0.8)))
        weak = planned(cylinder=standard(on_the_curve(7, 0.8)))
        assert estimated_dates(both) == estimated_dates(weak)

    def test_the_order_in_the_record_changes_nothing(self, planned: Planned) -> None:
        tests = (on_the_curve(3), on_the_curve(7, 1.05), on_the_curve(28, 1.1))
        one, other = planned(cylinder=standard(*tests)), planned(cylinder=standard(*tests[::-1]))
        assert estimated_dates(one) == estimated_dates(other)

    def test_three_are_fitted_and_the_fit_is_printed(self, planned: Planned) -> None:
        schedule = planned(cylinder=standard((3, 12.0), (7, 18.0), (28, 26.0)))
        fit = schedule.strength_fit
        assert fit is not None
        assert fit.verdict == "used"
        assert [test.measured_mpa for test in fit.tests] == [12.0, 18.0, 26.0]
        assert {each.outcome for each in schedule.measurements} == {"curve-fitted"}

    def test_the_fitted_curve_goes_through_its_tests_and_not_above_them_outside(
        self, concrete_of: Concrete
    ) -> None:
        curve = concrete_of(cylinder=standard((3, 12.0), (7, 18.0), (28, 26.0))).curve
        assert SPECIFIED * curve.ratio([3.0, 7.0, 28.0]) == pytest.approx([12.0, 18.0, 26.0], rel=0.05)
        days = np.array([0.5, 1.0, 2.0])  # younger than any test: the cement's own, through the youngest
        own = type_i(days)
        youngest = float(type_i(3.0))
        assert np.all(curve.ratio(days) <= own / youngest * float(curve.ratio(3.0)) + 1e-12)
        assert float(curve.ratio(365.0)) * SPECIFIED <= 26.0 + 1e-9

    def test_scattered_tests_are_refused_and_the_lowest_governs(self, planned: Planned) -> None:
        tests = (on_the_curve(3, 1.4), on_the_curve(7, 0.7), on_the_curve(28, 1.3))
        schedule = planned(cylinder=standard(*tests))
        assert schedule.strength_fit is not None
        assert schedule.strength_fit.verdict == "too-scattered"
        weak = planned(cylinder=standard(tests[1]))
        assert estimated_dates(schedule) == estimated_dates(weak)

    def test_a_fit_that_reaches_far_beyond_its_tests_is_refused(self, planned: Planned) -> None:
        early = planned(cylinder=standard((1, 3.0), (2, 7.0), (3, 11.0)))
        assert early.strength_fit is not None
        assert early.strength_fit.verdict == "too-far"

    def test_a_test_before_set_is_ignored(self, planned: Planned) -> None:
        schedule = planned(cylinder=(Cylinder(age=5.0, strength=0.4),))
        assert record_of(schedule, "standard-cylinder").outcome == "too-young"
        none_is_later(schedule, planned())

    def test_tested_and_age_say_the_same(self, planned: Planned, job: Job) -> None:
        tested = job().placement.start.astimezone(UTC) + timedelta(days=7)
        one = planned(cylinder=(Cylinder(tested=tested, strength=12.0),))
        other = planned(cylinder=(Cylinder(age=168.0, strength=12.0),))
        assert one.milestones == other.milestones

    @pytest.mark.parametrize(
        "series",
        [{7: 38.60, 28: 39.29, 90: 42.23}, {7: 26.26, 28: 30.08, 90: 33.12}, {3: 33.40, 7: 49.20, 28: 60.29}],
    )
    def test_real_series_are_followed_and_never_overtaken(
        self, simulated: Any, series: dict[int, float]
    ) -> None:
        """Yeh (1998), UCI data. A loose envelope: within 15 % at the tests, never above their highest."""
        simulation = simulated(cylinder=standard(*((float(day), mpa) for day, mpa in series.items())))
        assert simulation.measurements.fit.verdict == "used"
        estimate = SPECIFIED * simulation.concrete.curve.ratio(np.array(list(series), dtype=float))
        assert estimate == pytest.approx(list(series.values()), rel=0.15)
        later = SPECIFIED * simulation.concrete.curve.ratio(np.linspace(max(series), 400.0, 50))
        assert later.max() <= max(series.values()) + 1e-9


class TestFieldCured:
    @pytest.fixture
    def estimate(self, simulated: Any) -> float:
        """The likely strength of the middle of the slab three days after the last concrete."""
        simulation = simulated()
        last = simulation.ensemble.last_placed
        age = simulation.slab.age_h[72:73, last, 1:2]
        return float(np.median(simulation.concrete.strength(age, last)))

    @staticmethod
    def broken(strength: float) -> tuple[Cylinder, ...]:
        return (Cylinder(age=72.0, strength=strength, cured="field"),)

    @pytest.mark.parametrize("times", [0.85, 1.0, 1.15])
    def test_within_a_fifth_the_estimate_is_kept(
        self, planned: Planned, estimate: float, times: float
    ) -> None:
        schedule = planned(cylinder=self.broken(estimate * times))
        assert schedule.milestones == planned().milestones
        assert record_of(schedule, "field-cylinder").outcome == "field-agrees"
        assert "cylinders-differ" not in codes(schedule)

    def test_a_weak_one_moves_dates_to_later(self, planned: Planned, estimate: float) -> None:
        plain, weak = planned(), planned(cylinder=self.broken(estimate * 0.7))
        none_is_later(plain, weak)
        work = [not_before(each, MilestoneKind.LIGHT_WORK) for each in (plain, weak)]
        assert work[0] < work[1]  # type: ignore[operator]
        assert "cylinders-differ" in codes(weak)

    def test_a_strong_one_is_printed_and_moves_nothing(self, planned: Planned, estimate: float) -> None:
        strong = planned(cylinder=self.broken(estimate * 1.4))
        assert strong.milestones == planned().milestones
        assert "cylinders-differ" in codes(strong)

    def test_the_oldest_has_the_last_word(self, planned: Planned, estimate: float) -> None:
        weak = Cylinder(age=48.0, strength=estimate * 0.3, cured="field")
        schedule = planned(cylinder=(weak, *self.broken(estimate)))
        assert schedule.milestones == planned().milestones
        assert "cylinders-differ" in codes(schedule)


# ---- logger -----------------------------------------------------------------------------------------


def log_of(
    simulation: Simulation, hours: range | list[int], warmer: float = 0.0, depth: float | None = None
) -> Any:
    """Return the log of a sensor that reads the central member's middle, so many kelvin warmer."""
    readings = tuple(
        LogReading(
            simulation.job.placement.end + timedelta(hours=hour),
            float(simulation.slab.temperature_c[hour, CENTRAL, 1]) + warmer,
        )
        for hour in hours
    )
    return TemperatureLog(file="logger.csv", depth=depth, readings=readings)


class TestLog:
    def test_a_log_that_equals_the_model_changes_nothing(self, simulated: Any) -> None:
        """All dates of the central member, which the readings were taken from."""
        plain = simulated()
        same = simulated(temperature_log=log_of(plain, range(72)))
        with_log, without = (compute_dates(each, lambda _: "forecast").met_h for each in (same, plain))
        assert with_log.keys() == without.keys()
        for kind in without.keys() & set(ESTIMATED):
            assert with_log[kind][CENTRAL] == pytest.approx(without[kind][CENTRAL], rel=1e-6), kind
        figures = {each.name: each.value for each in same.measurements.records[0].figures}
        assert figures["offset"] == pytest.approx(0.0, abs=1e-9)
        assert figures["gain"] == pytest.approx(1.0, abs=1e-9)

    def test_the_central_member_of_such_a_log_is_as_it_was(self, simulated: Any) -> None:
        plain = simulated()
        same = simulated(temperature_log=log_of(plain, range(72)))
        assert same.slab.temperature_c[:, CENTRAL] == pytest.approx(plain.slab.temperature_c[:, CENTRAL])
        assert same.slab.age_h[:, CENTRAL] == pytest.approx(plain.slab.age_h[:, CENTRAL], rel=1e-9)

    def test_members_differ_less_than_before_and_most_where_nothing_was_read(self, simulated: Any) -> None:
        plain = simulated()
        known = simulated(temperature_log=log_of(plain, range(72)))
        before, after = (
            each.slab.temperature_c[:, each.ensemble.last_placed, 1].std(axis=1) for each in (plain, known)
        )
        sensor = practice()["log.sensor"]
        assert np.all(after[12:72] < np.maximum(before[12:72], 2.0 * sensor))
        assert after[12:72].mean() < before[12:72].mean()
        assert after[72:].mean() > after[12:72].mean()

    @pytest.mark.parametrize("hours", [range(6), range(30), range(0, 72, 3)])
    def test_a_warmer_log_is_never_later(self, planned: Planned, simulated: Any, hours: range) -> None:
        simulation = simulated()
        logs = [
            planned(temperature_log=log_of(simulation, hours, warmer))
            for warmer in (-6.0, -2.0, 0.0, 2.0, 6.0)
        ]
        for colder, warmer in pairwise(logs):
            none_is_later(warmer, colder)

    def test_age_in_the_slab_is_that_of_the_readings(self, simulated: Any) -> None:
        """Equivalent age by ASTM C1074 of the readings themselves, at constant temperature.

        Within 1 %: the first hour before the first reading rests on the model.
        """
        simulation = simulated()
        end = simulation.job.placement.end
        readings = tuple(
            LogReading(end + timedelta(hours=hour), 25.0 + 0.01 * (hour % 2)) for hour in range(73)
        )
        log_correction = simulated(temperature_log=TemperatureLog(file="logger.csv", readings=readings))
        curve = log_correction.concrete.hydration
        energy = float(np.ravel(curve.activation_energy)[CENTRAL])
        expected = equivalent_age(np.arange(73.0), np.full(72, 25.005), energy, curve.reference_c)[-1]
        assert log_correction.slab.age_h[72, CENTRAL, 1] == pytest.approx(float(expected), rel=0.01)

    def test_age_by_hand(self, simulated: Any) -> None:
        """Hourly readings 20, 22, 25, 28, 30, 29, 27, 24, 22, 20 degC, nine hours simulated by their means.

        The rate is summed here at the mean of each hour, in the program at its ends: within 0.3 %.
        """
        celsius = [20.0, 22.0, 25.0, 28.0, 30.0, 29.0, 27.0, 24.0, 22.0, 20.0]
        end = simulated().job.placement.end
        readings = tuple(LogReading(end + timedelta(hours=10 + at), each) for at, each in enumerate(celsius))
        log_correction = simulated(temperature_log=TemperatureLog(file="logger.csv", readings=readings))
        curve = log_correction.concrete.hydration
        energy = float(np.ravel(curve.activation_energy)[CENTRAL])
        means = (np.array(celsius[:-1]) + np.array(celsius[1:])) / 2.0 + 273.15
        rates = np.exp(energy / 8.314462618 * (1.0 / (curve.reference_c + 273.15) - 1.0 / means))
        gained = log_correction.slab.age_h[19, CENTRAL, 1] - log_correction.slab.age_h[10, CENTRAL, 1]
        assert gained == pytest.approx(rates.sum(), rel=0.003)

    def test_an_offset_is_learnt_and_fades_where_it_is_warm(self, simulated: Any) -> None:
        plain = simulated()
        for warmer in (3.0, -3.0):
            log_correction = simulated(temperature_log=log_of(plain, range(72), warmer))
            change = (log_correction.slab.temperature_c - plain.slab.temperature_c)[:, CENTRAL, 1]
            assert change[5:71] == pytest.approx(np.full(66, warmer), abs=1e-9)
            assert abs(change[-1]) < (0.1 if warmer > 0.0 else 3.0)
            if warmer < 0.0:  # what makes dates later is believed to the end
                assert change[-1] < -2.0

    def test_other_depths_keep_their_distance(self, simulated: Any) -> None:
        plain = simulated()
        log_correction = simulated(temperature_log=log_of(plain, range(48), 2.0))
        change = (log_correction.slab.temperature_c - plain.slab.temperature_c)[:, CENTRAL]
        assert change[:, 0] == pytest.approx(change[:, 1])
        assert change[:, 2] == pytest.approx(change[:, 1])

    def test_a_gap_keeps_the_shape_of_the_model(self, simulated: Any) -> None:
        plain = simulated()
        gap = [*range(20), *range(40, 60)]
        log_correction = simulated(temperature_log=log_of(plain, gap, 2.0))
        change = (log_correction.slab.temperature_c - plain.slab.temperature_c)[:, CENTRAL, 1]
        assert change[1:60] == pytest.approx(np.full(59, 2.0), abs=1e-9)

    def test_a_sensor_in_the_air_is_refused(self, planned: Planned, job: Job, weather: Weather) -> None:
        series = weather(14.0, 24.0)
        end = job().placement.end
        hours = [end + timedelta(hours=hour) for hour in range(48)]
        when = np.array([each.astimezone(UTC).replace(tzinfo=None) for each in hours], dtype="datetime64[s]")
        air = series.at("air_c", when)
        readings = tuple(LogReading(*each) for each in zip(hours, map(float, air), strict=True))
        schedule = planned(temperature_log=TemperatureLog(file="logger.csv", readings=readings))
        assert "log-in-the-air" in codes(schedule)
        assert schedule.milestones == planned().milestones

    def test_a_log_far_off_is_printed(self, planned: Planned, simulated: Any) -> None:
        far = planned(temperature_log=log_of(simulated(), range(24), 7.0))
        assert "log-differs" in codes(far)

    def test_readings_from_before_the_placement_count_for_nothing(
        self, planned: Planned, simulated: Any
    ) -> None:
        log = log_of(simulated(), range(24))
        early = LogReading(log.readings[0].time - timedelta(hours=2), 60.0)
        one = planned(temperature_log=log)
        other = planned(temperature_log=log.model_copy(update={"readings": (early, *log.readings)}))
        assert one.milestones == other.milestones

    def test_a_missing_depth_is_assumed(self, planned: Planned, simulated: Any) -> None:
        log = log_of(simulated(), range(24))
        assert "temperature_log.depth" in {each.field for each in planned(temperature_log=log).assumed}


@pytest.mark.parametrize(
    ("depth", "weights"),
    [(0.0, (1, 0, 0)), (0.05, (0, 1, 0)), (0.1, (0, 0, 1)), (0.025, (0.5, 0.5, 0)), (0.08, (0, 0.4, 0.6))],
)
def test_a_depth_is_between_surface_middle_and_bottom(depth: float, weights: tuple[float, ...]) -> None:
    assert depth_weights(depth, 0.1) == pytest.approx(weights)
