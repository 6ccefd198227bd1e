"""The contents of the care sheet of several slabs: what each slab's own sheet says, side by side.

Every date, hour and sentence is that of the care sheet of its slab; nothing is computed or rounded here. What
holds for all slabs is there once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from handover.documents.calendar_links import CalendarLink, calendar_address
from handover.documents.care_sheet import MAX_CHANGES, without
from handover.documents.joined_calendars import joined_owner_calendar
from handover.documents.joined_watering import JoinedWatering
from handover.documents.sheet_rows import SheetRow

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from handover.documents.care_sheet import CareSheet
    from handover.documents.joined_slabs import ProjectSlab, ProjectSlabs
    from handover.documents.sheet_rows import JobInProgress
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

MAX_COLUMNS = 4
"""Maximum number of slabs that have a column of their own on paper."""

_SENTENCE_END = re.compile(r"(?<=[.!?]) (?=[A-ZÁÉÍÓÚÑ¿¡])")

_ITEM = re.compile(r"<li>(.*?)</li>", re.DOTALL)
_LIST_ENDS = re.compile(r"</?ol>|\s")

LAST = datetime.max.replace(tzinfo=UTC)
"""After every date of a schedule: the place of what has none."""


@dataclass(frozen=True)
class SlabRow:
    """One slab in the list of the slabs: what it is, when it was placed, and what its owner does now."""

    name: str
    what: str
    placed: str
    title: str
    when: str


@dataclass(frozen=True)
class FirstJob:
    """The next job of the owner, over all slabs.

    Attributes:
        eyebrow: "First job" or "Next job".
        title: What to do, with the names of its slabs.
        whens: When: one line, or one for each slab.
        sentences: How, likewise.
        slabs: The slabs.
    """

    eyebrow: str
    title: str
    whens: tuple[str, ...]
    sentences: tuple[str, ...]
    slabs: tuple[ProjectSlab, ...]

    @property
    def line(self) -> str:
        """Return what to do and when, in one line."""
        title = self.title if self.title.endswith("?") else f"{self.title}."
        return " ".join((title, ". ".join(self.whens))) if self.whens else self.title

    @property
    def text(self) -> str:
        """Return all of it in one paragraph: eyebrow, what, when and how."""
        return " ".join((f"{self.eyebrow}: {self.line.removesuffix('.')}.", *self.sentences))


@dataclass(frozen=True)
class DateCell:
    """The date of one slab.

    Attributes:
        slab: Its name.
        day: "Wednesday, July 22", or the words in the place of a date.
        hour: "9:30 in the morning"; empty for a day.
        typical: Whether weather past the forecast may still move it.
        reached: Whether it is past at the time of issue.
    """

    slab: str
    day: str
    hour: str = ""
    typical: bool = False
    reached: bool = False


@dataclass(frozen=True)
class DateRow:
    """One row of dates: a cell for each slab, None where a slab has none of it.

    Attributes:
        icon: Its icon.
        title: What may happen, or what stays off.
        sentences: What it means: one for all slabs, or one for each.
        cells: In the order of the slabs.
        groups: The same dates, each once, with the names of its slabs.
        earliest: The first of the dates; `LAST` where no slab has one.
        kind: What is dated; None for what is no milestone.
    """

    icon: str
    title: str
    sentences: tuple[str, ...]
    cells: tuple[DateCell | None, ...]
    groups: tuple[DateCell, ...]
    earliest: datetime
    kind: str | None

    @property
    def same(self) -> bool:
        """Return whether all slabs have the same date, so that it is printed once."""
        return None not in self.cells and len(self.groups) == 1

    @property
    def typical(self) -> bool:
        """Return whether weather past the forecast may still move one of the dates."""
        return any(each is not None and each.typical for each in self.cells)


@dataclass(frozen=True)
class TextBlock:
    """A text, and the names of the slabs that it is for; no names: it is for all of them."""

    names: str
    text: Markup


class JoinedSheet:
    """The contents of the care sheet of a project.

    Args:
        project: The slabs and their words.
        calendar: The owner's calendar of the project, if it exists already.
    """

    def __init__(self, project: ProjectSlabs, calendar: bytes | None = None) -> None:
        self.project = project
        self.slabs = project.slabs
        self.cares = tuple(each.care for each in project.slabs)
        self.wording = project.words
        self.say = project.words.say
        self.calendar = calendar
        self.watering = JoinedWatering(project)

    # ---- the head

    @property
    def job(self) -> JobRecord:
        """Return the record of the whole: contractor, owner and place, which all slabs share."""
        return self.wording.job

    @property
    def schedule(self) -> CureSchedule:
        """Return a schedule with the issue and the time zone of the whole."""
        return self.wording.schedule

    @property
    def is_narrow(self) -> bool:
        """Return whether the paper has no room for a column of dates for each slab."""
        return len(self.slabs) > MAX_COLUMNS

    @property
    def title(self) -> str:
        """Return "Your new slabs"."""
        return self.say("joined.your")

    @property
    def document_title(self) -> str:
        """Return the title that a PDF viewer or browser shows."""
        return f"{self.say('sheet.name')}: {self.project.name}"

    @property
    def site_line(self) -> str:
        """Return the project and its place and, if recorded, the owner."""
        owner, address = self.job.owner.name, self.job.site.address or ""
        name = "" if self.project.name in address else self.project.name
        parts = (name, address, owner and self.say("sheet.for-owner", name=owner))
        return " · ".join(part for part in parts if part)

    @property
    def issued(self) -> str:
        """Return the day and hour of issue."""
        return self.cares[0].issued

    @property
    def logo(self) -> str | None:
        """Return the contractor's logo as a data URL, if a record has one."""
        return next(filter(None, (each.logo for each in self.cares)), None)

    @property
    def whole(self) -> CalendarLink:
        """Return the link of the whole calendar."""
        content = self.calendar or joined_owner_calendar(self.project)
        return CalendarLink(self.say("sheet.calendar-all"), "owner.ics", calendar_address(content))

    @cached_property
    def changes(self) -> tuple[str, ...]:
        """Return the changes since the previous issue of each slab, one sentence each."""
        return self._by_line(lambda care: care.changes)

    @cached_property
    def first_changes(self) -> tuple[str, ...]:
        """Return the most important changes of each slab, as many as fit on the first page."""
        return self._by_line(lambda care: care.foremost(self._most_changes))

    @cached_property
    def rest_changes(self) -> tuple[str, ...]:
        """Return the other changes of each slab."""
        return self._by_line(lambda care: without(care.changes, care.foremost(self._most_changes)))

    @property
    def foremost_changes(self) -> tuple[str, ...]:
        """Return the most important changes of each slab, and how many more there are."""
        more = len(self.rest_changes)
        return (*self.first_changes, *([self.say("change.more", n=more)] if more else []))

    @property
    def _most_changes(self) -> int:
        """Return how many changes of one slab fit on the first page."""
        return max(1, MAX_CHANGES // len(self.slabs))

    def _by_line(self, lines_of: Callable[[CareSheet], Sequence[str]]) -> tuple[str, ...]:
        """Return the lines of all slabs, each once, with the names of its slabs."""
        found: dict[str, list[ProjectSlab]] = {}
        for slab in self.slabs:
            for line in lines_of(slab.care):
                found.setdefault(line, []).append(slab)
        return tuple(self.for_slabs(slabs, line) for line, slabs in found.items())

    @cached_property
    def front_facts(self) -> tuple[str, ...]:
        """Return what the first page says below the number to call: what hurts now, and the water left."""
        dangers = self._by_line(lambda care: care.front_dangers)
        return (*dangers, *self._by_line(lambda care: care.front_water))

    # ---- the slabs and the first job

    @cached_property
    def first(self) -> FirstJob:
        """Return the job that is next over all slabs; without one, the part of the slab placed first."""
        jobs = [(slab, slab.care.job_now) for slab in self.slabs]
        nearest = min(jobs, key=lambda each: _place(*each))
        together = [each for each in jobs if _meets(each[1], nearest[1])]
        parts = [job for _, job in together]
        slabs = tuple(slab for slab, _ in together)
        return FirstJob(
            eyebrow=nearest[1].eyebrow,
            title=self.say(
                "joined.of-slab",
                slab=self.project.list_names(slabs),
                text=self._shared_title(nearest[1], parts),
            ),
            whens=self._with_names(((slab, job.when) for slab, job in together), slabs),
            sentences=self._sentences_with_names(((slab, job.sentence) for slab, job in together), slabs),
            slabs=slabs,
        )

    def _shared_title(self, first: JobInProgress, jobs: Sequence[JobInProgress]) -> str:
        same = len({each.title for each in jobs}) == 1
        return first.title if same else self.say("joined.look-after")

    def with_names(self, text_of: Callable[[CareSheet], str]) -> tuple[str, ...]:
        """Return a text of each care sheet: one that all slabs have as it is, the others with their names."""
        return self._with_names((slab, text_of(slab.care)) for slab in self.slabs)

    def _with_names(
        self, texts: Iterable[tuple[ProjectSlab, str]], among: Sequence[ProjectSlab] = ()
    ) -> tuple[str, ...]:
        """Return the texts of slabs: one that all of them have as it is, the others with their names.

        Args:
            texts: The text of each slab.
            among: The slabs that the reader has in mind; all of the project if empty.
        """
        found: dict[str, list[ProjectSlab]] = {}
        for slab, text in texts:
            found.setdefault(text, []).append(slab)
        return tuple(self.for_slabs(slabs, text, among) for text, slabs in found.items() if text)

    def for_slabs(self, slabs: Sequence[ProjectSlab], text: str, among: Sequence[ProjectSlab] = ()) -> str:
        """Return a text, with the names of its slabs where it is not for all."""
        if len(slabs) == len(among or self.slabs):
            return text
        return self.say("joined.of-slab", slab=self.project.list_names(slabs), text=text)

    def _sentences_with_names(
        self, texts: Iterable[tuple[ProjectSlab, str]], among: Sequence[ProjectSlab] = ()
    ) -> tuple[str, ...]:
        """Return the sentences that all of some slabs have, then those of each with its name."""
        of_slabs = [(slab, _SENTENCE_END.split(text)) for slab, text in texts]
        first = of_slabs[0][1] if of_slabs else []
        shared = [each for each in first if all(each in sentences for _, sentences in of_slabs)]
        own = (
            (slab, " ".join(each for each in sentences if each not in shared)) for slab, sentences in of_slabs
        )
        together = " ".join(filter(None, shared))
        whole = (self.for_slabs([slab for slab, _ in of_slabs], together, among),) if together else ()
        return (*whole, *self._with_names(own, among))

    @cached_property
    def rows(self) -> tuple[SlabRow, ...]:
        """Return the slabs, each with the owner's part now."""
        return tuple(map(self._slab_row, self.slabs))

    def _slab_row(self, slab: ProjectSlab) -> SlabRow:
        facts = dict(slab.care.placed)
        size = (facts.get(self.say(f"placed.{each}")) for each in ("size", "area", "thickness"))
        site = slab.care.job.site.name
        is_named = site.casefold().endswith(slab.name.casefold())
        what = ", ".join(filter(None, ("" if is_named else site, *size)))
        if slab in self.first.slabs:
            title, when = self.say("joined.above"), ""
        else:
            title, when = slab.care.job_now.title, slab.care.job_now.when
        return SlabRow(slab.heading, what, facts[self.say("placed.poured")], title, when)

    # ---- dates

    @cached_property
    def main(self) -> tuple[DateRow, ...]:
        """Return the main dates, those of the slab that has each first in order of time."""
        return self._date_rows(lambda care: care.main)

    @cached_property
    def stays_off(self) -> tuple[DateRow, ...]:
        """Return what must stay off, and until when."""
        return self._date_rows(lambda care: care.stays_off)

    def _date_rows(self, rows_of: Callable[[CareSheet], Sequence[SheetRow]]) -> tuple[DateRow, ...]:
        of_slabs = [{each.title: each for each in rows_of(care)} for care in self.cares]
        titles = dict.fromkeys(title for rows in of_slabs for title in rows)
        ordered = sorted(titles, key=lambda title: self._earliest(title, of_slabs))
        return tuple(
            self._date_row([rows.get(title) for rows in of_slabs], self._earliest(title, of_slabs))
            for title in ordered
        )

    def _earliest(self, title: str, of_slabs: Sequence[dict[str, SheetRow]]) -> datetime:
        """Return the first date of a row; that of a slab without a date comes last."""
        pairs = zip(self.cares, of_slabs, strict=True)
        return min(_instant(care, rows[title]) or LAST for care, rows in pairs if title in rows)

    def _date_row(self, rows: Sequence[SheetRow | None], earliest: datetime) -> DateRow:
        first = next(each for each in rows if each is not None)
        pairs = list(zip(self.slabs, rows, strict=True))
        own = [(slab, row.sentence) for slab, row in pairs if row is not None]
        sentences = self._sentences_with_names(own, [slab for slab, _ in own])
        cells = tuple(self._cell(*each) for each in pairs)
        groups = tuple(self._groups(cells))
        return DateRow(first.icon, first.title, sentences, cells, groups, earliest, first.kind)

    def _groups(self, cells: Sequence[DateCell | None]) -> Iterator[DateCell]:
        """Yield the dates of a row, each once, with the names of its slabs."""
        found: dict[DateCell, list[ProjectSlab]] = {}
        for slab, cell in zip(self.slabs, cells, strict=True):
            if cell is not None:
                found.setdefault(replace(cell, slab=""), []).append(slab)
        for cell, slabs in found.items():
            yield replace(cell, slab=self.project.list_names(slabs))

    def _cell(self, slab: ProjectSlab, row: SheetRow | None) -> DateCell | None:
        if row is None:
            return None
        at = _instant(slab.care, row)
        reached = at is not None and at <= self.schedule.issued_at
        return DateCell(slab.heading, row.day or row.when, row.hour, row.typical, reached)

    @cached_property
    def warnings(self) -> tuple[SheetRow, ...]:
        """Return the dangers that must be on the first page."""
        return self._notices(
            lambda care: [SheetRow("mind", care.warning.title, "", care.warning.text)] if care.warning else []
        )

    @cached_property
    def crew(self) -> tuple[TextBlock, ...]:
        """Return the return visits of the crew, by slab; slabs with the same ones share them."""
        return self._blocks(lambda care: escape(" ".join(care.crew)))

    # ---- watering

    @property
    def wet(self) -> bool:
        """Return whether the owner waters one of the slabs."""
        return any(each.wet for each in self.cares)

    @property
    def heading(self) -> str:
        """Return the heading of the watering."""
        watered = next((each for each in self.cares if each.wet), None)
        looked = next((each for each in self.cares if each.waters), self.cares[0])
        return (watered or looked).heading

    @cached_property
    def intro(self) -> tuple[str, ...]:
        """Return what to do with the table, and that its hours are for one visit."""
        lines = self._with_names((each, each.care.intro) for each in self.watering.slabs)
        together = any(" " in visit.jobs for day in self.watering.days for visit in day.visits)
        typical = any(day.typical for day in self.watering.days)
        return (
            *lines,
            *((self.say("joined.one-visit"),) if together else ()),
            *((self.say("sheet.typical-days"),) if typical else ()),
            *((self.say("sheet.left-out"),) if any(each.left_out for each in self.cares) else ()),
        )

    @cached_property
    def last_words(self) -> tuple[str, ...]:
        """Return when the table ends, how much water it takes, and what to do in rain and frost."""
        waters = self.watering.slabs
        totals = ((each, each.words.water_in_all if each.care.wet else "") for each in waters)
        return (
            *self._with_names((each, each.care.last_words) for each in waters),
            *self._with_names(totals),
            *self._sentences_with_names((each, each.care.if_weather_turns) for each in waters),
        )

    @cached_property
    def without_days(self) -> tuple[str, ...]:
        """Return what stands in the place of the table for slabs that have none."""
        return self._with_names((each, each.care.without_days) for each in self.slabs if not each.care.waters)

    # ---- texts

    @cached_property
    def how(self) -> tuple[TextBlock, ...]:
        """Return how to water or to keep the cover, by method: the steps that slabs share once."""
        by_method: dict[str, list[ProjectSlab]] = {}
        for slab in self.slabs:
            by_method.setdefault(f"{slab.words.dates.method} {slab.care.wet}", []).append(slab)
        merged = {slab: text for some in by_method.values() for slab, text in self._steps_of(some).items()}
        return self._blocks(lambda care: next(text for slab, text in merged.items() if slab.care is care))

    def _steps_of(self, slabs: Sequence[ProjectSlab]) -> dict[ProjectSlab, Markup]:
        """Return the steps of some slabs in one list, a step that not all have with the names of its slabs.

        Texts that are more than a list stay as they are.
        """
        texts = {slab: slab.care.how for slab in slabs}
        if len({*texts.values()}) == 1 or not all(map(_is_one_list, texts.values())):
            return texts
        found: dict[str, list[ProjectSlab]] = {}
        order: list[str] = []
        for slab, text in texts.items():
            after = 0
            for step in _ITEM.findall(text):
                if step not in found:
                    order.insert(after, step)
                found.setdefault(step, []).append(slab)
                after = order.index(step) + 1
        items = ((self._names_before(found[step], slabs), Markup(step)) for step in order)  # noqa: S704 - our own text
        lines = (Markup("<li>{}{}</li>").format(*each) for each in items)
        whole = Markup("<ol>\n{}\n</ol>").format(Markup("\n").join(lines))
        return dict.fromkeys(slabs, whole)

    def _names_before(self, slabs: Sequence[ProjectSlab], among: Sequence[ProjectSlab]) -> str:
        """Return the names of slabs before a text, with a colon; nothing where it is for all of some."""
        if len(slabs) == len(among):
            return ""
        return self.say("joined.of-slab", slab=self.project.list_names(slabs), text="")

    @property
    def looks(self) -> tuple[ProjectSlab, ...]:
        """Return the slabs whose walk-through list is to be filled in on paper."""
        return tuple(each for each in self.slabs if each.care.walkthrough and not each.care.job.walkthrough)

    @cached_property
    def look_at(self) -> tuple[tuple[str, tuple[bool, ...]], ...]:
        """Return the items of their lists, each once, and for which of these slabs it is."""
        lists = [[row.item for row in each.care.walkthrough] for each in self.looks]
        items = dict.fromkeys(item for some in lists for item in some)
        return tuple((item, tuple(item in some for some in lists)) for item in items)

    @cached_property
    def normal(self) -> Markup:
        """Return what is normal."""
        return self._list("normal")

    @cached_property
    def call_when(self) -> Markup:
        """Return when to call."""
        return self._list("call")

    def _list(self, name: str) -> Markup:
        """Return a list of all slabs: what holds for all of them, then the items of some with their names."""
        found: dict[str, list[ProjectSlab]] = {}
        for slab in self.slabs:
            for item in _ITEM.findall(slab.care.text_by_method(name)):
                found.setdefault(item, []).append(slab)
        named = [(item, self._names_before(slabs, self.slabs)) for item, slabs in found.items()]
        shared, own = ([each for each in named if bool(each[1]) is some] for some in (False, True))
        lines = (Markup("<li>{}{}</li>").format(names, Markup(item)) for item, names in (*shared, *own))  # noqa: S704 - our own text
        return Markup("<ul>\n{}\n</ul>").format(Markup("\n").join(lines))

    @cached_property
    def sources(self) -> tuple[TextBlock, ...]:
        """Return where the method comes from."""
        return self._blocks(lambda care: care.text("sources"))

    def _blocks(self, text_of: Callable[[CareSheet], Markup]) -> tuple[TextBlock, ...]:
        found: dict[Markup, list[ProjectSlab]] = {}
        for slab in self.slabs:
            found.setdefault(text_of(slab.care), []).append(slab)
        found.pop(Markup(), None)
        if [*found.values()] == [[*self.slabs]]:
            return tuple(TextBlock("", text) for text in found)
        return tuple(TextBlock(self.project.list_names(slabs), text) for text, slabs in found.items())

    @cached_property
    def cautions(self) -> tuple[SheetRow, ...]:
        """Return the cautions about what may hurt people, each once."""
        return self._notices(lambda care: care.cautions)

    @cached_property
    def remarks(self) -> tuple[SheetRow, ...]:
        """Return the other remarks, each once."""
        return self._notices(lambda care: care.remarks)

    def _notices(self, rows_of: Callable[[CareSheet], Iterable[SheetRow]]) -> tuple[SheetRow, ...]:
        found: dict[SheetRow, list[ProjectSlab]] = {}
        for slab in self.slabs:
            for row in rows_of(slab.care):
                found.setdefault(row, []).append(slab)
        return tuple(self._notice(row, slabs) for row, slabs in found.items())

    def _notice(self, row: SheetRow, slabs: Sequence[ProjectSlab]) -> SheetRow:
        """Return a notice; with the names of its slabs where it is not for all."""
        if len(slabs) == len(self.slabs):
            return row
        title = self.say("joined.of-slab", slab=self.project.list_names(slabs), text=row.title)
        return SheetRow(row.icon, title, row.when, row.sentence)

    @cached_property
    def limits(self) -> tuple[str, ...]:
        """Return the limits of the estimate, each once."""
        return tuple(dict.fromkeys(line for care in self.cares for line in care.wording.limits))

    @cached_property
    def facts(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the facts of the slabs: label, and the value of each slab or the one that all have."""
        of_slabs = [dict(care.placed) for care in self.cares]
        labels = dict.fromkeys(label for facts in of_slabs for label in facts)
        rows = ((label, tuple(facts.get(label, "") for facts in of_slabs)) for label in labels)
        return tuple((label, values[:1] if len({*values}) == 1 else values) for label, values in rows)

    @property
    def acknowledged(self) -> tuple[str, ...]:
        """Return who acknowledged the handover of which slab; empty if it is to be signed on paper."""
        return self._with_names((each, each.care.acknowledged) for each in self.slabs)

    @property
    def to_sign(self) -> bool:
        """Return whether the owner has still to sign for a slab."""
        return not all(each.acknowledged for each in self.cares)


def _is_one_list(text: Markup) -> bool:
    """Return whether a text is a numbered list and nothing else."""
    return text.count("<ol>") == 1 and not _LIST_ENDS.sub("", _ITEM.sub("", text))


def _place(slab: ProjectSlab, job: JobInProgress) -> tuple[int, datetime]:
    """Return the order of a job: questions, tasks by start, those without an hour, no task, what is over."""
    if slab.words.visits.missed_water is not None:
        return -1, LAST
    if job.start is not None:
        return 0, job.start.astimezone(UTC)
    if slab.care.is_over:
        return 3, LAST
    return (2 if slab.care.first is None else 1), LAST


def _meets(job: JobInProgress, first: JobInProgress) -> bool:
    """Return whether a job begins with the first one; without a start, whether it is the same one."""
    return job == first if first.start is None else job.start == first.start


def _instant(care: CareSheet, row: SheetRow) -> datetime | None:
    """Return the instant of a date; None for one that is not given."""
    words = None if row.kind is None else care.words_by_kind.get(row.kind)
    return None if words is None or words.when is None else words.when.instant.astimezone(UTC)
