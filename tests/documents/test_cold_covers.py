"""A slab in frost: one span of each cover, no watering under it, and what the crew does when it saws."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, time, timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.crew_visits import cover_visits
from handover.documents.data_sheet import DataSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.message import compose_message
from handover.documents.translations import slug
from handover.documents.wording import Wording
from handover.practice.rules import general_rules
from handover.schedule.cover_times import (
    frost_covers,
    is_covered_at,
    keep_forms_under_covers,
    keep_people_off_covers,
    sheet_after_blankets,
)
from handover.schedule.loading import materials_to_load
from handover.schedule.model import (
    FORMS_AFTER_COVER,
    BetweenCover,
    Blanket,
    BlanketsLeftOn,
    Caution,
    Figure,
    Protection,
    Risk,
    SurfaceChoice,
    SurfaceTask,
    Visit,
)
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.printed_times import COVERING, WARMEST, print_dates
from handover.schedule.tasks import (
    BENEATH_COVER,
    BUILD_RIM,
    COVERS,
    cover_tasks,
    covered_since,
    is_laid_by_crew,
    unwatched_covers,
    with_tasks,
)
from handover.service.inputs import questions

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = ("en", "es")
WEEKS = timedelta(days=21)


@pytest.fixture
def frozen(schedule_with: Callable[..., CureSchedule], cold_schedule: CureSchedule) -> CureSchedule:
    """A sprinkler, and frost on every day of curing."""
    schedule = schedule_with(milestones=cold_schedule.milestones)
    dry = tuple(replace(day, visits=(), skipped_because="frost") for day in schedule.watering)
    frost = schedule.placement_end.replace(hour=23)
    nights = tuple(
        Risk("frost", frost + timedelta(days=day), frost + timedelta(days=day, hours=6), frost)
        for day in range(3)
    )
    milestones = tuple(each for each in schedule.milestones if each.kind != Kind.FIRST_WATER)
    needed = Protection((), 0.35, 0.0, None, largest_drop_k=28.0, drop_k=None, edges=3.0)
    return replace(schedule, watering=dry, risks=nights, milestones=milestones, protection=needed)


def test_frost_every_night_is_one_cover(job: JobRecord, frozen: CureSchedule) -> None:
    """Laid by the crew after the trowel; it stays on until cold protection ends, in both calendars."""
    [cover] = frost_covers(frozen)
    ends = frozen.milestone(Kind.PROTECTION_ENDS)
    assert ends is not None
    assert cover.end == ends.not_before
    assert cover.frosts == frozen.risks
    assert cover.by_crew
    assert frozen.finished is not None
    assert frozen.finished <= cover.start <= frozen.risks[0].start
    wording = Wording(job, frozen)
    [laid] = wording.visits.covers
    until = wording.visits.cover_end(laid)
    for events in (owner_events(wording), crew_events(wording)):
        [event] = [each for each in events if each.kind == "frost-cover"]
        assert event.start == cover.start
        assert until in event.description
    assert wording.cover is not None
    assert wording.cover.start == cover.start
    assert until in wording.cover.when


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_sheet_goes_on_without_the_blankets_until_curing_ends(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Blankets are for the cold, a sheet for the water of the slab: each comes off at its own date.

    Both calendars have the hour at which blankets come off.
    """
    protected, cured = (frozen.milestone(each) for each in (Kind.PROTECTION_ENDS, Kind.CURING_ENDS))
    assert protected is not None
    assert cured is not None
    assert protected.not_before is not None
    assert cured.not_before is not None
    assert protected.not_before < cured.not_before
    assert not is_covered_at(frozen, cured.not_before)
    assert is_covered_at(frozen, protected.not_before)
    wording = Wording(job, frozen, language=language)
    assert sheet_after_blankets(wording.schedule)
    [lifted] = [each for each in crew_events(wording) if each.kind == "blankets-off"]
    [listed] = [each for each in owner_events(wording) if each.kind == Kind.PROTECTION_ENDS]
    assert lifted.start == listed.start
    assert wording.say("event.blankets-off.sheet") in lifted.description
    ends = wording.dates.not_before(cured.not_before, cured.kind).text
    assert wording.visits.covered_until == ends


def frozen_night_later(frozen: CureSchedule) -> CureSchedule:
    """Issued in the first night of frost, hours after its cover should have gone on."""
    cold = (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -6.0, "degC"))
    nights = tuple(replace(each, figures=cold) for each in frozen.risks)
    return replace(frozen, risks=nights, issued_at=nights[0].start + timedelta(minutes=40), tasks=())


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_that_nobody_was_told_of_is_laid_now(
    language: str, job: JobRecord, frozen: CureSchedule
) -> None:
    """A frost that an earlier forecast did not have: the crew brings blankets, and every paper says so."""
    late = frozen_night_later(frozen)
    wording = Wording(job, late, language=language)
    [laid] = wording.schedule.tasks_of("crew", "frost-cover")
    assert late.issued_at - timedelta(minutes=30) < laid.start <= late.issued_at < laid.end
    [event] = [each for each in crew_events(wording) if each.kind == "frost-cover"]
    assert event.start == laid.start
    assert any(each.kind == "frost-cover" for each in CrewSheet(wording).rows("visits"))
    assert "blankets" in {each.code for each in materials_to_load(late, job)}
    [visit] = cover_visits(wording)
    assert wording.say("sheet.crew-now") in visit[1]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_that_an_issue_before_told_of_lies(
    language: str, job: JobRecord, frozen: CureSchedule
) -> None:
    """It keeps its hour, the crew does not come for it again, and no paper says that it is yet to be laid."""
    earlier, late = with_tasks(replace(frozen, tasks=()), job), frozen_night_later(frozen)
    since = covered_since(earlier, late.issued_at)
    assert since == frost_covers(earlier)[0].start
    wording = Wording(job, replace(late, covered_since=since), language=language)
    [laid] = wording.schedule.tasks_of("crew", "frost-cover")
    assert laid.start == since
    assert not any(each.kind == "frost-cover" for each in CrewSheet(wording).rows("visits"))
    [visit] = cover_visits(wording)
    until = wording.visits.cover_end(laid)
    assert visit[1] == wording.say("sheet.crew-cover-lie", until=until)


def test_a_cover_is_told_once_its_laying_is_over(job: JobRecord, frozen: CureSchedule) -> None:
    """Before that, and once it is off, none lies."""
    earlier = with_tasks(replace(frozen, tasks=()), job)
    [cover] = cover_tasks(earlier)
    assert cover.span is not None
    assert cover.span.end is not None
    assert covered_since(earlier, cover.end) == cover.start
    for when in (cover.end - timedelta(minutes=1), cover.span.end):
        assert covered_since(earlier, when) is None


def test_covers_are_read_from_the_tasks(job: JobRecord, frozen: CureSchedule) -> None:
    """A cover that stays a day longer does so in the box, in the calendars and in the crew's visits."""
    whole = Wording(job, frozen).schedule
    tasks = [
        replace(each, span=replace(each.span, end=each.span.end + timedelta(days=1)))
        if each.span is not None and each.span.end is not None
        else each
        for each in whole.tasks
    ]
    until = []
    for each in (whole, replace(whole, tasks=tuple(tasks))):
        wording = Wording(job, each)
        assert wording.cover is not None
        [laid] = wording.visits.covers
        until.append(wording.visits.cover_end(laid))
        [event] = [one for one in owner_events(wording) if one.kind == "frost-cover"]
        for text in (wording.cover.when, event.description, *(line for _, line in cover_visits(wording))):
            assert until[-1] in text
    assert len({*until}) == 2


def test_tasks_of_an_earlier_version_get_the_span_of_covers(job: JobRecord, frozen: CureSchedule) -> None:
    whole = Wording(job, frozen).schedule
    older = replace(whole, tasks=tuple(replace(each, span=None) for each in whole.tasks))
    assert older.tasks != whole.tasks
    assert Wording(job, older).schedule.tasks == whole.tasks


def test_the_order_of_days_and_risks_changes_no_cover(frozen: CureSchedule) -> None:
    backwards = replace(frozen, watering=frozen.watering[::-1], risks=frozen.risks[::-1])
    assert frost_covers(backwards) == frost_covers(frozen)


def test_a_cover_for_some_nights_comes_off_with_the_next_watering(schedule: CureSchedule) -> None:
    days = list(schedule.watering)
    days[3] = replace(days[3], visits=(), skipped_because="frost")
    some = replace(schedule, watering=tuple(days), risks=())
    [cover] = frost_covers(some)
    later = [visit.start for day in days[4:] for visit in day.visits]
    assert cover.end == min(later)
    assert cover.start.date() <= days[3].date


@pytest.mark.parametrize("cover", ["wet burlap", "plastic sheet"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_what_lies_between_waterings_has_its_place_under_a_cover_against_frost(
    language: str, cover: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """The box and the calendar tell it; a slab that never had any water has nothing to keep wet."""
    days = list(schedule.watering)
    days[3] = replace(days[3], visits=(), skipped_because="frost")
    some = replace(schedule, watering=tuple(days), risks=(), between=BetweenCover(cover, 13.0, 0.0), tasks=())
    wording = Wording(job, replace(some, issued_at=frost_covers(some)[0].start), language=language)
    under = wording.say(f"cover.under.{slug(cover)}")
    assert wording.cover is not None
    assert under in wording.cover.sentence
    [event] = [each for each in owner_events(wording) if each.kind == "cover-not-water"]
    assert under in event.description
    assert wording.visits.between


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_slab_without_any_water_left_has_no_cover_between_waterings(
    language: str, job: JobRecord, frozen: CureSchedule
) -> None:
    covered = replace(frozen, between=BetweenCover("wet burlap", 13.0, 0.0), risks=())
    wording = Wording(job, covered, language=language)
    assert not wording.visits.between
    assert not any(wording.visits.under(each) for each in cover_tasks(wording.schedule))
    assert wording.say("crew.between") not in {row.when for row in CrewSheet(wording).rows("surface")}


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_taught_to_water_a_slab_under_covers(
    job: JobRecord, frozen: CureSchedule, schedule: CureSchedule, language: str
) -> None:
    frosty, mild = (CareSheet(Wording(job, each, language=language), {}) for each in (frozen, schedule))
    assert frosty.how != mild.how
    assert frosty.text_by_method("call") != mild.text_by_method("call")
    if language == "en":
        assert "dark and shiny" in mild.how
        assert "dark and shiny" not in frosty.how


@pytest.mark.parametrize("language", LANGUAGES)
def test_blankets_are_lifted_along_the_line_of_the_saw(
    job: JobRecord, schedule_with: Any, schedule: CureSchedule, language: str
) -> None:
    blanketed = schedule_with(method="insulating blanket")
    for each, lifts in ((blanketed, True), (replace(schedule, risks=()), False)):
        wording = Wording(job, each, language=language)
        [saw] = [event for event in crew_events(wording) if event.kind == Kind.SAW_JOINTS]
        assert (wording.say("milestone.words.saw-under-cover") in saw.description) == lifts


@pytest.mark.parametrize("language", LANGUAGES)
def test_once_covers_replace_all_water_that_is_left_no_watering_is_taught(
    job: JobRecord, schedule: CureSchedule, cold_schedule: CureSchedule, language: str
) -> None:
    """A slab was watered for some days; then frost until curing ends. That is not over, and no water."""
    first, *others = schedule.watering
    watered = replace(first, visits=first.visits[:1])
    dry = tuple(replace(day, visits=(), skipped_because="frost") for day in others)
    issued = watered.visits[-1].end + timedelta(hours=3)
    later = replace(
        schedule, watering=(watered, *dry), milestones=cold_schedule.milestones, issued_at=issued, risks=()
    )
    wording = Wording(job, later, language=language)
    care = CareSheet(wording, {})
    assert wording.visits.covered_until
    assert wording.visits.covered_until in care.without_days
    assert wording.say("sheet.watering-over") not in care.without_days
    assert care.how == CareSheet(Wording(job, replace(later, watering=dry), language=language), {}).how
    assert not care.wet


def test_a_frost_tonight_is_the_first_job_and_a_visit_of_the_crew(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: a one-night cover that ended before the next watering was in the calendars alone."""
    watered = min(visit.start for day in schedule.watering for visit in day.visits)
    issued = watered.replace(hour=15) - timedelta(days=1)
    frost = watered - timedelta(hours=5)
    tonight = Risk("frost", frost, frost + timedelta(hours=2), frost)
    early = tuple(each for each in schedule.milestones if each.kind != Kind.FOOT_TRAFFIC)
    young = replace(schedule, risks=(tonight,), issued_at=issued, finished=issued, milestones=early)
    wording = Wording(job, young)
    [cover] = frost_covers(young)
    assert cover.end == watered
    assert cover.by_crew
    assert wording.cover is not None
    care = CareSheet(wording, {})
    assert care.ongoing is not None
    assert care.ongoing.title == wording.say("cover.title-crew")
    assert care.ongoing.sentence.count(wording.say("if-nobody.call")) == 1
    [laid] = wording.visits.covers
    assert any(wording.visits.cover_end(laid) in each for each in care.crew)
    assert wording.say("watering.cover-off") in next(
        each.description for each in owner_events(wording) if each.start == watered
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_of_the_crew_in_place_of_water_is_in_both_calendars(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """The slab does not freeze, its water would: the owner reads who covers it, until when, whom to call."""
    mild = replace(frozen, risks=(), tasks=())
    wording = Wording(job, mild, language=language)
    [cover] = cover_tasks(wording.schedule)
    assert is_laid_by_crew(cover)
    owners, crews = (
        [each for each in events if each.kind == "cover-not-water"]
        for events in (owner_events(wording), crew_events(wording))
    )
    assert [(each.start, each.occasion) for each in owners] == [(each.start, each.occasion) for each in crews]
    (event,) = owners
    assert event.start == cover.start
    assert event.title.startswith(wording.say("cover.title-crew"))
    assert wording.say("cover.text-crew") in event.description
    assert wording.visits.cover_end(cover) in event.description
    care = CareSheet(wording, {})
    assert care.ongoing is not None
    assert event.title.startswith(care.ongoing.title)
    assert any(wording.visits.cover_end(cover) in each for each in care.crew)


def test_a_cover_in_place_of_water_at_night_is_called_night_work(
    job: JobRecord, frozen: CureSchedule
) -> None:
    planned = Wording(job, replace(frozen, risks=(), tasks=())).schedule
    tasks = tuple(
        replace(each, start=each.start.replace(hour=23), notes=("night",))
        if each.kind == "cover-not-water" and each.by == "crew"
        else each
        for each in planned.tasks
    )
    [event] = [
        each
        for each in crew_events(Wording(job, replace(planned, tasks=tasks)))
        if each.kind == "cover-not-water"
    ]
    assert event.description.startswith("Night work")


def test_one_party_lays_a_cover(job: JobRecord, schedule: CureSchedule) -> None:
    """Before people may walk on the slab it is the crew, then the owner."""
    walk = schedule.milestone(Kind.FOOT_TRAFFIC)
    assert walk is not None
    assert walk.not_before is not None
    nights = [walk.not_before.replace(hour=4) + timedelta(days=days) for days in (0, 3)]
    risks = tuple(Risk("frost", each, each + timedelta(hours=2), each) for each in nights)
    frosty = replace(schedule, risks=risks)
    assert [each.by_crew for each in frost_covers(frosty)] == [True, False]
    laid = [each for each in crew_events(Wording(job, frosty)) if each.kind == "frost-cover"]
    assert len(laid) == 1


def test_a_cover_of_the_crew_is_not_asked_of_the_owner_at_its_date(
    job: JobRecord, frozen: CureSchedule
) -> None:
    """Seen: "we do until you walk", above a crew that covers it for days after."""
    kinds = (Kind.FROST_SAFE, Kind.PROTECTION_ENDS)
    long = replace(frozen, curing_method="curing compound")
    [cover] = frost_covers(long)
    assert cover.by_crew
    by_owner = replace(long, risks=tuple(late_night(each) for each in frozen.risks[:1]))
    for schedule, is_crews in ((long, True), (by_owner, False)):
        wording = Wording(job, replace(schedule, tasks=()))
        assert all(is_laid_by_crew(each) is is_crews for each in cover_tasks(wording.schedule))
        shown = [each.sentence for each in wording.dates.milestones if each.kind in kinds]
        assert shown
        assert all((each == wording.say("milestone.words.crew-covers")) is is_crews for each in shown)


def late_night(frost: Risk) -> Risk:
    """The same frost three nights later, when people walk on the slab."""
    days = timedelta(days=3)
    return replace(frost, start=frost.start + days, end=frost.end + days, peak_at=frost.peak_at + days)


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_party_brings_the_blankets(job: JobRecord, frozen: CureSchedule, language: str) -> None:
    """Two answers to one question would leave the slab bare."""
    figures = (Figure("forecast_air", -3.0, "degC"), Figure("coldest_air", -6.0, "degC"))
    risky = replace(frozen, cautions=(Caution("frost", figures),))
    later = tuple(replace(each, start=each.start + WEEKS, end=each.end + WEEKS) for each in frozen.risks)
    of_owner = replace(risky, risks=later, watering=())
    covers = [{each.by_crew for each in frost_covers(each)} for each in (risky, of_owner)]
    assert covers == [{True}, {False}]
    (of_crew,), (asked,) = (Wording(job, each, language=language).cautions for each in (risky, of_owner))
    brought = {"en": "We bring the blankets", "es": "Nosotros traemos las mantas"}[language]
    assert brought in asked.text
    assert brought not in of_crew.text


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_crew_brings_the_blankets_that_the_owner_lays(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Only the water would freeze: the thinnest usual blanket, R-2, loaded, and named to the owner."""
    days = list(schedule.watering)
    days[3] = replace(days[3], visits=(), skipped_because="frost")
    some = replace(schedule, watering=tuple(days), risks=(), protection=None, tasks=())
    [cover] = frost_covers(some)
    assert not cover.by_crew
    wording = Wording(job, replace(some, issued_at=cover.start - timedelta(hours=6)), language=language)
    [brings] = wording.schedule.tasks_of("crew", "bring-blankets")
    assert brings.end <= cover.start
    [left] = (each for each in materials_to_load(wording.schedule, job) if each.code == "blankets-owner")
    assert left.resistance == pytest.approx(2.0 * 0.1761, abs=0.01)  # R-2 in m2K/W: units by definition
    blanket = wording.visits.blanket_for_owner
    said = wording.say("cover.brought", blanket=blanket)
    [event] = [each for each in owner_events(wording) if each.kind == "cover-not-water"]
    assert said in event.description
    [visit] = [each for each in crew_events(wording) if each.kind == "bring-blankets"]
    assert blanket in visit.description
    when = wording.speak.moment(brings.start).text
    assert wording.say("sheet.crew-bring-blankets", when=when) in CareSheet(wording, {}).crew


def test_blankets_that_the_crew_lays_are_not_brought_to_the_owner(
    job: JobRecord, frozen: CureSchedule
) -> None:
    wording = Wording(job, frozen)
    assert wording.schedule.tasks_of("crew", "frost-cover")
    assert not wording.schedule.tasks_of("crew", "bring-blankets")
    assert all(wording.visits.blanket_source(each) == "" for each in wording.visits.covers)


def test_nobody_comes_at_night_to_cover_a_slab_before_a_frost(job: JobRecord, frozen: CureSchedule) -> None:
    """It sets at 1 at night, when it may freeze: it is covered by 9 in the evening, clear of the top."""
    night = frozen.placement_end.replace(hour=1, minute=0) + timedelta(days=1)
    milestones = tuple(
        replace(each, likely=night) if each.kind == Kind.FINAL_SET else each for each in frozen.milestones
    )
    frost = Risk("frost", night, night + timedelta(hours=5), night)
    young = replace(frozen, milestones=milestones, risks=(frost,), tasks=())
    wording = Wording(job, young)
    [laid] = wording.schedule.tasks_of("crew", "frost-cover")
    assert laid.end == night.replace(hour=21) - timedelta(days=1)
    assert "night" not in laid.notes
    [event] = [each for each in crew_events(wording) if each.kind == "frost-cover"]
    assert wording.say("cover.hold-clear-plastic") in event.description
    loaded = {each.code.removeprefix("white-") for each in materials_to_load(wording.schedule, job)}
    assert "plastic" in loaded
    assert "boards" not in loaded


def test_no_end_of_cold_protection_is_printed_while_a_later_cover_follows(
    job: JobRecord, frozen: CureSchedule
) -> None:
    safe = tuple(
        replace(each, not_before=each.not_before and frozen.placement_end)
        if each.kind == Kind.PROTECTION_ENDS
        else each
        for each in frozen.milestones
    )
    covered = replace(frozen, milestones=safe)
    assert not sheet_after_blankets(covered)
    assert Kind.PROTECTION_ENDS not in Wording(job, covered).dates.owner_kinds


def test_a_slab_under_its_own_blankets_is_not_covered_again(frozen: CureSchedule) -> None:
    assert frost_covers(replace(frozen, curing_method="insulating blanket")) == ()


def test_edge_forms_stay_while_a_cover_lies_over_them(frozen: CureSchedule) -> None:
    """Who strips an edge in a frost bares the coldest part of the slab."""
    ends = frozen.milestone(Kind.PROTECTION_ENDS)
    forms = keep_forms_under_covers(print_all(frozen)).milestone(Kind.STRIP_EDGE_FORMS)
    assert ends is not None
    assert ends.not_before is not None
    assert forms is not None
    assert forms.printed is not None
    assert forms.printed.instant >= ends.not_before + COVERING
    assert (forms.printed.instant - COVERING).time() == WARMEST
    assert forms.because.governing.rule == FORMS_AFTER_COVER


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_use_under_a_cover_without_an_end_has_no_date_in_any_paper(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Each says to ask; care sheet and crew sheet say that nobody steps on the cover, the data sheet why."""
    endless = print_all(ending(frozen, None, Kind.PROTECTION_ENDS, Kind.CURING_ENDS))
    cold = (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -6.0, "degC"))
    coldest = tuple(replace(each, figures=cold) for each in endless.risks)
    held = keep_people_off_covers(replace(endless, risks=coldest))
    wording = Wording(job, held, language=language)
    say, dates = wording.say, wording.dates
    for kind in (Kind.FOOT_TRAFFIC, Kind.LIGHT_WORK):
        [row] = (each for each in CareSheet(wording, {}).main if each.kind == kind)
        assert row.when == say("milestone.words.unknown")
        assert row.sentence == say("milestone.words.unknown-covered")
    walk = dates.title(Kind.FOOT_TRAFFIC)
    [of_crew] = (each for each in CrewSheet(wording).rows("owner") if each.what == f"{walk}.")
    assert of_crew.detail == say("milestone.words.under-cover")
    letter = message_from_bytes(compose_message(wording, {}), policy=policy.default)
    text = letter.get_body(("plain",)).get_content()
    assert f"{walk}: {say('milestone.words.unknown')}." in text
    assert say("message.keep-off-unknown") in text
    assert not [each for each in owner_events(wording) if each.kind == Kind.FOOT_TRAFFIC]
    governing = [each.governing.rule for each in DataSheet(wording).dates]
    assert say("rule.foot-traffic.under-cover") in governing


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_after_cold_protection_is_folded_back(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """It only keeps water in: who steps there reads so, and no paper forbids it."""
    wording = Wording(job, ending(frozen, frozen.placement_end, Kind.PROTECTION_ENDS), language=language)
    assert [each for each in wording.visits.covers if each.span is not None]
    walk = wording.schedule.milestone(Kind.FOOT_TRAFFIC)
    assert walk is not None
    words = wording.dates.milestone(walk)
    assert words.sentence.endswith(wording.say("milestone.words.fold-cover"))
    assert wording.dates.no_step(Kind.FOOT_TRAFFIC) == ""


def ending(schedule: CureSchedule, when: datetime | None, *kinds: Kind) -> CureSchedule:
    """Return a schedule with another end of cold protection or curing; None: past the estimate."""
    milestones = tuple(
        replace(each, not_before=when, printed=None) if each.kind in kinds else each
        for each in schedule.milestones
    )
    return replace(schedule, milestones=milestones, tasks=())


def print_all(schedule: CureSchedule) -> CureSchedule:
    return replace(schedule, milestones=print_dates(schedule.milestones, schedule.placement_end))


def with_sides(job: JobRecord, **parts: Any) -> JobRecord:
    """Return a record with other sides of the slab, or other parts of it."""
    return job.model_copy(update={"slab": job.slab.model_copy(update=parts)})


@pytest.mark.parametrize(
    ("sides", "metres"),
    [
        ({"length": 12.0, "width": 3.5}, 3.5),
        ({"length": 3.5, "width": 12.0}, 3.5),
        ({"length": None, "width": None, "area": 16.0}, 4.0),
    ],
)
def test_the_width_of_a_slab_without_sides_is_that_of_a_square(
    job: JobRecord, sides: dict[str, float], metres: float
) -> None:
    assert with_sides(job, **sides).slab.short_side == pytest.approx(metres)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("parts", "way", "loaded"),
    [
        ({"width": 3.9}, "boards", {"boards"}),
        ({"width": 4.1}, "plastic", {"plastic", "vented-heat"}),
        ({"width": 4.1, "coloured": True}, "tent", {"vented-heat"}),
        ({"length": None, "width": None, "area": 15.9}, "boards", {"boards"}),
        ({"length": None, "width": None, "area": 16.1}, "plastic", {"plastic", "vented-heat"}),
    ],
)
def test_no_boards_are_laid_across_a_slab_that_they_do_not_reach_over(
    job: JobRecord, frozen: CureSchedule, language: str, parts: dict[str, Any], way: str, loaded: set[str]
) -> None:
    """Seen: covers held clear "on boards across the forms" of slabs of 22 to 40 ft. Boards reach some 4 m."""
    final = frozen.milestone(Kind.FINAL_SET)
    assert final is not None
    later = replace(final, likely=frozen.risks[0].start + timedelta(hours=1))
    moved = tuple(later if each is final else each for each in frozen.milestones)
    slab = with_sides(job, **parts)
    words = Wording(slab, with_tasks(replace(frozen, milestones=moved, tasks=()), slab), language=language)
    (laid,) = (each for each in crew_events(words) if each.kind == "frost-cover")
    assert words.say(f"cover.hold-clear-{way}") in laid.description
    found = {each.code.removeprefix("white-") for each in materials_to_load(words.schedule, slab)}
    assert found & {"boards", "plastic", "vented-heat"} == loaded


@pytest.mark.parametrize("language", LANGUAGES)
def test_over_a_sheet_that_the_crew_draws_only_the_blankets_wait(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """The crew sheet says once how the plastic goes on: the words of its cover keep their room for gases."""
    final = frozen.milestone(Kind.FINAL_SET)
    assert final is not None
    later = replace(final, likely=frozen.risks[0].start + timedelta(hours=1))
    moved = tuple(later if each is final else each for each in frozen.milestones)
    start = frozen.finishing_ends
    drawn = start + timedelta(hours=1)
    sheet = SurfaceTask(
        work="cover",
        start=start,
        not_after=None,
        cover_from=None,
        until=drawn + timedelta(hours=8),
        finish_recorded=True,
        choices=(SurfaceChoice("sheet-blankets", start, drawn, 1.0, 0.0),),
        figures=(),
        source="a rule",
        mark="common practice",
    )
    schedule = with_tasks(replace(frozen, milestones=moved, surface=sheet, tasks=()), job)
    words = Wording(job, schedule, language=language)
    (laid,) = (each for each in crew_events(words) if each.kind == "frost-cover")
    assert words.say("cover.hold-clear-sheet") in laid.description
    assert words.say("cover.hold-clear-plastic") not in laid.description
    assert words.surface.task is not None
    (way,) = words.surface.task.choices
    assert words.say("surface.clear-wide") in way.how


@pytest.mark.parametrize("language", LANGUAGES)
def test_blankets_on_a_soft_top_lie_on_boards(
    job: JobRecord, schedule_with: Any, cold_schedule: CureSchedule, language: str
) -> None:
    """A key marks concrete before final set: so does a blanket, which frost may call for before it."""
    job = with_sides(job, width=3.6)
    schedule = schedule_with(method="insulating blanket", milestones=cold_schedule.milestones)
    final = schedule.milestone(Kind.FINAL_SET)
    assert final is not None
    assert final.likely is not None
    texts, boards = [], []
    for at in (final.likely - timedelta(hours=1), final.likely):
        laid = replace(schedule, blankets_on=at)
        wording = Wording(job, laid, language=language)
        [event] = [each for each in crew_events(wording) if each.kind == "blankets-on"]
        texts.append(event.description)
        boards.append("boards" in {each.code for each in materials_to_load(laid, job)})
    board = {"en": "on boards", "es": "sobre tablas"}[language]
    assert [board in each for each in texts] == [True, False]
    assert boards == [True, False]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_crew_is_told_when_the_blankets_that_cure_go_on_and_of_a_bare_frost(
    job: JobRecord, schedule_with: Any, cold_schedule: CureSchedule, language: str
) -> None:
    plain = schedule_with(method="insulating blanket", milestones=cold_schedule.milestones)
    laid = plain.placement_end + timedelta(hours=6)
    needed = Protection(
        (), 0.35, 0.7, None, largest_drop_k=28.0, drop_k=None, edges=3.0, bare_freezes_from=laid
    )
    wording = Wording(job, replace(plain, blankets_on=laid, protection=needed), language=language)
    [event] = [each for each in crew_events(wording) if each.kind == "blankets-on"]
    assert event.start == laid
    care = CareSheet(wording, {})
    assert care.warning is not None
    frozen = wording.speak.moment(laid).text
    assert frozen in care.warning.text
    assert frozen in event.description
    assert any(frozen in each for each in care.crew)


def test_three_layers_are_what_the_rule_asks_for_at_edges() -> None:
    assert general_rules()["frost.edges"] == 3.0


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_cover_of_a_coated_slab_does_not_speak_of_water(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Nobody waters it; snow comes off with what does not scratch the coat that is to be left alone."""
    days = tuple(replace(day, skipped_because="compound") for day in frozen.watering)
    coated = replace(frozen, curing_method="curing compound", watering=days)
    words = Wording(job, coated, language=language)
    cover = words.cover
    assert cover is not None
    water = {"en": "water", "es": "rieg"}[language]
    assert water not in f"{cover.title} {cover.sentence}".lower()
    wet = Wording(job, frozen, language=language).cover
    assert wet is not None
    assert water in f"{wet.title} {wet.sentence}".lower()
    broom = {"en": "broom", "es": "escoba"}[language]
    assert broom in words.say(words.dates.variant("milestone.freeze-thaw", ".sentence"))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("method", ["wet burlap", "ponding", "plastic sheet", "curing compound"])
def test_a_cover_against_frost_fits_what_cures_the_slab(
    job: JobRecord, frozen: CureSchedule, language: str, method: str
) -> None:
    """What lies there, stays; nobody is told not to water a slab that nobody waters."""
    schedule = replace(frozen, curing_method=method)
    wording = Wording(job, schedule, language=language)
    say, slug = wording.say, method.replace(" ", "-")
    assert wording.visits.cover is not None
    texts = {
        wording.visits.cover.sentence,
        *(each.description for each in owner_events(wording) if each.kind == "frost-cover"),
    }
    assert say(f"cover.text--{slug}") != say("cover.text")
    if method == "curing compound":
        water = "water" if language == "en" else "riegue"
        assert all(water not in each for each in texts)


@pytest.mark.parametrize("method", ["wet burlap", "ponding", "plastic sheet", "curing compound", "sprinkler"])
def test_forms_are_not_stripped_under_a_cover_without_a_word(
    job: JobRecord, schedule: CureSchedule, method: str
) -> None:
    """The crew lifts what lies over the edge, and lays it back."""
    wording = Wording(job, replace(schedule, curing_method=method))
    key = f"milestone.words.strip-under--{method.replace(' ', '-')}"
    (strip,) = (each for each in crew_events(wording) if each.kind == Kind.STRIP_EDGE_FORMS)
    if method == "sprinkler":
        assert not wording.reader.has(key)
    else:
        assert wording.say(key) in strip.description


def test_blankets_at_night_are_called_night_work(job: JobRecord, frozen: CureSchedule) -> None:
    """A slab that is finished late, before a frost: no other hour is left, and the calendar says so."""
    late = frozen.placement_end.replace(hour=23, minute=30)
    frosts = tuple(replace(each, start=late + timedelta(hours=2)) for each in frozen.risks[:1])
    wording = Wording(job, replace(frozen, finished=late, risks=frosts))
    (laid,) = (each for each in crew_events(wording) if each.kind == "frost-cover")
    assert "night work" in laid.description.lower()
    assert "night work" not in "".join(each.description for each in crew_events(Wording(job, frozen))).lower()


@pytest.mark.parametrize("language", LANGUAGES)
def test_bare_hours_of_frost_are_a_danger_of_their_own_with_what_the_crew_does(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Their row has the hour from which the top may freeze, which is before that of the blankets."""
    bare = frozen.placement_end + timedelta(hours=6)
    needed = replace(frozen.protection, bare_freezes_from=bare) if frozen.protection else None
    frozen = replace(frozen, risks=())  # those of the fixture have no figures
    words = Wording(job, replace(frozen, protection=needed), language=language)
    title = words.say("crew.bare-frost.title")
    (row,) = (each for each in CrewSheet(words).rows("dangers") if each.what.startswith(title))
    assert words.speak.short_hour(bare) in row.when
    assert row.detail == words.say("crew.bare-frost.text-placed")
    plain = Wording(job, frozen, language=language)
    assert not [each for each in CrewSheet(plain).rows("dangers") if each.what.startswith(title)]


@pytest.mark.parametrize("language", LANGUAGES)
def test_bare_hours_of_frost_end_when_the_cover_goes_on(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """The row of the crew sheet has both hours; in the evening before the cover nothing lies there."""
    frozen = replace(
        frozen, risks=()
    )  # those of the fixture have no figures; a cover in place of water stays
    cover = frost_covers(frozen)[0].start.astimezone(frozen.issued_at.tzinfo)
    bare = cover - timedelta(hours=1)
    needed = replace(frozen.protection, bare_freezes_from=bare) if frozen.protection else None
    before = frozen.placement_start - timedelta(hours=2)
    frozen = replace(frozen, protection=needed, issued_at=before)
    words = Wording(job, frozen, language=language)
    title = words.say("crew.bare-frost.title")
    (row,) = (each for each in CrewSheet(words).rows("dangers") if each.what.startswith(title))
    assert words.speak.short_span(bare, cover) in row.when
    assert row.detail == words.say("crew.bare-frost.text")


def test_where_no_blanket_is_enough_the_thickest_is_loaded_with_heat(
    job: JobRecord, frozen: CureSchedule
) -> None:
    """Who lays blankets has them on the truck, though they alone hold off no frost."""
    assert frozen.protection is not None
    tried = tuple(Blanket(each, -5.0, None, frozen.placement_end) for each in (0.35, 1.41))
    none = replace(frozen, protection=replace(frozen.protection, blankets=tried, enough=None))
    loaded = {each.code: each for each in materials_to_load(none, job)}
    assert "vented-heat" in loaded
    assert loaded["blankets"].resistance == 1.41
    assert loaded["blankets"].at_edges == pytest.approx(3.0 * 1.41)


@pytest.mark.parametrize(
    ("recorded", "named", "edges"),
    [(None, "R-2", "R-6"), (0.18, "R-2", "R-6"), (0.881, "R-5", "R-6"), (1.233, "R-7", "")],
    ids=["none", "too thin", "enough", "enough at edges too"],
)
def test_the_blankets_of_the_record_are_named_where_they_are_enough(
    job: JobRecord, frozen: CureSchedule, recorded: float | None, named: str, edges: str
) -> None:
    """R-2 is enough here, three times that at edges; R-1 is 0.176 m2K/W, by definition."""
    curing = job.curing.model_copy(update={"blanket_r_value": recorded})
    words = Wording(job.model_copy(update={"curing": curing}), frozen)
    is_own = named != "R-2"
    for text in (CrewSheet(words).load, words.warnings.blanket):
        printed = re.findall(r"R-\d+", text.replace("\N{NON-BREAKING HYPHEN}", "-"))
        assert printed == [each for each in (named, edges) if each]
    assert ("as on the record" in CrewSheet(words).load) == is_own
    assert ("crew" in words.warnings.blanket) == is_own


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_row_of_the_blanket_of_the_record_is_marked(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """It has all members and the others some: next to them, its hour may seem to run backwards."""
    assert frozen.protection is not None
    tried = tuple(Blanket(each, 4.0, frozen.placement_end, None) for each in (0.0, 0.35, 0.88))
    for laid, method in ((0.88, "insulating blanket"), (0.0, "sprinkler")):
        protection = replace(frozen.protection, blankets=tried, laid=laid)
        cold = replace(frozen, curing_method=method, protection=protection)
        sheet = DataSheet(Wording(job, cold, language=language))
        is_own = method == "insulating blanket"
        assert ["*" in row[0] for row in sheet.protection] == [False, False, is_own]
        assert (sheet.say("protection.own-row") in sheet.protection_notes) == is_own


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("is_set", [False, True])
def test_blankets_before_the_slab_has_set_are_held_clear_of_it(
    job: JobRecord, frozen: CureSchedule, language: str, *, is_set: bool
) -> None:
    """Common practice: what lies on a top that a key marks, leaves marks."""
    final = frozen.milestone(Kind.FINAL_SET)
    assert final is not None
    later = replace(final, likely=frozen.risks[0].start + timedelta(hours=-6 if is_set else 1))
    moved = tuple(later if each is final else each for each in frozen.milestones)
    words = Wording(job, with_tasks(replace(frozen, milestones=moved), job), language=language)
    (laid,) = (each for each in crew_events(words) if each.kind == "frost-cover")
    held = words.say("cover.hold-clear-plastic")
    assert (held in laid.description) is not is_set
    (owner,) = (each for each in owner_events(words) if each.kind == "frost-cover")
    assert held not in owner.description


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_trial_cut_under_blankets_says_to_lift_them_along_the_line(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """As for joints whose hour is known."""
    saw, final = frozen.milestone(Kind.SAW_JOINTS), frozen.milestone(Kind.FINAL_SET)
    assert saw is not None
    assert final is not None
    unknown = replace(saw, likely=None, not_before=None, not_after=None, printed=None)
    set_at = replace(final, likely=frozen.risks[0].start)  # when the blankets are on
    moved = tuple({id(saw): unknown, id(final): set_at}.get(id(each), each) for each in frozen.milestones)
    words = Wording(job, with_tasks(replace(frozen, milestones=moved), job), language=language)
    (cut,) = (each for each in crew_events(words) if each.kind == Kind.SAW_JOINTS)
    assert words.say("milestone.words.saw-under-cover") in cut.description


@pytest.mark.parametrize("reached", [True, False])
def test_forms_stay_past_the_estimate_where_the_cover_over_them_does(
    frozen: CureSchedule, *, reached: bool
) -> None:
    """Seen: forms stripped on day 3 under blankets without an end; with their strength reached, or likely."""
    off = {Kind.PROTECTION_ENDS, Kind.CURING_ENDS}
    endless = tuple(
        replace(each, not_before=None) if each.kind in off else each for each in print_all(frozen).milestones
    )
    if not reached:
        endless = tuple(
            replace(each, not_before=None, printed=None) if each.kind == Kind.STRIP_EDGE_FORMS else each
            for each in endless
        )
    schedule = keep_forms_under_covers(replace(frozen, milestones=endless))
    assert frost_covers(schedule)[-1].end is None
    forms = schedule.milestone(Kind.STRIP_EDGE_FORMS)
    assert forms is not None
    assert (forms.likely, forms.not_before, forms.printed) == (None, None, None)
    assert forms.because.governing.rule == FORMS_AFTER_COVER


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_slab_without_any_watering_is_not_told_of_a_table(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Frost on every day: the papers name how long the cover lies, and no table that is not there."""
    curing = job.curing.model_copy(update={"blanket_r_value": None})
    plain = job.model_copy(update={"curing": curing})
    cold = (Caution("cold-weather", (Figure("forecast_air", 1.0, "degC"),)),)
    wording = Wording(plain, replace(frozen, cautions=cold), language=language)
    table = wording.say("protection.enough-table", blanket="").strip()
    ends = next(each for each in wording.dates.milestones if each.kind == Kind.CURING_ENDS)
    assert ends.sentence == wording.say("milestone.curing-ends--sheet.sentence")
    assert table not in wording.warnings.blanket
    lifted = next(each for each in wording.dates.milestones if each.kind == Kind.PROTECTION_ENDS)
    assert lifted.when.text in wording.warnings.blanket
    [caution] = wording.warnings.notices
    assert caution.text.endswith(
        wording.say("caution.cold-weather.text-stays", goes_down="", colder="").strip()
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_who_covers_is_said_once(job: JobRecord, frozen: CureSchedule, language: str) -> None:
    """The crew's cover stays until cold protection ends: the owner is not asked to cover, either."""
    watered = tuple(replace(day, skipped_because=None) for day in frozen.watering)
    ends = next(each for each in frozen.milestones if each.kind == Kind.CURING_ENDS)
    lifted = replace(ends, kind=Kind.PROTECTION_ENDS)
    stays = replace(frozen, watering=watered, milestones=(*frozen.milestones, lifted))
    wording = Wording(job, stays, language=language)
    assert not stays.covered_for_frost
    assert [each.span.off for each in cover_tasks(wording.schedule) if each.span] == [Kind.PROTECTION_ENDS]
    words = next(each for each in wording.dates.milestones if each.kind == Kind.PROTECTION_ENDS)
    assert words.sentence == wording.say("milestone.words.crew-covers")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_hour_of_frost_on_the_bare_top_is_not_told_as_one_to_come_once_it_is_past(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """It may have frozen: owner and crew look now; once the blankets lie, nobody puts up a tent."""
    bare, laid = frozen.issued_at + timedelta(hours=1), frozen.issued_at + timedelta(hours=4)
    needed = replace(frozen.protection, bare_freezes_from=bare) if frozen.protection else None
    frozen = replace(frozen, protection=needed, blankets_on=laid)
    for later, which in ((0, ""), (2, "-now"), (24, "-over")):
        issued = replace(frozen, issued_at=frozen.issued_at + timedelta(hours=later))
        words = Wording(job, issued, language=language)
        when = words.speak.moment(bare).text
        assert words.warnings.bare_frost is not None
        assert words.warnings.bare_frost.text == words.say(f"protection.bare-owner{which}", when=when)
        assert words.say(f"protection.bare-crew{which}", when=when) in words.warnings.blankets_on[1]
        assert words.say(f"protection.bare{which}", when=when) in words.warnings.blanket


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("hour", [6, 17])
def test_nobody_builds_or_empties_a_pond_in_the_dark_or_before_it_is_filled(
    job: JobRecord, frozen: CureSchedule, language: str, hour: int
) -> None:
    """Covered until its first water, the rim is built at a warm hour; no water is let off."""
    days = list(frozen.watering)
    day = days[4]
    local = frozen.placement_end.tzinfo
    begins = datetime.combine(day.date, time(hour, 30), local)
    visit = Visit(begins, begins + timedelta(hours=1), 90.0)
    days[4] = replace(day, visits=(visit,), skipped_because=None)
    pond = replace(frozen, curing_method="ponding", watering=tuple(days), tasks=())
    wording = Wording(job, pond, language=language)
    events = {each.kind: each for each in (*crew_events(wording), *owner_events(wording))}
    rim = events["build-rim"]
    assert isinstance(rim.start, datetime)
    assert rim.start.astimezone(local).time() == WARMEST
    assert rim.start < visit.start
    assert rim.description.startswith(wording.say("event.build-rim.under-cover"))
    assert wording.say("milestone.words.strip-under--ponding") not in events["strip-edge-forms"].description
    assert wording.visits.cover_text(rim.start, "") == wording.say("cover.text")
    assert wording.visits.cover_text(visit.end, "") == wording.say("cover.text--ponding")
    run_off = "run off" if language == "en" else "salir el agua"
    assert run_off not in events["frost-cover"].description


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_owner_reads_when_the_crew_lifts_the_cover(
    job: JobRecord, schedule: CureSchedule, frozen: CureSchedule, language: str
) -> None:
    """Seen: the crew was to build the rim of a pond under blankets, and no owner's paper said so."""
    ponded = job.model_copy(update={"curing": job.curing.model_copy(update={"method": "ponding"})})
    thawed = (*frozen.watering[:4], *schedule.watering[4:])
    bare = {"curing_method": "ponding", "surface": None, "between": None, "tasks": ()}
    cold = with_tasks(replace(frozen, watering=thawed, **bare), ponded)
    [rim] = cold.tasks_of("crew", BUILD_RIM)
    assert rim.how == BENEATH_COVER
    wording = Wording(ponded, cold, language=language)
    when = wording.speak.moment(rim.start).text
    covers = [each for each in owner_events(wording) if each.kind in COVERS]
    said = wording.say("cover.lifted.build-rim", when=when)
    assert any(said in each.description for each in covers)
    assert wording.say("sheet.crew-rim-under-cover", when=when) in CareSheet(wording, {}).crew


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_cover_that_is_to_lie_is_named_with_its_resistance(
    job: JobRecord, frozen: CureSchedule, language: str
) -> None:
    """Seen: "dry blankets or foam" where the record has blankets of one resistance. R-5 is 0.88 m2K/W."""
    own = job.model_copy(update={"curing": job.curing.model_copy(update={"blanket_r_value": 0.88})})
    later = tuple(replace(each, start=each.start + WEEKS, end=each.end + WEEKS) for each in frozen.risks)
    first = with_tasks(replace(frozen, risks=later[:1], watering=(), tasks=()), own)
    [laid] = first.tasks_of("owner", *COVERS)
    lies = replace(first, issued_at=laid.end, revision=2, covered_since=laid.start, tasks=())
    for schedule in (first, lies):
        wording = Wording(own, with_tasks(schedule, own), language=language)
        [event] = [each for each in owner_events(wording) if each.kind in COVERS]
        assert "R-5" in event.description


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("method", ["sprinkler", "insulating blanket"])
def test_blankets_that_nobody_looks_after_are_named(
    job: JobRecord, frozen: CureSchedule, language: str, method: str
) -> None:
    """Seen: a barn where nobody is at any hour, blankets for five days, and no paper asked who looks."""
    on = frozen.placement_end.replace(hour=20)
    coldest = (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -6.0, "degC"))
    risks = tuple(replace(each, figures=coldest) for each in frozen.risks)
    laid_at = on if method == "insulating blanket" else None
    laid = replace(frozen, curing_method=method, blankets_on=laid_at, risks=risks, tasks=())
    for hours, told in (((), True), (("06:30-08:00",), False)):
        curing = job.curing.model_copy(update={"available": hours, "method": method})
        record = job.model_copy(update={"curing": curing})
        schedule = with_tasks(laid, record)
        assert bool(unwatched_covers(schedule)) == told
        sheet = CrewSheet(Wording(record, schedule, language=language))
        title = sheet.say("crew.unwatched.title")
        assert any(row.what == title for row in sheet.rows("dangers")) == told
        assert any(each.field == "curing.available" for each in questions(schedule)) == told
    over = replace(laid, issued_at=laid.issued_at + WEEKS, tasks=())
    nobody = job.model_copy(update={"curing": job.curing.model_copy(update={"available": ()})})
    assert unwatched_covers(with_tasks(over, nobody)) == ()


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("is_dated", [True, False])
@pytest.mark.parametrize("method", ["insulating blanket", "curing compound"])
def test_the_row_of_repeated_frost_says_what_can_be_done(
    job: JobRecord, frozen: CureSchedule, language: str, method: str, *, is_dated: bool
) -> None:
    """Seen: "let it dry" beside "keep rain and snow off it" on 1,200 ft2 in the open, for five months.

    The way out, blankets left on until a week in December, was on page 3 only. Page 1 has the same week.
    """
    assert frozen.protection is not None
    week = frozen.placement_end + timedelta(days=40)
    left_on = BlanketsLeftOn(0.35, 24.1, week, week)
    milestones = tuple(
        replace(each, not_before=None) if each.kind == Kind.FREEZE_THAW and not is_dated else each
        for each in frozen.milestones
    )
    papers = []
    for offered in (left_on, None):
        needed = replace(frozen.protection, left_on=offered)
        strengths = Figure("limit", 24.1, "MPa"), Figure("strength_then", 8.0, "MPa")
        caution = Caution("dry-before-frost", strengths)
        cold = replace(frozen, curing_method=method, protection=needed, milestones=milestones, tasks=())
        words = Wording(job, replace(cold, cautions=(*frozen.cautions, caution)), language=language)
        (row,) = (each for each in CareSheet(words, {}).main if each.kind == Kind.FREEZE_THAW)
        (told,) = (each for each in words.warnings.notices if each.code == "dry-before-frost")
        papers.append((row.sentence, told.text, words.dates.blankets_left_on))
    (with_blankets, told, until), (without, _, none) = papers
    assert until in with_blankets
    assert until in told
    assert none == ""
    rain = {"en": "rain and snow", "es": "lluvia y la nieve"}[language]
    assert rain not in with_blankets
    assert rain in without
