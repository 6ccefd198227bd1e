"""What an owner does with letter, calendar and cover: whoever reads one of them alone does the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.charts import time_line
from handover.documents.crew_sheet import CrewSheet
from handover.documents.crew_visits import crew_visits
from handover.documents.events import owner_events
from handover.documents.message import compose_message, keep_off
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.schedule.model import (
    BetweenCover,
    Caution,
    Figure,
    MilestoneKind,
    Protection,
    Risk,
    SurfaceChoice,
    SurfaceTask,
)
from handover.service.inputs import _uncounted_blankets

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = ("en", "es")


def with_date(schedule: CureSchedule, kind: MilestoneKind, **parts: Any) -> CureSchedule:
    """Return a schedule with parts of one date replaced."""
    dates = (replace(each, **parts) if each.kind == kind else each for each in schedule.milestones)
    return replace(schedule, milestones=tuple(dates))


def covered_by_crew(schedule: CureSchedule, cover: str, how: str = "fog-cover") -> CureSchedule:
    """Return a schedule with a cover between waterings, where the crew lays one until the first water."""
    first = schedule.watering[0].visits[0].start
    task = SurfaceTask(
        work="damp",
        start=first - timedelta(hours=2),
        not_after=None,
        cover_from=first - timedelta(hours=1),
        until=first,
        finish_recorded=True,
        choices=(SurfaceChoice(how, first - timedelta(hours=2), first, 2.0, 0.0),),
        figures=(),
        source="a rule",
        mark="common practice",
    )
    return replace(schedule, between=BetweenCover(cover, 13.0, 0.0), surface=task)


def letter(wording: Wording, *attached: str) -> str:
    """Return the plain text of the letter, each run of spaces and line ends as one space."""
    parsed: Any = message_from_bytes(
        compose_message(wording, dict.fromkeys(attached, b"%PDF")), policy=policy.default
    )
    return " ".join(parsed.get_body(("plain",)).get_content().split())


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_takes_the_dark_of_a_wet_top_for_the_night(language: str) -> None:
    """What becomes dark is the top, and water makes it so: "until it is dark" is nightfall."""
    text = load_translations(language).say("missed.text").lower()
    assert {"en": "whole top is dark and wet", "es": "oscura y mojada"}[language] in text


@pytest.mark.parametrize("language", LANGUAGES)
def test_water_that_is_left_is_not_called_the_water_in_all(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    visits = [visit for day in schedule.watering for visit in day.visits]
    for at, key in ((schedule.issued_at, "sheet.front-water"), (visits[1].start, "sheet.front-water-more")):
        wording = Wording(job, replace(schedule, issued_at=at), language=language)
        assert wording.say(key, amount=wording.visits.amount_to_come) in CareSheet(wording, {}).front_facts


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_letter_asks_for_ticks_only_where_there_are_boxes(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """The runs of a timer have none: nobody is there."""
    say = load_translations(language).say
    asked, plain = (
        say(f"message.attached.care-sheet{each}", name="care-sheet.pdf") for each in ("", "--plain")
    )
    assert asked.startswith(plain)
    for timer in (False, True):
        curing = job.curing.model_copy(update={"timer": timer})
        wording = Wording(job.model_copy(update={"curing": curing}), schedule, language=language)
        said = letter(wording, "care-sheet.pdf")
        assert plain in said
        assert (asked in said) is CareSheet(wording, {}).ticks is not timer


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("timer", [False, True])
def test_the_calendar_keeps_water_away_from_the_saw(
    job: JobRecord, schedule: CureSchedule, language: str, timer: bool
) -> None:
    """Who reads the calendar alone waters after the crew has sawn: that watering and no other says so."""
    first, second = schedule.watering[0].visits[:2]
    sawn = with_date(
        schedule, MilestoneKind.SAW_JOINTS, not_before=first.start, not_after=first.end, printed=None
    )
    curing = job.curing.model_copy(update={"timer": timer})
    wording = Wording(job.model_copy(update={"curing": curing}), sawn, language=language)
    events = [each for each in owner_events(wording) if each.kind == "watering"]
    assert first.end < second.start
    said = [wording.say("watering.saw") in each.description for each in events]
    assert said == [True, *(False for _ in events[1:])]
    assert wording.say("watering.saw").endswith(wording.say("sheet.crew-water"))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("cover", ["wet burlap", "plastic sheet"])
def test_the_crews_cover_is_the_one_between_waterings(
    job: JobRecord, schedule: CureSchedule, language: str, cover: str
) -> None:
    """Burlap stays while water is put on it, plastic comes off and goes back on; each paper says so."""
    wording = Wording(job, covered_by_crew(schedule, cover), language=language)
    say, until = wording.say, wording.speak.moment(schedule.watering[0].visits[0].start).text
    off, key = say("between.before.off"), cover.replace(" ", "-")
    assert say(f"surface.cover-owner-{key}", until=until) == crew_visits(wording)[0]
    assert say("surface.cover-owner", until=until) not in " ".join(crew_visits(wording))
    first = next(each for each in owner_events(wording) if each.kind == "watering").description
    assert say(f"between.after.edge.{key}") in first
    assert off not in first
    other = Wording(job, covered_by_crew(schedule, cover, "sheet"), language=language)
    first = next(each for each in owner_events(other) if each.kind == "watering").description
    assert (off in first) == (cover == "wet burlap")  # the crew drew plastic over it
    assert (say(f"between.after.first.{key}") in first) == (cover == "wet burlap")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("cover", ["wet burlap", "plastic sheet"])
def test_the_cover_comes_off_when_the_watering_ends(
    job: JobRecord, schedule: CureSchedule, language: str, cover: str
) -> None:
    """The day on which the owner stops watering is the day of the cover too; an open slab has none."""
    for each, lies in ((schedule, False), (covered_by_crew(schedule, cover), True)):
        wording = Wording(job, each, language=language)
        off = wording.say(f"between.ends.{cover.replace(' ', '-')}")
        (row,) = (row for row in CareSheet(wording, {}).main if row.kind == MilestoneKind.CURING_ENDS)
        (event,) = (event for event in owner_events(wording) if event.kind == MilestoneKind.CURING_ENDS)
        assert (off in row.sentence) is (off in event.description) is lies


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("litres", "varies"), [((23.0, 148.0, 117.0), True), ((148.0, 23.0), True), ((117.0, 117.0), False)]
)
def test_a_row_of_days_names_the_most_water_of_one_of_them(
    job: JobRecord, schedule: CureSchedule, language: str, litres: tuple[float, ...], varies: bool
) -> None:
    """Seen: "every day: 6.1 gallons", the first day's; on others the pond took six times it."""
    like = next(day for day in schedule.watering if day.visits)
    visit = like.visits[0]
    days = []
    for number, amount in enumerate(litres):
        after = timedelta(days=number)
        only = replace(visit, start=visit.start + after, end=visit.end + after, litres=amount)
        days.append(replace(like, date=like.date + after, visits=(only,), rain_probability=0.0))
    words = Wording(job, replace(schedule, watering=tuple(days), issued_at=visit.start), language=language)
    (row,) = CareSheet(words, {}).days
    most = words.quantities.amount(max(litres))
    assert row.amount == (words.say("sheet.amount-up-to", amount=most) if varies else most)
    assert row.amount.endswith(most)


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_waits_to_see_a_top_turn_pale_that_burlap_hides(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """On a day whose rain is counted on, the owner lifts a corner of burlap; no rain counts under plastic."""
    wet = schedule.watering[1]
    rainy = replace(wet, visits=wet.visits[:1], rain_probability=0.8)
    days = (schedule.watering[0], rainy, *schedule.watering[2:])
    keys = {
        None: "watering.rain-counted-on",
        "wet burlap": "watering.rain-counted-on-covered",
        "plastic sheet": "watering.rain-chance",
    }
    for cover, key in keys.items():
        between = BetweenCover(cover, 13.0, 0.0) if cover else None
        wording = Wording(job, replace(schedule, watering=days, between=between), language=language)
        assert wording.visits.days[1].note.endswith(wording.say(key, chance=wording.percent(0.8)))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("method", ["insulating blanket", "ponding", "sprinkler"])
def test_no_paper_lets_anybody_walk_on_blankets(
    job: JobRecord, cold_schedule: CureSchedule, language: str, method: str
) -> None:
    """The slab bears feet before its blankets come off: letter, flag and crew sheet say it with the date."""
    laid = Protection((), 0.35, 0.0, None, largest_drop_k=28.0, drop_k=None, edges=3.0)
    slab = replace(cold_schedule, curing_method=method, protection=laid if "blanket" in method else None)
    wording = Wording(job, slab, language=language)
    kind, dates = MilestoneKind.FOOT_TRAFFIC, wording.dates
    no_step = dates.no_step(kind)
    assert bool(no_step) == (method != "sprinkler")
    (row,) = (each for each in CareSheet(wording, {}).main if each.kind == kind)
    (of_crew,) = (each for each in CrewSheet(wording).rows("owner") if each.what == f"{dates.title(kind)}.")
    assert of_crew.detail == no_step
    assert row.sentence.endswith(no_step)
    off = keep_off(wording) if method == "ponding" else no_step  # until a pond is drained
    assert off in letter(wording)
    flag = dates.flag_title(kind)
    assert (flag != dates.short_title(kind)) == bool(no_step)
    assert f">{flag}<" in time_line(wording).svg


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("is_filled", "key"), [(True, "in-pond"), (False, "under-cover--ponding")])
def test_who_may_walk_reads_how_long_the_pond_stands(
    job: JobRecord, schedule: CureSchedule, language: str, is_filled: bool, key: str
) -> None:
    """A pond that is filled before that date stands there until watering ends."""
    kind = MilestoneKind.FOOT_TRAFFIC
    [walk] = (each for each in schedule.milestones if each.kind == kind)
    [visit, *_] = (visit for day in schedule.watering for visit in day.visits)
    when = visit.start + timedelta(hours=1 if is_filled else -1)
    others = tuple(each for each in schedule.milestones if each.kind != kind)
    moved = (*others, replace(walk, likely=when, not_before=when, printed=None))
    pond = replace(schedule, curing_method="ponding", milestones=moved, tasks=())
    wording = Wording(job, pond, language=language)
    assert wording.dates.no_step(kind) == wording.say(f"milestone.words.{key}")
    assert wording.dates.flag_title(kind) != wording.dates.short_title(kind)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_letter_begins_with_the_owners_part_and_names_the_crew(
    job: JobRecord, cold_schedule: CureSchedule, language: str
) -> None:
    """Blankets of tonight stand in order of time, and nobody takes them for the owner's work."""
    laid = cold_schedule.issued_at + timedelta(hours=4)
    slab = replace(cold_schedule, curing_method="insulating blanket", blankets_on=laid, watering=())
    dates = [each for each in slab.milestones if each.kind != MilestoneKind.FIRST_WATER]
    wording = Wording(job, replace(slab, milestones=tuple(dates)), language=language)
    part, said = CareSheet(wording, {}).ongoing, letter(wording)
    assert part is not None
    walk = f"- {wording.dates.title(MilestoneKind.FOOT_TRAFFIC)}: "
    crew = {"en": "- The crew lays the blankets", "es": "- La cuadrilla pone las mantas"}[language]
    order = [said.index(each) for each in (part.sentence, crew, walk)]
    assert order == sorted(order)
    visits = crew_visits(wording)
    (blankets,) = (each for each in visits if each.startswith(crew.removeprefix("- ")))
    edges = wording.dates.title(MilestoneKind.STRIP_EDGE_FORMS)
    (boards,) = (each for each in visits if each.startswith(edges))
    assert visits.index(blankets) < visits.index(boards)


def test_the_terminal_names_the_day_of_the_care_sheet_from_which_a_frost_is_harmless(
    job: JobRecord, cold_schedule: CureSchedule
) -> None:
    """A time late in the evening, days after the pour, is printed as the next morning."""
    placed = cold_schedule.placement_end
    night = placed.replace(hour=23, minute=0)
    frost = Risk("frost", night, night + timedelta(hours=6), night, (Figure("coldest", -3.0, "degC"),))
    evening = night + timedelta(days=3) - timedelta(hours=2)
    blankets = Protection((), 0.35, 0.0, evening, largest_drop_k=28.0, drop_k=None, edges=3.0)
    ends = {"not_before": placed + timedelta(days=9), "likely": None, "printed": None}
    slab = with_date(cold_schedule, MilestoneKind.PROTECTION_ENDS, **ends)
    slab = replace(slab, risks=(frost,), protection=blankets, curing_method="curing compound", watering=())
    finding = _uncounted_blankets(slab, None)
    assert finding is not None
    morning = evening.date() + timedelta(days=1)
    assert finding.problem.endswith(f"{morning}")
    wording = Wording(job, slab)
    said = wording.say("protection.sooner", safe=wording.speak.day(morning))
    assert wording.warnings.blanket.endswith(said)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("method", ["sprinkler", "plastic sheet", "curing compound"])
def test_water_is_named_in_frost_only_where_the_owner_waters(
    job: JobRecord, cold_schedule: CureSchedule, language: str, method: str
) -> None:
    """A slab under plastic or a coat is never watered: its calendar does not forbid what nobody does."""
    night = cold_schedule.issued_at.replace(hour=23, minute=0)
    frost = Risk("frost", night, night + timedelta(hours=6), night, (Figure("coldest", -3.0, "degC"),))
    wording = Wording(job, replace(cold_schedule, risks=(frost,), curing_method=method), language=language)
    (cover,) = (each for each in owner_events(wording) if each.kind == "frost-cover")
    no_water = {"en": "Do not water", "es": "No riegue"}[language]
    assert (no_water in cover.description) == (method == "sprinkler")


def test_the_crew_keeps_the_top_damp_before_it_comes_back_to_saw(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Issued after the last pass: the top is kept damp now, though its cover is laid after the first cut."""
    covered = covered_by_crew(schedule, "wet burlap")
    assert covered.surface is not None
    assert covered.surface.cover_from is not None
    cut, end = covered.issued_at + timedelta(minutes=15), covered.surface.until
    assert cut < covered.surface.cover_from
    sawn = with_date(
        covered, MilestoneKind.SAW_JOINTS, likely=cut, not_before=cut, not_after=end, printed=None
    )
    wording = Wording(job, sawn)
    damp, saw, *_ = crew_visits(wording)
    assert wording.surface.to_come is not None
    assert damp == wording.surface.to_come.owner
    assert saw.startswith(wording.dates.title(MilestoneKind.SAW_JOINTS))


@pytest.mark.parametrize("language", LANGUAGES)
def test_who_keeps_blankets_dry_is_told_how(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    """First page and steps both name the plastic over them: a wet blanket keeps nothing warm."""
    blankets = replace(schedule, curing_method="insulating blanket", watering=())
    care = CareSheet(Wording(job, blankets, language=language), {})
    over = {"en": "draw plastic over them", "es": "tienda plástico encima"}[language]
    assert over in care.say("your-part.insulating-blanket-text")
    assert over in care.how


@pytest.mark.parametrize("language", LANGUAGES)
def test_frost_is_a_reason_to_call_only_where_the_schedule_knows_of_cold(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """A slab of July in Greensboro; the same one with a date until which it is kept from frost."""
    froze = load_translations(language).say("sheet.call-frost")
    walk = next(each for each in schedule.milestones if each.kind == MilestoneKind.FOOT_TRAFFIC)
    protected = replace(walk, kind=MilestoneKind.PROTECTION_ENDS)
    cold = replace(schedule, milestones=(*schedule.milestones, protected))
    mild, frosty = (
        CareSheet(Wording(job, each, language=language), {}).text_by_method("call")
        for each in (schedule, cold)
    )
    assert froze not in mild
    assert froze in frosty
    assert mild.count("<li>") == frosty.count("<li>"), "hail and rain are a reason in both"


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_step_on_plastic_is_warned_of_where_plastic_may_lie(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Between its waterings; under wet burlap alone there is none."""
    words = {"en": "plastic", "es": "plástico"}[language]
    for cover, warns in (("plastic sheet", True), ("wet burlap", False)):
        covered = replace(covered_by_crew(schedule, cover), cautions=(Caution("slips"),))
        notices = Wording(job, covered, language=language).warnings.notices
        slips = next(each for each in notices if each.code == "slips")
        assert (words in slips.title) == (words in slips.text) == warns, cover


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_timer_is_turned_off_when_watering_ends(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """By row and event; nobody turns off a timer that does not exist."""
    for timer in (True, False):
        curing = job.curing.model_copy(update={"timer": timer})
        wording = Wording(job.model_copy(update={"curing": curing}), schedule, language=language)
        off = wording.say("milestone.words.timer-off")
        (row,) = (row for row in CareSheet(wording, {}).main if row.kind == MilestoneKind.CURING_ENDS)
        (event,) = (event for event in owner_events(wording) if event.kind == MilestoneKind.CURING_ENDS)
        assert (off in row.sentence) is (off in event.description) is timer


@pytest.mark.parametrize("language", LANGUAGES)
def test_children_stay_away_until_the_boards_with_nails_are_cleared(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: they may walk at 7:30, when the boards come off; one line of three told of the nails."""
    without = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.STRIP_EDGE_FORMS)
    for each, has_boards in ((schedule, True), (replace(schedule, milestones=without), False)):
        wording = Wording(job, each, language=language)
        nails = wording.say("milestone.words.nails")
        (event,) = (event for event in owner_events(wording) if event.kind == MilestoneKind.FOOT_TRAFFIC)
        assert any(nails in line for line in crew_visits(wording)) is has_boards
        assert (nails in event.description) is has_boards
        assert (wording.say("message.keep-off-nails") in letter(wording)) is has_boards


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("cover", "stays"), [("wet burlap", False), ("plastic sheet", True)])
def test_the_crew_leaves_the_cover_that_the_owner_is_promised(
    job: JobRecord, schedule: CureSchedule, language: str, cover: str, stays: bool
) -> None:
    """Seen: "it stays until 1:30" of burlap that stays on; who chose fog read of no cover to lay."""
    covered = replace(covered_by_crew(schedule, cover), issued_at=schedule.placement_start)
    words = Wording(job, covered, language=language).surface.task
    assert words is not None
    assert {"en": "Whichever way, lay", "es": "De cualquier modo, ponga"}[language] in words.note
    until = {"en": "It stays until", "es": "Queda puesto hasta"}[language]
    assert (until in words.choices[0].how) == stays
