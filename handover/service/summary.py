"""A schedule in a few lines: for a terminal, or wherever there is no room for a sheet."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from handover.documents.care_sheet import CareSheet
from handover.documents.change_sentences import change_sentences
from handover.documents.crew_sheet import CrewSheet
from handover.documents.wording import Wording
from handover.schedule.cover_times import is_sheet_in_doubt
from handover.schedule.model import MilestoneKind
from handover.schedule.tasks import is_sawing_over

if TYPE_CHECKING:
    from collections.abc import Mapping

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.quantity_format import Units
    from handover.documents.words.dates import MilestoneWords
    from handover.documents.words.watering import DayWords
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.settings import Settings


@dataclass(frozen=True)
class PlanSummary:
    """A schedule as the contractor reads it; each pair is the left and the right column.

    Attributes:
        site, job: Name of the site, id of the job.
        weather: The source of the weather, in a line.
        dates: When, and what is then allowed.
        load: What to load, in one sentence; empty if nothing.
        dangers: The hours of each danger of the day, and how bad it is.
        surface: What the crew does before it leaves: the heading, then a line for each way; empty if nothing.
        visits: When the crew comes back for anything but those dates, and for what.
        watering: On which days, and what.
        refusals: The dates that the program does not give, and why.
        cautions: One paragraph for each.
        limits: What the estimates do not cover.
        heads: The headings of the parts, by their names.
    """

    site: str
    job: str
    weather: str
    dates: tuple[tuple[str, str], ...]
    load: str
    dangers: tuple[tuple[str, str], ...]
    surface: tuple[str, ...]
    visits: tuple[tuple[str, str], ...]
    watering: tuple[tuple[str, str], ...]
    refusals: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    limits: str
    heads: Mapping[str, str]


def change_lines(job: JobRecord, schedule: CureSchedule, units: Units | None = None) -> tuple[str, ...]:
    """Return what changed since the issue before, one sentence each, as the owner's sheet has it.

    Args:
        job: The record.
        schedule: Its schedule.
        units: Of the reader; by default, those of most quantities in the record.
    """
    return tuple(change_sentences(Wording(job, schedule, units=units or job.written_in)))


HEADS = ("not-before", "dangers", "visits", "watering", "refusals", "cautions")
"""The parts of a summary that have a heading."""


def summarise_plan(job: JobRecord, schedule: CureSchedule, settings: Settings) -> PlanSummary:
    """Return a schedule in a few lines, in the language of crew and office.

    Args:
        job: The record.
        schedule: Its schedule.
        settings: The choices: languages, units, templates.
    """
    words = Wording(
        job,
        schedule,
        language=settings.office_language,
        units=settings.units_for(job),
        templates=settings.templates,
    )
    return plan_summary(words)


def plan_summary(words: Wording) -> PlanSummary:
    """Return a schedule in a few lines, from its words."""
    schedule = words.schedule
    crew = CrewSheet(words)
    dates = sorted(words.dates.crew_milestones, key=_sort_key)
    kinds = {each.kind for each in dates}
    visits = [row for row in crew.rows("visits") if row.kind not in kinds]
    spans = ((what, [*days]) for what, days in groupby(words.watering, key=_work_of))
    return PlanSummary(
        site=words.job.site.name,
        job=schedule.job,
        weather=words.say("plan.weather", source=schedule.weather.source),
        dates=tuple(_date(each, words) for each in dates if not _is_over(each, words)),
        load=crew.load,
        dangers=tuple((row.when, row.text) for row in crew.rows("dangers")),
        surface=_surface_lines(words),
        visits=tuple((row.when, row.what) for row in visits),
        watering=tuple((_span(words, *(day.short_day for day in days)), what) for what, days in spans),
        refusals=tuple((words.refused(each), words.dates.refusal(each)) for each in schedule.refusals),
        cautions=tuple(f"{each.title}. {each.text}" for each in words.cautions),
        limits=" ".join(words.limits),
        heads={each: words.say(f"plan.head.{each}") for each in HEADS},
    )


def surface_lines(job: JobRecord, schedule: CureSchedule, units: Units | None = None) -> tuple[str, ...]:
    """Return what the crew does with the surface before it leaves: the heading, then the lines."""
    return _surface_lines(Wording(job, schedule, units=units or job.written_in))


def _surface_lines(words: Wording) -> tuple[str, ...]:
    task = words.surface.to_come
    if task is None:
        return ()
    head = "surface-in-doubt" if is_sheet_in_doubt(words.schedule) else "surface"
    return (f"{words.say(f'plan.head.{head}')}: {task.title}", *task.lines)


def first_task(job: JobRecord, schedule: CureSchedule, units: Units | None = None) -> str:
    """Return the owner's first task, and when, from the same values as the sheet."""
    return first_task_of(CareSheet(Wording(job, schedule, units=units or job.written_in), {}))


def first_task_of(care: CareSheet) -> str:
    """Return the first task of a care sheet."""
    if (part := care.ongoing) is not None:
        return part.line
    first = care.words_by_kind[MilestoneKind.FIRST_WATER]
    if care.wet and first.when is not None:
        return f"First water from {first.when.text}"
    return f"{first.title}: {first.when_text}"


def _sort_key(words: MilestoneWords) -> tuple[bool, float]:
    sentence = words.trial if words.in_stages else words.when
    return sentence is None, sentence.instant.timestamp() if sentence else 0.0


def _date(words: MilestoneWords, wording: Wording) -> tuple[str, str]:
    """Return when and what; sawing in stages goes by its trial cut, and so does sawing without an hour.

    No hour of the saw that is past is printed as one to come.
    """
    undated = wording.dates.undated_saw if words.kind == MilestoneKind.SAW_JOINTS else None
    if undated is not None:
        return wording.say("plan.past"), f"{words.crew_title}. {undated.why} {undated.how}"
    if words.in_stages and words.trial and words.not_after:
        what = wording.say("plan.in-parts", title=words.crew_title, last=words.not_after.short)
        begins = wording.say("plan.try", when=words.trial.short)
        return wording.say("crew.now") if words.begun else begins, what
    trial = wording.say("plan.trial", when=words.trial.short) if words.trial and not words.begun else ""
    late = f"{trial}{wording.say('plan.not-after', last=words.not_after.short)}" if words.not_after else ""
    year = wording.schedule.issued_at.year
    when = _with_year(words.when, year) if words.when else wording.say("plan.past")
    if words.is_best_past:
        when = wording.say("crew.now")
    night = f"; {words.night}" if words.night else ""
    return when, f"{words.crew_title}{late}{night}"


def _is_over(words: MilestoneWords, wording: Wording) -> bool:
    """Return whether a date is of work that is too late: of joints, which are asked about instead."""
    return words.kind == MilestoneKind.SAW_JOINTS and is_sawing_over(wording.schedule)


def _span(wording: Wording, first: str, *others: str) -> str:
    return wording.say("sheet.day-span", first=first, last=others[-1]) if others else first


def _work_of(day: DayWords) -> str:
    visits = day.runs or ", ".join(visit.short_span for visit in day.visits)
    return "; ".join(part for part in (visits, day.amount, day.note) if part)


def _with_year(when: DatePhrase, issued_at: int) -> str:
    year = when.instant.year
    return when.short if when.with_year or year == issued_at else f"{when.short}, {year}"
