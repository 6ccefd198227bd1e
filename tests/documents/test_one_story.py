"""What would hurt if two documents differed on it: all of them agree."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.cli.job import _plan_lines
from handover.documents.care_sheet import CareSheet
from handover.documents.charts import time_line
from handover.documents.crew_sheet import CrewSheet
from handover.documents.data_sheet import DataSheet
from handover.documents.events import crew_events, event_of, owner_events
from handover.documents.message import compose_message
from handover.documents.pages import care_page_html, care_sheet_html, data_sheet_html
from handover.documents.wording import Wording
from handover.documents.words.what_if import what_if
from handover.schedule.cover_times import UNDER_COVER, ways_left
from handover.schedule.model import (
    BetweenCover,
    Caution,
    CureSchedule,
    Figure,
    Joints,
    MilestoneKind,
    Protection,
    Reason,
    Refusal,
    Risk,
    SawWindow,
    SurfaceChoice,
    SurfaceTask,
)
from handover.schedule.tasks import WATERING
from handover.schedule.timer import LOOKING
from handover.service.summary import plan_summary

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord

Kind = MilestoneKind
LANGUAGES = ("en", "es")
BY_THE_ENGINEER = (Kind.SAW_JOINTS, Kind.LIGHT_WORK, Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES)


def with_dates(schedule: CureSchedule, **dates: dict[str, Any]) -> CureSchedule:
    """Return a schedule with parts of its milestones replaced, by kind."""
    printed = {kind.replace("_", "-"): parts for kind, parts in dates.items()}
    changed = (replace(each, **printed.get(each.kind, {})) for each in schedule.milestones)
    return replace(schedule, milestones=tuple(changed))


def letter(wording: Wording) -> str:
    parsed = message_from_bytes(compose_message(wording, {}), policy=policy.default)
    body = parsed.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


# ---- cables


@pytest.fixture
def with_cables(schedule: CureSchedule) -> CureSchedule:
    """A slab whose engineer decides when it is cut and loaded."""
    return replace(
        schedule,
        milestones=tuple(each for each in schedule.milestones if each.kind not in BY_THE_ENGINEER),
        refusals=tuple(Refusal(each, "engineer-decides-tendons") for each in BY_THE_ENGINEER),
        cautions=(*schedule.cautions, Caution("tendons")),
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_the_engineer_decides_is_on_the_first_page(
    job: JobRecord, with_cables: CureSchedule, language: str
) -> None:
    wording = Wording(job, with_cables, language=language)
    care = CareSheet(wording, {})
    engineer = wording.say("stays-off.engineer")
    assert {row.kind or row.title for row in care.main if row.day == engineer} == {
        wording.dates.title(each) for each in BY_THE_ENGINEER if each != Kind.SAW_JOINTS
    }
    html = care_sheet_html(wording)
    first_page = html[: html.index('<section class="onward">')]
    assert wording.say("caution.tendons.text") in first_page
    assert any(
        wording.dates.title(Kind.SAW_JOINTS) in line
        and wording.say("refusal.engineer-decides-tendons") in line
        for line in care.crew
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_letter_says_what_the_engineer_decides(
    job: JobRecord, with_cables: CureSchedule, language: str
) -> None:
    wording = Wording(job, with_cables, language=language)
    printed = letter(wording)
    assert f"- {wording.dates.title(Kind.LIGHT_VEHICLES)}: {wording.say('stays-off.engineer')}." in printed
    assert wording.say("caution.tendons.text") in " ".join(printed.split())


def test_nobody_is_sent_to_saw_a_slab_with_cables(job: JobRecord, with_cables: CureSchedule) -> None:
    wording = Wording(job, with_cables)
    assert Kind.SAW_JOINTS not in {each.kind for each in crew_events(wording)}
    dates = "\n".join(_plan_lines(plan_summary(wording))).split("Watering")[0]
    assert "Saw the joints" not in dates


# ---- sawing part by part


@pytest.fixture
def in_stages(schedule: CureSchedule) -> tuple[CureSchedule, datetime]:
    """The part placed first is too late at 8:30 in the evening, the last part ready five hours after."""
    last = schedule.placement_end.replace(hour=20, minute=30)
    ready, trial, hour = last + timedelta(hours=5), last - timedelta(hours=3), timedelta(hours=1)
    saw = {"likely": trial, "not_before": last - hour, "not_after": last}
    windows = (
        SawWindow("conventional", trial, last - hour, last, "first", 0.9),
        SawWindow("conventional", ready - hour, ready, ready + hour, "last", 0.9),
    )
    joints = Joints(windows, None, 0.0254, 0.0254, 3.66, None)
    return replace(with_dates(schedule, saw_joints=saw), joints=joints), last


def test_sawing_in_stages_is_from_its_trial_cut_to_its_last_hour(
    job: JobRecord, in_stages: tuple[CureSchedule, datetime]
) -> None:
    schedule, last = in_stages
    [event] = [each for each in crew_events(Wording(job, schedule)) if each.kind == Kind.SAW_JOINTS]
    assert event.end == last.astimezone(UTC) + timedelta(hours=6)  # of the part placed last
    assert event.start == saw(schedule).likely
    assert "Not before" not in event.description


@pytest.mark.parametrize("language", LANGUAGES)
def test_sawing_in_stages_is_printed_alike_everywhere(
    job: JobRecord, in_stages: tuple[CureSchedule, datetime], language: str
) -> None:
    """No document names the hour at which the last part is ready: by then the first has cracked."""
    schedule, last = in_stages
    wording = Wording(job, schedule, language=language)
    [event] = [each for each in crew_events(wording) if each.kind == Kind.SAW_JOINTS]
    [row] = [
        each for each in DataSheet(wording).dates if each.title == wording.milestone(saw(schedule)).crew_title
    ]
    [line] = [each for each in CareSheet(wording, {}).crew if wording.dates.title(Kind.SAW_JOINTS) in each]
    by = wording.speak.moment(last)
    for told in (event.description, line):
        assert by.text in told
    assert wording.say("milestone.words.stages-by", when="").strip() in row.when
    assert row.cautious == ""


def saw(schedule: CureSchedule) -> Any:
    return schedule.milestone(Kind.SAW_JOINTS)


def test_the_plan_has_sawing_in_stages_under_its_trial_cut(
    job: JobRecord, in_stages: tuple[CureSchedule, datetime]
) -> None:
    [line] = [
        each for each in _plan_lines(plan_summary(Wording(job, in_stages[0]))) if "Saw the joints" in each
    ]
    assert line.split("  ")[1] == "try Tue Jul 14, 5:30 pm"
    assert "part by part" in line
    assert "too late from Tue Jul 14, 8:30 pm" in line
    assert "not after" not in line


# ---- salt


@pytest.mark.parametrize("language", LANGUAGES)
def test_salt_that_stays_off_for_good_has_no_date_anywhere(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    refused = replace(
        schedule,
        milestones=tuple(each for each in schedule.milestones if each.kind != Kind.DEICING_SALT),
        refusals=(Refusal(Kind.DEICING_SALT, "not-made-for-salt"),),
    )
    wording = Wording(job, refused, language=language)
    title = wording.say("stays-off.deicing-salt")
    [row] = [each for each in CareSheet(wording, {}).stays_off if each.title == title]
    assert row.when == wording.say("stays-off.never")
    assert row.sentence == wording.say("refusal.not-made-for-salt")
    [event] = [each for each in owner_events(wording) if each.kind == "no-salt"]
    assert event.title == wording.say("event.never-salt.title")


# ---- joints without an hour


@pytest.fixture
def undated(schedule: CureSchedule) -> CureSchedule:
    """No hour of sawing could be computed; the slab has likely set at ten past one."""
    likely = schedule.placement_end.replace(hour=13, minute=10)
    issued = schedule.placement_end.replace(hour=12, minute=30)
    gone = {"not_before": None, "not_after": None}
    return replace(with_dates(schedule, saw_joints=gone, final_set={"likely": likely}), issued_at=issued)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_crew_is_sent_to_try_a_cut_where_no_hour_could_be_computed(
    job: JobRecord, undated: CureSchedule, language: str
) -> None:
    """Seen: no line on the sheet and no event, where a trial cut was all that could decide."""
    wording = Wording(job, undated, language=language)
    set_at = undated.placement_end.replace(hour=13, minute=0)
    [event] = [each for each in crew_events(wording) if each.kind == Kind.SAW_JOINTS]
    line = CareSheet(wording, {}).crew[0]
    assert event.start == set_at.astimezone(UTC)
    assert wording.dates.title(Kind.SAW_JOINTS) in line
    for text in (line, event.description):
        assert wording.speak.moment(set_at).text in text
    # An owner reads when the crew comes; why there is no hour is for those who saw.
    assert wording.say("saw-undated.why-spread") in event.description
    assert wording.say("saw-undated.why-spread") not in line
    [row] = [what for when, what in plan_summary(wording).dates if when == wording.say("plan.past")]
    assert wording.say("saw-undated.why-spread") in row


@pytest.mark.parametrize("language", LANGUAGES)
def test_where_it_is_not_known_when_it_sets_the_crew_looks_all_day(
    job: JobRecord, undated: CureSchedule, language: str
) -> None:
    wording = Wording(job, with_dates(undated, final_set={"not_before": None}), language=language)
    [event] = [each for each in crew_events(wording) if each.kind == Kind.SAW_JOINTS]
    assert event.start == undated.placement_end.date()
    assert wording.say("saw-undated.owner") in CareSheet(wording, {}).crew[0]
    assert wording.say("saw-undated.why-set") in event.description
    assert wording.say("saw-undated.how") in event.description


def test_once_the_slab_bears_feet_no_cut_is_tried(job: JobRecord, undated: CureSchedule) -> None:
    walk = undated.milestone(Kind.FOOT_TRAFFIC)
    assert walk is not None
    assert walk.not_before is not None
    late = Wording(job, replace(undated, issued_at=walk.not_before))
    assert Kind.SAW_JOINTS not in {each.kind for each in crew_events(late)}
    assert not any(late.dates.title(Kind.SAW_JOINTS) in line for line in CareSheet(late, {}).crew)


def test_no_cut_is_tried_once_a_slab_bears_feet_under_a_cover_without_an_end(
    job: JobRecord, undated: CureSchedule
) -> None:
    """It has no date to walk on it; its strength still tells that no cut helps any more."""
    walk = undated.milestone(Kind.FOOT_TRAFFIC)
    gates = (walk.because.governing, *walk.because.others)
    cover = replace(gates[0], rule=f"foot-traffic{UNDER_COVER}", likely=None, not_before=None)
    held = {"likely": None, "not_before": None, "printed": None, "because": Reason(cover, gates)}
    covered = with_dates(undated, foot_traffic=held)
    ready = max(each.not_before for each in gates)
    for days, is_cut in ((-1, True), (1, False)):
        wording = Wording(job, replace(covered, issued_at=ready + timedelta(days=days), tasks=()))
        assert (Kind.SAW_JOINTS in {each.kind for each in crew_events(wording)}) == is_cut


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_page_warns_of_saw_dust_until_the_joints_are_cut_and_of_open_heaters(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: one danger on the first page, where the saw comes the same evening and heaters may be lit."""
    noon = schedule.placement_end.replace(hour=12, minute=0)
    hours = {"likely": noon, "not_before": noon, "not_after": noon + timedelta(hours=3)}
    dated = with_dates(schedule, saw_joints=hours)
    for issued, heated in ((noon, True), (noon + timedelta(days=3), False)):
        codes = ("silica", "heaters") if heated else ("silica",)
        cautions = tuple(replace(schedule.cautions[0], code=each) for each in codes)
        wording = Wording(job, replace(dated, issued_at=issued, cautions=cautions), language=language)
        html = care_sheet_html(wording)
        front = html[: html.index('<section class="onward">')]
        assert (wording.say("sheet.front-dust") in front) == (issued == noon)
        assert (wording.say("sheet.front-heater") in front) == heated


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_top_of_the_page_has_the_dangers_and_the_water_of_the_first_page(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: what burns, and how much water in all, only on paper."""
    wording = Wording(job, schedule, language=language)
    facts = CareSheet(wording, {}).front_facts
    html = care_page_html(wording)
    top = html[: html.index('<section id="dates">')]
    assert wording.say("sheet.front-burns") in facts
    assert wording.say("sheet.front-water", amount=wording.visits.amount_to_come) in facts
    assert all(each in top for each in facts)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_owner_sees_from_when_the_crew_comes_to_saw(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: half past four for the owner, where the crew's calendar has the trial cut at three."""
    two = schedule.placement_end.replace(hour=14, minute=10)
    hours = {"likely": two, "not_before": two + timedelta(hours=2), "not_after": two + timedelta(hours=5)}
    early = replace(with_dates(schedule, saw_joints=hours), issued_at=two - timedelta(hours=1))
    wording = Wording(job, early, language=language)
    [task] = wording.schedule.tasks_of("crew", Kind.SAW_JOINTS)
    title = wording.dates.title(Kind.SAW_JOINTS)
    [line] = [each for each in CareSheet(wording, {}).crew if title in each]
    assert task.start == two.replace(minute=0)
    assert wording.speak.span(task.start, task.end) in line


def test_a_window_for_the_saw_is_kept_to_the_minute(job: JobRecord, schedule: CureSchedule) -> None:
    [event] = [each for each in crew_events(Wording(job, schedule)) if each.kind == Kind.SAW_JOINTS]
    printed = Wording(job, schedule).milestone(saw(schedule))
    assert printed.when is not None
    assert printed.trial is not None
    assert printed.not_after is not None
    assert printed.trial.instant <= printed.when.instant < printed.not_after.instant
    assert (event.start, event.end) == (
        printed.trial.instant.astimezone(UTC),
        printed.not_after.instant.astimezone(UTC),
    )


# ---- frost and water


@pytest.fixture
def frozen_out(cold_schedule: CureSchedule) -> CureSchedule:
    """Five days on which it may freeze, and on the sixth the first watering."""
    schedule = cold_schedule
    days = [
        replace(day, visits=(), skipped_because="frost", rain_probability=0.0) if number < 5 else day
        for number, day in enumerate(schedule.watering)
    ]
    visit = days[5].visits[0]
    first = schedule.milestone(Kind.FIRST_WATER)
    assert first is not None
    gate = replace(
        first.because.governing, rule="first-water.no-frost", likely=visit.start, not_before=visit.start
    )
    because = replace(first.because, governing=gate, others=(first.because.governing,))
    printed = {"likely": visit.start, "not_before": visit.start, "because": because}
    frost = schedule.placement_end.replace(hour=23)
    return replace(
        with_dates(schedule, first_water=printed),
        watering=tuple(days),
        risks=(Risk("frost", frost, frost + timedelta(hours=6), frost),),
        cautions=(*schedule.cautions, Caution("cold-weather", COLDEST)),
    )


COLDEST = (Figure("coldest_air", -5.0, "degC"), Figure("forecast_air", -1.0, "degC"))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_job_of_a_frozen_slab_is_to_cover_it(
    job: JobRecord, frozen_out: CureSchedule, language: str
) -> None:
    wording = Wording(job, frozen_out, language=language)
    care = CareSheet(wording, {})
    cover = wording.say("cover.title-crew")  # nobody may walk on it yet
    visit = frozen_out.watering[5].visits[0]
    assert care.ongoing is not None
    assert care.ongoing.title == cover
    assert care.ongoing.eyebrow == wording.say("sheet.first-job")
    assert wording.speak.moment(visit.start).text in care.ongoing.when
    assert care.code is not None
    assert cover in care.code.content.replace("\\,", ",")
    assert cover in letter(wording)
    assert any(each.title.startswith(cover) for each in owner_events(wording))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_water_of_a_frozen_slab_is_its_first_watering(
    job: JobRecord, frozen_out: CureSchedule, language: str
) -> None:
    """Weeks after the pour too: printed for the morning after, it would come later than the watering."""
    wording = Wording(job, frozen_out, language=language)
    first = next(each for each in wording.milestones if each.kind == Kind.FIRST_WATER)
    assert first.when is not None
    assert first.when.instant == frozen_out.watering[5].visits[0].start


@pytest.mark.parametrize("language", LANGUAGES)
def test_days_without_water_are_one_row_and_no_wet_bar(
    job: JobRecord, frozen_out: CureSchedule, language: str
) -> None:
    wording = Wording(job, frozen_out, language=language)
    rows = CareSheet(wording, {}).days
    assert len(rows) == 2  # the days of frost, and those with water, which are alike
    assert wording.speak.short_day(frozen_out.watering[0].date).casefold() in rows[0].day.casefold()
    assert wording.speak.short_day(frozen_out.watering[4].date).casefold() in rows[0].day.casefold()
    drawing = time_line(wording, 1200.0).svg
    assert wording.say("chart.time-line.frost") in drawing


@pytest.mark.parametrize("language", LANGUAGES)
def test_cold_protection_does_not_end_the_cover_in_place_of_water(
    job: JobRecord, frozen_out: CureSchedule, language: str
) -> None:
    """The table still says to cover the slab on days of frost, so no date says to stop that sooner."""
    wording = Wording(job, frozen_out, language=language)
    off = next(each for each in wording.milestones if each.kind == Kind.PROTECTION_ENDS)
    plain = wording.say("milestone.protection-ends.title"), wording.say("milestone.protection-ends.sentence")
    assert off.title not in plain
    assert off.sentence not in plain


def test_what_ends_with_curing_is_cover_and_water(job: JobRecord, frozen_out: CureSchedule) -> None:
    wording = Wording(job, frozen_out)
    assert wording.dates.title(Kind.CURING_ENDS) == "Stop covering and watering"
    assert not [each for each in crew_events(wording) if each.kind == "blankets-off"]
    [cover] = wording.visits.covers  # it comes off with the first watering
    assert cover.span is not None
    assert cover.span.end == frozen_out.watering[5].visits[0].start


def test_once_it_is_covered_the_cover_stays_now(job: JobRecord, frozen_out: CureSchedule) -> None:
    later = replace(frozen_out, issued_at=frozen_out.issued_at + timedelta(days=2), revision=2)
    part = CareSheet(Wording(job, later), {}).ongoing
    assert part is not None
    assert part.title == "Cover the slab, do not water"
    assert part.when.startswith("Now, until ")


def test_after_the_frost_nothing_is_said_of_the_cover(job: JobRecord, frozen_out: CureSchedule) -> None:
    mild = replace(frozen_out, issued_at=frozen_out.watering[5].visits[0].start, revision=2)
    assert Wording(job, mild).cover is None


# ---- blankets


@pytest.fixture
def under_blankets(schedule_with: Callable[..., CureSchedule], cold_schedule: CureSchedule) -> CureSchedule:
    """Blankets to cure in the cold; their protection ends after the strength for frost, before curing."""
    cold = (Caution("cold-weather", COLDEST),)
    schedule = schedule_with(method="insulating blanket", milestones=cold_schedule.milestones, cautions=cold)
    frost = schedule.placement_end.replace(hour=23)
    printed = Protection(
        (), 0.9, 0.9, schedule.placement_end + timedelta(hours=30), largest_drop_k=28.0, drop_k=9.0, edges=3.0
    )
    first = tuple(each for each in schedule.milestones if each.kind != Kind.FIRST_WATER)
    dry = tuple(replace(day, visits=(), skipped_because="cover") for day in schedule.watering)
    risk = Risk("frost", frost, frost + timedelta(hours=6), frost)
    return replace(schedule, milestones=first, watering=dry, protection=printed, risks=(risk,))


@pytest.mark.parametrize("language", LANGUAGES)
def test_blankets_that_cure_come_off_on_one_day_only(
    job: JobRecord, under_blankets: CureSchedule, language: str
) -> None:
    wording = Wording(job, under_blankets, language=language)
    care = CareSheet(wording, {})
    ends = next(each for each in wording.milestones if each.kind == Kind.PROTECTION_ENDS)
    assert ends.when is not None
    assert care.ongoing is not None
    assert ends.when.day in care.ongoing.when
    assert ends.when.text in wording.warnings.blanket
    assert ends.when.text in care.last_words
    [off] = [each for each in crew_events(wording) if each.kind == "blankets-off"]
    assert off.start == ends.when.instant.astimezone(UTC)
    assert ends.when_text in off.description
    assert Kind.FROST_SAFE not in {row.kind for row in care.main}


@pytest.mark.parametrize("language", LANGUAGES)
def test_walking_under_blankets_says_to_leave_them(
    job: JobRecord, under_blankets: CureSchedule, language: str
) -> None:
    wording = Wording(job, under_blankets, language=language)
    stays = wording.say("milestone.words.under-cover")
    said = {each.kind: each.sentence for each in wording.milestones}
    assert said[Kind.FOOT_TRAFFIC].endswith(stays)
    assert stays not in said[Kind.HEAVY_VEHICLES]


# ---- the forecast and its margin


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_margin_below_the_forecast_is_printed_as_one(
    job: JobRecord, schedule_with: Callable[..., CureSchedule], language: str
) -> None:
    """-1 degC is 30 degF to the degree, -5 degC is 23 degF."""
    wording = Wording(job, schedule_with(cautions=(Caution("cold-weather", COLDEST),)), language=language)
    [cautions] = wording.cautions
    assert cautions.text.index("30\N{NO-BREAK SPACE}°F") < cautions.text.index("23\N{NO-BREAK SPACE}°F")


# ---- saw and water


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_order_is_printed_where_saw_and_water_meet(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """The first watering runs from 2 to 3 in the afternoon of the day on which the crew saws."""
    wording = Wording(job, schedule, language=language)
    assert wording.say("sheet.crew-water") in CareSheet(wording, {}).crew[0]


def test_no_order_is_printed_where_saw_and_water_do_not_meet(job: JobRecord, schedule: CureSchedule) -> None:
    noon = schedule.placement_end.replace(hour=12, minute=30)
    early = with_dates(
        schedule, saw_joints={"not_before": noon, "not_after": noon + timedelta(hours=1, minutes=30)}
    )
    wording = Wording(job, early)
    assert not any(wording.say("sheet.crew-water") in line for line in CareSheet(wording, {}).crew)


@pytest.mark.parametrize("language", LANGUAGES)
def test_more_water_is_not_called_harmless_where_it_freezes(
    job: JobRecord, schedule: CureSchedule, frozen_out: CureSchedule, language: str
) -> None:
    mild, cold = (care_sheet_html(Wording(job, each, language=language)) for each in (schedule, frozen_out))
    harmless = Wording(job, schedule, language=language).say("sheet.watering-intro")
    assert harmless in mild
    assert harmless not in cold


# ---- a cover between the waterings


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("cover", ["wet burlap", "plastic sheet"])
def test_the_cover_between_waterings_is_the_same_everywhere(
    job: JobRecord, schedule: CureSchedule, language: str, cover: str
) -> None:
    open_slab = CareSheet(Wording(job, schedule, language=language), {})
    wording = Wording(job, replace(schedule, between=BetweenCover(cover, 13.0, 0.0)), language=language)
    care = CareSheet(wording, {})
    assert open_slab.between == ""
    assert care.between in care.job_now.sentence  # once: the table has it where the first page has not
    assert care.between not in care.if_weather_turns
    second = wording.schedule.watering[1].visits[0].start
    later = CareSheet(Wording(job, replace(wording.schedule, issued_at=second), language=language), {})
    assert later.between in f"{later.job_now.sentence} {later.if_weather_turns}"
    assert "13" in care.between
    assert care.how != open_slab.how
    assert care.text_by_method("call") != open_slab.text_by_method("call")
    too_soon = wording.say("watering.stay-wet")  # an open slab is watered again when it turns pale
    waterings = [each for each in owner_events(wording) if each.kind == "watering"]
    visits = [visit for day in wording.visits.days for visit in day.visits]
    assert waterings
    assert all(too_soon not in each.description for each in waterings)
    assert all(visit.action in each.description for visit, each in zip(visits, waterings, strict=True))
    walk = wording.schedule.milestone(Kind.FOOT_TRAFFIC)
    assert walk is not None
    assert walk.not_before is not None
    handled = {visit.start < walk.not_before: visit.action for visit in visits}
    assert len(set(handled.values())) == len(handled) == 2  # from the edge until then


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("cover", ["wet burlap", "plastic sheet"])
def test_no_paper_sends_a_car_onto_the_cover_between_waterings(
    job: JobRecord, schedule: CureSchedule, language: str, cover: str
) -> None:
    """Allowed a day before the last watering: the cover makes room. After it, nothing is said of one."""
    last = max(visit.start for day in schedule.watering for visit in day.visits)
    covered = replace(schedule, between=BetweenCover(cover, 13.0, 0.0))
    for days, is_under in ((-1.0, True), (1.0, False)):
        when = last + timedelta(days=days)
        parked = with_dates(covered, light_vehicles={"likely": when, "not_before": when, "printed": None})
        wording = Wording(job, parked, language=language)
        makes_room = wording.say(f"between.wheels.{cover.replace(' ', '-')}")
        (event,) = (each for each in owner_events(wording) if each.kind == Kind.LIGHT_VEHICLES)
        assert (makes_room in event.description) == is_under
        assert (makes_room in care_sheet_html(wording)) == is_under


# ---- a soaker hose, and a saw in frost


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_soaker_hose_is_laid_by_those_who_may_step_on_the_slab(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Before the owner may walk on it, the crew lays it; after that, they do."""
    hose = replace(schedule, curing_method="soaker hose")
    first = min(visit.start for day in schedule.watering for visit in day.visits)
    hosed = job.model_copy(update={"curing": job.curing.model_copy(update={"method": "soaker hose"})})
    for hours, by_crew in ((5.0, True), (-5.0, False)):
        when = first + timedelta(hours=hours)
        walked = with_dates(hose, foot_traffic={"likely": when, "not_before": when, "printed": None})
        wording = Wording(hosed, walked, language=language)
        laid = [each for each in crew_events(wording) if each.kind == "lay-hose"]
        assert [each.end <= first for each in laid] == [True] * by_crew
        crew = CareSheet(wording, {}).crew
        assert (wording.say("sheet.crew-hose") in crew) == by_crew


@pytest.mark.parametrize("language", LANGUAGES)
def test_where_the_crew_sets_the_timer_the_owner_opens_and_sets_nothing(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Before the owner may step on the slab, hose and timer are the crew's; no paper says otherwise."""
    first = min(visit.start for day in schedule.watering for visit in day.visits)
    curing = job.curing.model_copy(update={"method": "soaker hose", "timer": True})
    when = first + timedelta(hours=5)
    walked = with_dates(
        replace(schedule, curing_method="soaker hose"),
        foot_traffic={"likely": when, "not_before": when, "printed": None},
    )
    wording = Wording(job.model_copy(update={"curing": curing}), walked, language=language)
    page, say = care_sheet_html(wording), wording.say
    visits = wording.visits
    assert visits.is_timer_by_crew
    assert say("event.first-run.text", program=visits.program) in page
    assert say("sheet.crew-hose-timer") in page
    for key in ("milestone.first-water.sentence", "sheet.crew-hose", "visit.soaker-hose.action"):
        assert say(key) not in page
    walks = when + timedelta(days=1)
    [run] = (each for each in wording.schedule.tasks if each.how == "first-run")
    for start, key in ((run.start, "text"), (walks, "text-walk")):
        look = event_of(wording, replace(run, start=start, end=start + LOOKING, notes=()))
        assert say(f"event.first-run.{key}", program=visits.program) in look.description
    assert say("sheet.watering-intro-timer", program=visits.program) not in page
    (laid,) = (each for each in crew_events(wording) if each.kind == "lay-hose")
    assert visits.program in laid.description
    titles = {each.title.partition(":")[0] for each in owner_events(wording) if each.kind == "watering"}
    assert say("event.set-timer.title") not in titles


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("method", ["sprinkler", "hose by hand", "ponding"])
def test_on_a_steep_slab_steps_table_and_calendar_say_short_runs(
    job: JobRecord, schedule: CureSchedule, language: str, method: str
) -> None:
    """Water runs off before it soaks in, so it is put on in short runs from the high edge."""
    curing = job.curing.model_copy(update={"method": method})
    plain = replace(schedule, curing_method=method)
    steep = replace(plain, cautions=(*plain.cautions, Caution("steep", (Figure("slope", 0.06, "1"),))))
    short = {"en": "short runs", "es": "ratos cortos"}[language]
    for each, is_steep in ((plain, False), (steep, True)):
        wording = Wording(job.model_copy(update={"curing": curing}), each, language=language)
        visits = [event for event in owner_events(wording) if event.kind == "watering"]
        assert all((short in event.description) == is_steep for event in visits)
        assert (short in CareSheet(wording, {}).how) == is_steep


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_wet_saw_where_it_freezes(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    weather = schedule.weather
    for air_c, is_dry in ((-3.0, True), (15.0, False)):
        frozen = replace(weather, air_c=np.full(len(weather.air_c), air_c))
        cold = replace(schedule, weather=frozen, cautions=(Caution("silica"),))
        wording = Wording(job, cold, language=language)
        (saw,) = (each for each in crew_events(wording) if each.kind == Kind.SAW_JOINTS)
        assert (wording.say("if-frost.dry") in saw.description) == is_dry
        # The owner is not told of water alone where the crew may have none on the saw.
        [dust] = wording.warnings.notices
        assert {"en": "vacuum", "es": "aspiradora"}[language] in dust.text


# ---- what if it rains, freezes, or nobody is there: the tasks say it, and the papers what the tasks say

ANSWERS = ("if-rain.skip", "if-frost.cover", "if-nobody.call")


def answered(schedule: CureSchedule, **answers: str | None) -> CureSchedule:
    """Return a schedule whose waterings have other answers."""
    return replace(
        schedule,
        tasks=tuple(
            replace(each, **answers) if each.kind == WATERING else each  # type: ignore[arg-type]
            for each in schedule.tasks
        ),
    )


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("answer", ["if_rain", "if_frost", "if_nobody"])
def test_what_if_is_read_from_the_tasks(
    job: JobRecord, schedule: CureSchedule, language: str, answer: str
) -> None:
    usual = {"if_rain": "skip", "if_frost": "cover", "if_nobody": "call"}
    whole = answered(Wording(job, schedule).schedule, **usual)
    key = f"{answer.replace('_', '-')}.{usual[answer]}"
    for each, is_said in ((whole, True), (answered(whole, **{answer: None}), False)):
        wording = Wording(job, each, language=language)
        said = wording.say(key)
        assert (said in CareSheet(wording, {}).if_weather_turns) == is_said
        waterings = [event for event in owner_events(wording) if event.kind == WATERING]
        assert waterings
        assert all((said in event.description) == is_said for event in waterings)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("exposure", "is_timer", "between", "answer"),
    [
        ("outdoors", False, None, "skip"),
        ("roofed", False, None, None),
        ("outdoors", True, None, "run"),
        ("outdoors", False, "wet burlap", "skip"),
        ("outdoors", False, "plastic sheet", "water"),
        ("roofed", False, "plastic sheet", None),
    ],
)
def test_what_to_do_in_rain_is_said_where_it_falls(
    job: JobRecord,
    schedule: CureSchedule,
    language: str,
    exposure: str,
    is_timer: bool,
    between: str | None,
    answer: str | None,
) -> None:
    """A timer runs whatever falls: more water does no harm. Under plastic no rain reaches the slab."""
    slab = job.slab.model_copy(update={"exposure": exposure})
    curing = job.curing.model_copy(update={"timer": is_timer, "method": "soaker hose"})
    record = job.model_copy(update={"slab": slab, "curing": curing})
    cover = BetweenCover(between, 13.0, 0.0) if between else None
    watered = replace(schedule, curing_method="soaker hose", between=cover)
    wording = Wording(record, watered, language=language)
    care = CareSheet(wording, {})
    turns, calls = care.if_weather_turns, care.text_by_method("call").lower()
    assert any(hail in calls for hail in ("hail ", " granizo ")) == (exposure == "outdoors")
    answers = [each for each in ("skip", "run", "water") if wording.say(f"if-rain.{each}") in turns]
    assert answers == ([answer] if answer else [])
    assert wording.say("if-nobody.call") in turns


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_rain_does_to_a_compound_is_said_where_it_falls(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """UFGS 03301A: a compound that rain hit within 3 h is sprayed again; a dry one takes it."""
    coated = replace(schedule, curing_method="curing compound", watering=())
    for exposure, is_said in (("outdoors", True), ("roofed", False)):
        slab = job.slab.model_copy(update={"exposure": exposure})
        wording = Wording(job.model_copy(update={"slab": slab}), coated, language=language)
        said = wording.say("if-rain.coat", hours=wording.speak.length(timedelta(hours=3)))
        for html in (care_sheet_html(wording), care_page_html(wording)):
            assert (said in html) is is_said


def test_answers_are_given_once_and_in_order(job: JobRecord, schedule: CureSchedule) -> None:
    usual = {"if_rain": "skip", "if_frost": "cover", "if_nobody": "call"}
    wording = Wording(job, answered(Wording(job, schedule).schedule, **usual))
    tasks = wording.schedule.tasks_of("owner", WATERING)
    assert len(tasks) > 1
    assert what_if(wording.say, *tasks) == tuple(wording.say(each) for each in ANSWERS)


def test_the_first_job_begins_with_its_task(job: JobRecord, schedule: CureSchedule) -> None:
    tasks = Wording(job, schedule).schedule.tasks
    first = next(each for each in tasks if each.kind == WATERING)
    moved = replace(first, start=first.start + timedelta(minutes=10))
    later = replace(schedule, tasks=tuple(moved if each is first else each for each in tasks))
    assert CareSheet(Wording(job, schedule), {}).job_now.start == first.start
    assert CareSheet(Wording(job, later), {}).job_now.start == moved.start


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_box_of_the_first_job_has_all_hours_of_its_day(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: the watering of the first evening only in the table on the second page."""
    wording = Wording(job, schedule, language=language)
    first = next(day for day in schedule.watering if day.visits)
    later = replace(
        first.visits[0],
        start=first.visits[0].end + timedelta(hours=2),
        end=first.visits[0].end + timedelta(hours=3),
    )
    days = (replace(first, visits=(first.visits[0], later)), *schedule.watering[1:])
    wording = Wording(job, replace(schedule, watering=days), language=language)
    hours = CareSheet(wording, {}).first_hours
    for each in (first.visits[0], later):
        assert wording.speak.short_span(each.start, each.end) in hours
    for html in (care_sheet_html(wording), care_page_html(wording)):
        assert f"<strong>{hours}</strong>" in html


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_box_of_the_first_job_names_the_next_visit_within_a_day(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: the next morning only on the second page, with no pointer to it."""
    first, second = [day for day in schedule.watering if day.visits][:2]
    wording = Wording(job, replace(schedule, watering=(first, second)), language=language)
    early = second.visits[0]
    hours, table = wording.speak.short_span(early.start, early.end), wording.say("sheet.hours-in-table")
    box = CareSheet(wording, {}).first_hours
    assert hours in box.replace(wording.speak.short_span(first.visits[0].start, first.visits[0].end), "")
    assert wording.speak.weekday(second.date) in box
    assert box.endswith(table)
    days = timedelta(days=2)
    visits = tuple(replace(each, start=each.start + days, end=each.end + days) for each in second.visits)
    far = replace(second, date=second.date + days, visits=visits)
    wording = Wording(job, replace(schedule, watering=(first, far)), language=language)
    box = CareSheet(wording, {}).first_hours
    assert wording.speak.weekday(far.date) not in box
    assert box.endswith(table)
    alone = CareSheet(Wording(job, replace(schedule, watering=(first,)), language=language), {})
    assert table not in alone.first_hours


def test_the_next_hours_are_those_of_the_tasks(job: JobRecord, schedule: CureSchedule) -> None:
    visits = schedule.watering[1].visits
    wording = Wording(job, replace(schedule, issued_at=visits[0].end))
    box = CareSheet(wording, {}).job_now
    assert box.start == visits[1].start
    assert all(wording.speak.short_span(each.start, each.end) in box.when for each in visits[1:])
    assert wording.speak.short_span(visits[0].start, visits[0].end) not in box.when


# ---- the surface before its first water


def with_surface(schedule: CureSchedule, issued_h: float, **parts: Any) -> CureSchedule:
    """Finished at 12:10, too dry from 1 pm, covered from 3 pm, watered from 6 pm; issued so much later."""
    finish = schedule.placement_end.replace(hour=12, minute=10)
    cover, water = finish.replace(hour=15, minute=0), finish.replace(hour=18, minute=0)
    hour = timedelta(hours=1)
    task = SurfaceTask(
        work="damp",
        start=finish,
        not_after=finish.replace(hour=13, minute=0),
        cover_from=cover,
        until=water,
        finish_recorded=True,
        choices=(
            SurfaceChoice("fog-cover", finish, cover + hour, 3.8, 500.0),
            SurfaceChoice("compound", finish, finish + hour, 1.0, 0.0),
        ),
        figures=(Figure("bare_hours", 5.8, "h"),),
        source="a rule",
        mark="common practice",
    )
    return replace(
        schedule, surface=replace(task, **parts), issued_at=finish + timedelta(hours=issued_h), watering=()
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_crews_work_on_the_surface_is_the_same_everywhere(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    wording = Wording(job, with_surface(schedule, -1.0), language=language)
    task = wording.surface.to_come
    assert task is not None
    (event,) = (each for each in crew_events(wording) if each.kind == "surface")
    plan = plan_summary(wording).surface
    damp = with_surface(schedule, -1.0).surface
    assert damp is not None
    assert (event.start, event.end) == (damp.start, damp.choices[0].until)
    assert event.description.split("\n") == list(task.lines) == list(plan[1:])
    assert CareSheet(wording, {}).crew[0] == task.owner
    rows = [each.text for each in CrewSheet(wording).rows("surface")]
    assert all(each.line in rows for each in task.choices)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_calendar_names_no_hour_of_the_surface_before_that_of_its_issue(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Finished at 12:10, written at 12:40: the spraying begins in the half hour of the issue."""
    finish = schedule.placement_end.replace(hour=12, minute=10)
    spray = SurfaceChoice("compound", finish, finish + timedelta(hours=1), 1.0, 0.0)
    later = with_surface(schedule, 0.5, work="compound", choices=(spray,), cover_from=None)
    wording = Wording(job, later, language=language)
    (event,) = (each for each in crew_events(wording) if each.kind == "surface")
    begins = wording.speak.hour(later.issued_at.replace(minute=30))
    assert wording.speak.hour(later.surface.start) not in f"{event.title} {event.description}"
    assert begins in event.title
    assert begins in event.description


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_over_of_the_surface_is_no_longer_said(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    begun = Wording(job, with_surface(schedule, 1.5), language=language)
    now = begun.say("surface.at.now")
    task = begun.surface.to_come
    assert task is not None
    assert len(task.choices) == 1  # an hour and a half after the last pass, it is too late for compound
    assert now in task.choices[0].how
    over = Wording(job, with_surface(schedule, 24.0), language=language)
    assert over.surface.to_come is None
    assert not [each for each in crew_events(over) if each.kind == "surface"]
    assert plan_summary(over).surface == ()
    assert not CrewSheet(over).rows("surface")
    assert DataSheet(over).surface  # the office keeps it


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("issued_h", "starts_h", "hours", "litres"),
    [
        (-1.0, 0.0, 3.8, 500.0),
        (1.0, 50 / 60, 1 + 11 / 6, 200 + 300 * (11 / 6) / (17 / 6)),
        (3.0, 17 / 6, 1, 200),
    ],
    ids=["ahead", "fogging", "to be covered"],
)
def test_fog_lasts_from_the_issue_until_the_cover_lies(
    job: JobRecord,
    schedule: CureSchedule,
    language: str,
    issued_h: float,
    starts_h: float,
    hours: float,
    litres: float,
) -> None:
    """Finished at 12:10, covered from 3 pm in an hour; of 500 L the cover takes 200, the fog the rest."""
    damp = with_surface(schedule, issued_h)
    assert damp.surface is not None
    way = replace(damp.surface.choices[0], cover_litres=200.0)
    damp = replace(damp, surface=replace(damp.surface, choices=(way,)))
    wording = Wording(job, damp, language=language)
    (event,) = (each for each in crew_events(wording) if each.kind == "surface")
    assert event.start == damp.surface.start + timedelta(hours=starts_h)
    assert event.end == max(way.until, event.start + timedelta(hours=1))
    assert wording.say("surface.from.now") not in event.description
    assert f" {wording.say('surface.at.now')}" not in event.description
    (left,) = ways_left(damp)
    assert left.crew_hours == pytest.approx(hours)
    assert left.litres == pytest.approx(litres)


def test_a_sheet_is_held_clear_at_the_issue_and_laid_at_its_hour(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Two hours in one entry of the calendar, and no "now"."""
    damp = with_surface(schedule, 1.0)
    assert damp.surface is not None
    assert damp.surface.cover_from is not None
    way = replace(damp.surface.choices[0], how="sheet-lay")
    task = replace(damp.surface, work="cover", choices=(way,))
    wording = Wording(job, replace(damp, surface=task, curing_method="plastic sheet"))
    (event,) = (each for each in crew_events(wording) if each.kind == "surface")
    held, laid = (wording.speak.hour(task.start.replace(hour=each, minute=0)) for each in (13, 15))
    assert event.start == damp.surface.cover_from
    assert 0 < event.description.index(held) < event.description.index(f"At {laid}, lay it flat")


def test_compound_is_a_task_with_its_hour(job: JobRecord, schedule: CureSchedule) -> None:
    finish = schedule.placement_end.replace(hour=12, minute=10)
    end = finish + timedelta(hours=1)
    coats = {
        "work": "compound",
        "cover_from": None,
        "until": end,
        "choices": (SurfaceChoice("compound", finish, end, 1.0, 0.0),),
    }
    wording = Wording(job, with_surface(schedule, -1.0, **coats))
    hour = wording.speak.hour(finish)
    assert hour in CareSheet(wording, {}).crew[0]
    (event,) = (each for each in crew_events(wording) if each.kind == "surface")
    assert hour in event.title


@pytest.mark.parametrize("language", LANGUAGES)
def test_hours_ahead_are_not_told_as_past(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    noon = schedule.placement_end.replace(hour=12, minute=0)
    risk = Risk("drying-precaution", noon, noon + timedelta(hours=3), noon)
    dry = replace(schedule, risks=(risk,), cautions=(*schedule.cautions, Caution("drying")))
    titles = []
    for hours in (-1.0, 1.0, 4.0):
        wording = Wording(job, replace(dry, issued_at=noon + timedelta(hours=hours)), language=language)
        titles.append(wording.cautions[-1].title)
    assert titles == [wording.say("caution.drying.title-ahead")] * 2 + [wording.say("caution.drying.title")]


def test_the_first_job_says_how_the_crews_cover_comes_off(job: JobRecord, schedule: CureSchedule) -> None:
    """Seen: the calendar had it, and the box of the first job did not."""
    wording = Wording(job, replace(with_surface(schedule, -1.0), watering=schedule.watering))
    off = wording.visits.before_first
    assert off
    care = CareSheet(wording, {})
    assert care.job_now.sentence.startswith(off)
    assert care.job_now.sentence == care.first_text
    first = next(visit for day in schedule.watering for visit in day.visits)
    assert wording.visits.visit(first).action.startswith(off)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_chance_of_rain_is_the_same_on_every_paper(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "80% chance of rain" for the owner, 85% on the data sheet of the same day."""
    days = tuple(replace(each, rain_probability=0.85) for each in schedule.watering)
    wording = Wording(job, replace(schedule, watering=days), language=language)
    printed = wording.percent(0.85)
    assert "85" in printed
    assert f"({printed})" in data_sheet_html(wording)
    assert any(printed in each.note for each in wording.visits.days)
    assert any(printed in each.note for each in CareSheet(wording, {}).days)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_frost_has_the_same_hours_on_every_paper(
    job: JobRecord, frozen_out: CureSchedule, language: str
) -> None:
    """Seen: a frost until 11:30 at night on the care sheet, until 11:10 in the calendar and for the crew."""
    begins = frozen_out.placement_end.replace(hour=23, minute=10)
    figures = (
        Figure("coldest_surface", -3.0, "degC"),
        Figure("coldest_air", -6.0, "degC"),
        Figure("forecast_air", -4.0, "degC"),
    )
    nights = tuple(
        Risk("frost", first, first + timedelta(hours=1, minutes=35), first + timedelta(hours=1), figures)
        for first in (begins, begins + timedelta(hours=3))
    )
    start, end = begins.replace(minute=0), (nights[-1].end + timedelta(minutes=15))
    caution = Caution("frost", figures)
    frozen = replace(frozen_out, risks=nights, cautions=(*frozen_out.cautions, caution), tasks=())
    wording = Wording(job, frozen, language=language)
    (told,) = (each for each in wording.warnings.notices if each.code == "frost")
    danger = wording.say("risk.frost.title")
    (row,) = (each for each in CrewSheet(wording).rows("dangers") if each.what.startswith(danger))
    first, last = wording.speak.moment(start), wording.speak.moment(end)
    for short in (told.text, f"{row.when} {row.detail}"):
        assert first.short in short
        assert last.short in short
    for events in (owner_events(wording), crew_events(wording)):
        (event,) = (each for each in events if each.kind == "frost-cover")
        assert first.text in event.description
        assert last.text in event.description


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("air_c", "limit_f"), [(26.0, 36), (1.0, 32)])
def test_nobody_stops_protecting_a_slab_that_no_cover_is_planned_for(
    job: JobRecord, cold_schedule: CureSchedule, language: str, air_c: float, limit_f: int
) -> None:
    """Seen: "Stop protecting it from cold: May 7" on every paper, with no blanket named, and no frost ahead.

    The owner calls at 2 degC, which is 36 degF; or 1 K below a forecast of 1 degC, at 32 degF.
    """
    kind = Kind.PROTECTION_ENDS
    caution = Caution("cold-weather", (Figure("forecast_air", 1.0, "degC"),))
    cold = replace(cold_schedule.weather, air_c=np.full_like(cold_schedule.weather.air_c, air_c))
    bare = replace(cold_schedule, weather=cold, cautions=(*cold_schedule.cautions, caution), tasks=())
    wording = Wording(job, bare, language=language)
    title = wording.dates.title(kind)
    assert kind not in {each.kind for each in CareSheet(wording, {}).main}
    assert kind not in {each.kind for each in owner_events(wording)}
    for paper in (care_sheet_html(wording), care_page_html(wording), letter(wording)):
        assert title not in paper
    (told,) = (each for each in wording.warnings.notices if each.code == "cold-weather")
    protected = next(each for each in wording.milestones if each.kind == kind)
    ends = protected.when
    assert ends is not None
    assert protected.crew_title in data_sheet_html(wording)
    assert f"{limit_f}\N{NO-BREAK SPACE}°F" in told.text
    assert ends.text in told.text


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_that_is_planned_has_the_date_on_which_it_comes_off(
    job: JobRecord, cold_schedule: CureSchedule, language: str
) -> None:
    kind = Kind.PROTECTION_ENDS
    begins = cold_schedule.placement_end.replace(hour=23)
    frost = Risk("frost", begins, begins + timedelta(hours=6), begins)
    caution = Caution("cold-weather", (Figure("forecast_air", 1.0, "degC"),))
    covered = replace(cold_schedule, risks=(frost,), cautions=(*cold_schedule.cautions, caution), tasks=())
    wording = Wording(job, covered, language=language)
    assert kind in {each.kind for each in CareSheet(wording, {}).main}
    (told,) = (each for each in wording.warnings.notices if each.code == "cold-weather")
    ends = next(each for each in wording.milestones if each.kind == kind).when
    assert ends is not None
    assert ends.text not in told.text
