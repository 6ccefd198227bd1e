"""One freeze is not a winter: repeated frost asks for more strength and for air, salt for weeks besides."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.wording import Wording
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Milestone
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
PSI_3500 = 3500 * 0.00689476  # MPa, by definition of the psi
NOWHERE: dict[str, Any] = {
    "latitude": None,
    "longitude": None,
}  # nothing tells that the cold of the forecast will end
STRONG: dict[str, Any] = {"specified_strength": 31.0, "air": 0.06}


def cautions(schedule: CureSchedule) -> dict[str, dict[str, float | None]]:
    return {each.code: {figure.name: figure.value for figure in each.figures} for each in schedule.cautions}


def gates(milestone: Milestone | None) -> dict[str, datetime | None]:
    assert milestone is not None
    reason = milestone.because
    return {each.rule: each.not_before for each in (reason.governing, *reason.others)}


def test_repeated_frost_asks_for_more_strength_than_the_first(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """ACI frequently asked question 740, after ACI 306R-16: 3500 psi."""
    schedule = plan_cure(job(mix=STRONG), weather(-1.0, 16.0), as_of)
    first, again = (schedule.milestone(kind) for kind in (Kind.FROST_SAFE, Kind.FREEZE_THAW))
    assert first is not None
    assert again is not None
    assert again.because.required_strength_mpa == pytest.approx(PSI_3500, abs=0.01)
    assert first.not_before is not None
    assert again.not_before is not None
    assert again.not_before > first.not_before + timedelta(days=3)


@pytest.mark.parametrize("exposure", ["roofed", "indoors"])
def test_only_a_wet_slab_freezes_again_and_again(
    job: Job, weather: Weather, as_of: datetime, exposure: str
) -> None:
    dry = job(mix={"air": 0.02}, slab={"exposure": exposure})
    schedule = plan_cure(dry, weather(-3.0, 6.0), as_of)
    assert schedule.milestone(Kind.FREEZE_THAW) is None
    assert not {"scaling", "weak-in-frost", "air-unknown"} & set(cautions(schedule))


@pytest.mark.parametrize("lowest", [9.0, 22.0])
def test_there_is_no_such_date_where_it_does_not_freeze(
    job: Job, weather: Weather, as_of: datetime, lowest: float
) -> None:
    schedule = plan_cure(job(), weather(lowest, lowest + 8.0), as_of)
    assert schedule.milestone(Kind.FREEZE_THAW) is None


SUMMER, WINTER = (22.2, 32.2), (-3.0, 6.0)


@pytest.mark.parametrize(
    ("days", "air", "scales"),
    [
        *((SUMMER, air, air < 0.045) for air in (0.0, 0.03, 0.044, 0.045, 0.06)),
        *((WINTER, air, air < 0.045) for air in (0.044, 0.045)),
    ],
)
def test_a_mix_with_too_little_air_is_named_in_any_season(
    job: Job, weather: Weather, as_of: datetime, air: float, scales: bool, days: tuple[float, float]
) -> None:
    """ACI 332R as quoted, severe weathering: 6.0 % of air, 1.5 % either way."""
    found = cautions(plan_cure(job(mix={"air": air}), weather(*days), as_of))
    assert ("scaling" in found) == scales
    if scales:
        assert found["scaling"] == {"air": air, "limit": 0.045}


def test_a_weak_mix_is_named_and_has_no_date(job: Job, lasting: Weather, as_of: datetime) -> None:
    """3000 psi on order: repeated frost asks for 3500. It is the mix, and not the cold."""
    cold = lasting(-1.0, 18.0)
    schedule = plan_cure(job(mix={"air": 0.06}, site=NOWHERE), cold, as_of)
    again = schedule.milestone(Kind.FREEZE_THAW)
    assert again is not None
    assert again.not_before is None
    assert "weak-in-frost" in cautions(schedule)
    others = [each for each in schedule.milestones if each.not_before is None and each is not again]
    assert ("not-reached" in cautions(schedule)) == bool(others)
    strong = plan_cure(job(mix=STRONG, site=NOWHERE), cold, as_of)
    assert "weak-in-frost" not in cautions(strong)
    dated = strong.milestone(Kind.FREEZE_THAW)
    assert dated is not None
    assert dated.not_before is not None


@pytest.mark.parametrize(("air", "is_dated"), [(0.03, False), (0.06, True), (None, True)])
def test_no_date_allows_salt_where_a_caution_keeps_it_off_for_good(
    job: Job, weather: Weather, as_of: datetime, air: float | None, is_dated: bool
) -> None:
    """Seen on one sheet: "keep salt off for good", and salt from August of next year on."""
    schedule = plan_cure(job(mix={"air": air}), weather(), as_of)
    assert (schedule.milestone(Kind.DEICING_SALT) is not None) == is_dated
    assert (
        (Kind.DEICING_SALT, "not-made-for-salt") in {(each.kind, each.because) for each in schedule.refusals}
    ) == (not is_dated)


@pytest.mark.parametrize(
    ("mix", "asked"), [({}, True), ({"admixtures": ("air entrainer",)}, False), ({"air": 0.06}, False)]
)
def test_the_office_asks_for_the_air_where_it_may_freeze(
    job: Job, weather: Weather, as_of: datetime, mix: dict[str, Any], asked: bool
) -> None:
    cold, warm = (plan_cure(job(mix=mix), weather(*days), as_of) for days in ((-3.0, 6.0), (22.2, 32.2)))
    assert ("air-unknown" in cautions(cold)) == asked
    assert "air-unknown" not in cautions(warm)


def test_salt_waits_for_six_mild_weeks_and_a_dry_month(job: Job, weather: Weather, as_of: datetime) -> None:
    """ACI 201, as quoted: 6 weeks above 40 degF. In July nearly all hours are: within a day."""
    schedule = plan_cure(job(), weather(), as_of)
    met = gates(schedule.milestone(Kind.DEICING_SALT))
    mild = met["deicing-salt.mild-weeks"]
    assert mild is not None
    assert timedelta() <= mild - schedule.placement_end - timedelta(weeks=6) <= timedelta(days=1)
    ends = schedule.milestone(Kind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    assert met["deicing-salt.air-dry"] == ends.not_before + timedelta(weeks=4)


def test_salt_after_a_winter_pour_waits_until_weeks_after_the_winter(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The estimate of a frost does not reach the spring: by then the slab is dry, and it gets mild."""
    coast = {"latitude": -63.4, "longitude": -57.0}  # July is winter there, and no month gets warm
    schedule = plan_cure(job(site=coast, mix=STRONG), weather(-6.0, 2.0, **coast), as_of)
    met = gates(schedule.milestone(Kind.DEICING_SALT))
    over = met["deicing-salt.first-winter"]
    mild, dry = (met[f"deicing-salt.{rule}"] for rule in ("mild-weeks", "air-dry"))
    assert over is not None
    assert mild is not None
    assert dry is not None
    hour = timedelta(hours=1)  # the clock is set back on the first of November
    assert abs(mild - over - timedelta(weeks=6)) <= hour
    assert dry - over <= timedelta(weeks=4) + hour


def _in_frost(record: JobRecord, air: WeatherSeries, as_of: datetime) -> CureSchedule:
    schedule = plan_cure(record, air, as_of)
    assert schedule.has_caution("dry-before-frost")
    return schedule


def test_blankets_that_stay_on_bring_the_strength_for_repeated_frost(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Under them it is warmer than open, in weak sun: it gets there, and sooner the better they are.

    The papers of owner and crew say it in one sentence, with one date.
    """
    weeks = []
    winter = weather(-7.0, 3.0, shortwave_wm2=weather().shortwave_wm2 / 6.0, **NOWHERE)
    for resistance in (0.7, 1.4):
        curing = {"method": "insulating blanket", "blanket_r_value": resistance}
        record = job(site=NOWHERE, mix=STRONG, curing=curing)
        schedule = _in_frost(record, winter, as_of)
        protection, open_ = schedule.protection, schedule.milestone(Kind.FREEZE_THAW)
        assert protection is not None
        left_on = protection.left_on
        assert left_on is not None
        assert left_on.strength_mpa == pytest.approx(PSI_3500, abs=0.01)
        assert left_on.likely is not None
        assert left_on.not_before is not None
        assert left_on.likely < left_on.not_before
        assert open_ is not None
        assert open_.not_before is None or left_on.not_before < open_.not_before
        weeks.append(left_on.not_before)
        for language in ("en", "es"):
            words = Wording(record, schedule, language=language)
            owner = words.warnings.left_on("caution.dry-before-frost.left-on")
            assert owner
            assert any(owner in each.text for each in words.cautions)
            assert words.warnings.left_on("event.blankets-off.left-on")
    assert weeks[1] < weeks[0]


def test_no_blankets_stay_on_where_no_frost_follows(job: Job, weather: Weather, as_of: datetime) -> None:
    record = job(mix=STRONG, curing={"method": "insulating blanket"})
    mild = plan_cure(record, weather(2.0, 14.0), as_of)
    assert mild.protection is None or mild.protection.left_on is None


def test_weak_concrete_never_gets_there(job: Job, lasting: Weather, as_of: datetime) -> None:
    """A mix of 2,500 psi has no date for 3,500 psi, and no sentence that promises one."""
    record = job(site=NOWHERE, mix={"specified_strength": 17.2}, curing={"method": "insulating blanket"})
    schedule = _in_frost(record, lasting(-7.0, 3.0), as_of)
    left_on = schedule.protection.left_on if schedule.protection else None
    assert left_on is None or left_on.not_before is None
    assert Wording(record, schedule).warnings.left_on("event.blankets-off.left-on") == ""


MEANS_C = (-2.0, 1.0, 4.0, 8.0, 12.0, 18.0)


@pytest.mark.parametrize("method", ["plastic sheet", "insulating blanket"])
def test_a_colder_slab_is_strong_no_sooner_and_a_cover_says_that_it_holds_wheels_back(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """Seen: cars on June 2 at 2 degC, on June 4 at 6 degC, because frost takes the sheet off.

    Strength for wheels comes no sooner where it is colder. Where its date is the earlier one, the sheet holds
    the warmer one back, and its paper says so; that of the colder one says why its cure stops.
    """
    swept = []
    for mean in MEANS_C:
        record = job(site=NOWHERE, mix=STRONG, curing={"method": method})
        weak_sun = weather().shortwave_wm2 / 4.0
        air = weather(mean - 5.0, mean + 5.0, shortwave_wm2=weak_sun, **NOWHERE)
        schedule = plan_cure(record, air, as_of)
        car = schedule.milestone(Kind.LIGHT_VEHICLES)
        strong = gates(car)["light-vehicles.strength-share"]
        assert car is not None
        swept.append((schedule, car, strong))
        words = Wording(record, schedule).dates
        said = words.say("milestone.words.waits-for-cover") in words.milestone(car).sentence
        others = [each.not_before for each in car.because.others]
        held = car.because.governing.rule == "light-vehicles.cover-off" and None not in others
        if held and car.not_before is not None:
            assert said is (max(others, key=datetime.timestamp) + timedelta(days=1) <= car.not_before)
        else:
            assert not said
    for (cold, car, strong), (_, warmer, sooner) in pairwise(swept):
        assert strong is None or (sooner is not None and sooner <= strong)
        if warmer.not_before is None or (car.not_before and car.not_before < warmer.not_before):
            assert warmer.because.governing.rule == "light-vehicles.cover-off"
            assert cold.has_caution("dry-before-frost")
