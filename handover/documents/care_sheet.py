"""The contents of a care sheet, in words and in order; sheet and page are two layouts of them."""

from __future__ import annotations

from datetime import UTC, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from markupsafe import Markup

from handover.documents.calendar_links import CalendarLinks
from handover.documents.change_sentences import change_sentences, foremost_changes
from handover.documents.crew_visits import crew_visits
from handover.documents.date_phrases import capitalise
from handover.documents.events import event_of
from handover.documents.icons import ICON_OF_CAUTION, ICON_OF_KIND
from handover.documents.pictures import picture_uri
from handover.documents.qr import QrCode, sheet_code
from handover.documents.sheet_rows import LATER_KINDS, JobInProgress, SheetRow, WalkthroughRow
from handover.documents.slab_facts import placement_facts
from handover.documents.templating import fill_text
from handover.documents.translations import load_translations, slug
from handover.documents.watering_table import WateringTable
from handover.documents.words.what_if import what_if
from handover.practice.rules import general_rules
from handover.practice.walkthrough import all_items, walkthrough_items
from handover.schedule.cover_times import DRYING, is_hose_by_crew
from handover.schedule.loading import is_white_best
from handover.schedule.model import SHEET
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.owner_dates import may_freeze
from handover.schedule.tasks import is_over, next_watering, waterings_ahead

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.watering_table import TableCell
    from handover.documents.wording import Wording
    from handover.documents.words.cautions import Notice
    from handover.documents.words.dates import MilestoneWords, WithheldWords
    from handover.documents.words.watering import DayWords, VisitWords

MAIN_KINDS = (Kind.FOOT_TRAFFIC, Kind.LIGHT_WORK, Kind.CURING_ENDS, Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES)
OFFICE_ONLY_CAUTIONS = {
    *("bleeds-long", "frozen-ground"),
    *("air-unknown", "late-discharge", "water-added", "slump-high", "cylinders-weak", "cylinders-high"),
    "cylinders-differ",
    *("log-differs", "log-in-the-air"),
}
"""Cautions for crew and office only; the owner's dates already include them."""
MAX_CHANGES = 5
"""Maximum number of changes on the first page; the care page and the message have all."""
PAGES = 3
"""Pages of a simple sheet without photos; with more, it is laid out again with less space."""
PHOTO_LINES = 6
"""Height of a photo, in lines of the list."""
PHOTO_PIXELS = 700
LOGO_PIXELS = 600


class CareSheet:
    """The contents of a care sheet.

    Args:
        wording: The words of the schedule.
        pictures: Bytes of the job's own pictures, by their name in the record.
        calendar: The owner's calendar, if it exists already.
    """

    def __init__(
        self, wording: Wording, pictures: Mapping[str, bytes], calendar: bytes | None = None
    ) -> None:
        self.wording = wording
        self.job = wording.job
        self.schedule = wording.schedule
        self.pictures = pictures
        self.calendar = calendar
        self.say = wording.say

    # ---- the head

    @property
    def title(self) -> str:
        """Return "Your new garage floor"."""
        return self.say("sheet.your", use=self.say(f"use.{slug(self.job.slab.use)}"))

    @property
    def document_title(self) -> str:
        """Return the title that a PDF viewer or browser shows."""
        return f"{self.say('sheet.name')}: {self.job.site.name}"

    @property
    def site_line(self) -> str:
        """Return the place and, if recorded, the owner."""
        owner = self.job.owner.name
        parts = (self.job.site.name, self.job.site.address, owner and self.say("sheet.for-owner", name=owner))
        return " · ".join(part for part in parts if part)

    @property
    def issued(self) -> str:
        """Return the day and hour of issue."""
        return self.wording.speak.moment(self.schedule.issued_at, year=True).text

    @cached_property
    def logo(self) -> str | None:
        """Return the contractor's logo as a data URL, if there is one."""
        return self._picture(self.job.contractor.logo, LOGO_PIXELS)

    def _picture(self, name: str | None, longest: int) -> str | None:
        if name is None or name not in self.pictures:
            return None
        return picture_uri(self.pictures[name], name, longest)

    @cached_property
    def code(self) -> QrCode | None:
        """Return the QR code, if there is one."""
        return sheet_code(self.wording)

    @cached_property
    def entries(self) -> CalendarLinks:
        """Return the links that add events to a phone's calendar."""
        return CalendarLinks(self.wording, self.calendar)

    @cached_property
    def changes(self) -> tuple[str, ...]:
        """Return the changes since the previous issue, one sentence each."""
        return change_sentences(self.wording)

    def foremost(self, most: int) -> tuple[str, ...]:
        """Return the most important changes, up to a maximum."""
        return foremost_changes(self.wording, most)

    @property
    def first_changes(self) -> tuple[str, ...]:
        """Return the most important changes, as many as fit on the first page."""
        return self.foremost(MAX_CHANGES)

    @property
    def rest_changes(self) -> tuple[str, ...]:
        """Return the other changes."""
        return without(self.changes, self.first_changes)

    @property
    def foremost_changes(self) -> tuple[str, ...]:
        """Return the most important changes, and how many more there are."""
        more = len(self.rest_changes)
        return (*self.first_changes, *([self.say("change.more", n=more)] if more else []))

    @property
    def pages_wanted(self) -> int:
        """Return the most pages of the sheet; where it has more, it is laid out again with less space."""
        return PAGES

    # ---- dates

    @cached_property
    def words_by_kind(self) -> dict[Kind, MilestoneWords]:
        """Return the dates by kind."""
        return {each.kind: each for each in self.wording.dates.milestones}

    @property
    def first(self) -> MilestoneWords | None:
        """Return the owner's first job."""
        return self.words_by_kind.get(Kind.FIRST_WATER)

    @property
    def first_when(self) -> DatePhrase | None:
        """Return when the first job begins: as its task does; without a task, as its date."""
        if (task := next_watering(self.schedule)) is not None:
            return self.wording.speak.moment(task.start)
        return self.first.when if self.first else None

    @property
    def first_hours(self) -> str:
        """Return all hours of the day of the first watering or look, and the next; empty without any."""
        hours = self._hours_of_next_day
        if not hours:
            return ""
        first = self.say("sheet.first-hours", hours=self.wording.speak.join_list(hours))
        return f"{first} {self.hours_after}".strip()

    @property
    def hours_after(self) -> str:
        """Return the hours that follow those of the next day, if within a day, and where all are."""
        tasks, speak = waterings_ahead(self.schedule), self.wording.speak
        same = len(self._hours_of_next_day)
        if len(tasks) == same:
            return ""
        last, after = tasks[same - 1], tasks[same]
        table = self.say("sheet.hours-in-table")
        if after.start.astimezone(UTC) - last.end.astimezone(UTC) > timedelta(days=1):
            return table
        hours = speak.short_span(after.start, after.end)
        then = self.say("sheet.hours-after", day=speak.weekday(after.start.date()), hours=hours)
        return f"{then} {table}"

    @property
    def first_text(self) -> str:
        """Return what the owner does at the first water, with the covers that come off before and go on."""
        words = self.words_by_kind[Kind.FIRST_WATER].sentence
        return " ".join(filter(None, (self.wording.visits.before_first, words, self.between)))

    @cached_property
    def ongoing(self) -> JobInProgress | None:
        """Return the owner's part if there is no first job, or if it is past at the time of issue."""
        special = self._question or self._covering or self._timer_job
        if special is not None:
            return special
        if self.first is not None and not self._is_past(self.first):
            return None
        if self.is_over:
            text = {each: self.say(f"your-part.over{each}") for each in ("", "-when", "-text")}
            return JobInProgress(self.say("sheet.first-done"), text[""], text["-when"], text["-text"])
        return self._next_visits or self._rest

    @property
    def _question(self) -> JobInProgress | None:
        """Return whether the slab was watered, where nobody asked for it in time."""
        if (missed := self.wording.visits.missed_water) is None:
            return None
        following = self._next_watering
        then = self.say("missed.next", when=following) if following else ""
        sentence = " ".join(filter(None, (missed.sentence, then, self.between)))
        start, eyebrow = self.schedule.issued_at, self.say("missed.eyebrow")
        return JobInProgress(eyebrow, missed.title, missed.when, sentence, start)

    @property
    def _covering(self) -> JobInProgress | None:
        """Return the cover against frost that comes next."""
        if (cover := self.wording.visits.cover) is None:
            return None
        return JobInProgress(self._first_or_next, cover.title, cover.when, cover.sentence, cover.start)

    @property
    def _timer_job(self) -> JobInProgress | None:
        """Return what the owner does next about the timer, as the calendar has it."""
        task = next_watering(self.schedule)
        if task is None or not task.how:
            return None
        event = event_of(self.wording, task)
        text = event.description.removesuffix(self.wording.events.closing(task)).replace("\n", " ").strip()
        when = self.wording.speak.moment(task.start).text
        return JobInProgress(self._first_or_next, event.work, when, text, task.start)

    @property
    def _first_or_next(self) -> str:
        """Return what a job is called that comes before, or after, the first water."""
        is_first = self.first is None or not self._is_past(self.first)
        return self.say("sheet.first-job" if is_first else "sheet.next-job")

    @property
    def _next_visits(self) -> JobInProgress | None:
        """Return the next waterings or looks."""
        if self.first is None or (task := next_watering(self.schedule)) is None:
            return None
        action = self.wording.visits.visit_at(task.start).action
        action = " ".join(filter(None, (self.hours_after, self.between, action)))
        title = self.say(f"your-part.{self.wording.dates.method}")
        return JobInProgress(self.say("sheet.next-job"), title, self._next_watering, action, task.start)

    @property
    def _rest(self) -> JobInProgress:
        """Return what lies on the slab, and until when."""
        if (laid := self.schedule.blankets_on) is not None and self.schedule.is_ahead(laid):
            return self._blankets_to_come(laid)
        part, ends = f"your-part.{self.wording.dates.method}", self.words_by_kind.get(Kind.CURING_ENDS)
        if self._blankets_off is not None:
            if self._is_past(self._blankets_off):
                part = "your-part.after-blankets"
            else:
                ends = self._blankets_off
        return JobInProgress(
            self.say("sheet.first-done"), self.say(part), self._until(ends), self.say(f"{part}-text")
        )

    def _blankets_to_come(self, laid: datetime) -> JobInProgress:
        """Return who lays the blankets and when, and that they then stay on."""
        part, ends = f"your-part.{self.wording.dates.method}", self._blankets_off
        known = None if ends is None or ends.when is None else ends
        until = self.say("cover.until-told") if known is None else self.when(known)
        stay = self.say("your-part.blankets-stay", until=until)
        return JobInProgress(
            self.say("sheet.first-done"),
            self.say("your-part.blankets-come"),
            self.say("your-part.blankets-from", when=self.wording.speak.moment(laid).text),
            f"{stay} {self.say(f'{part}-text')}",
        )

    @property
    def job_now(self) -> JobInProgress:
        """Return the owner's part now, be it the first job or what follows it."""
        if self.ongoing is not None:
            return self.ongoing
        first, sentence = self.words_by_kind[Kind.FIRST_WATER], self.first_text
        eyebrow = self.say("sheet.first-job" if self.wet else "sheet.first-done")
        if (when := self.first_when) is None:
            return JobInProgress(eyebrow, first.title, first.when_text, sentence)
        not_before = f"{self.say('milestone.words.not-before')} {when.text}"
        return JobInProgress(eyebrow, first.title, not_before, sentence, when.instant)

    @property
    def is_over(self) -> bool:
        """Return whether curing is over at the time of issue."""
        ends = self.words_by_kind.get(Kind.CURING_ENDS)
        return ends is not None and self._is_past(ends)

    @property
    def _next_watering(self) -> str:
        """Return the day and the hours of the next waterings or looks; empty if there is none."""
        task, speak = next_watering(self.schedule), self.wording.speak
        if task is None:
            return ""
        return f"{capitalise(speak.day(task.start.date()))}, {speak.join_list(self._hours_of_next_day)}"

    @property
    def _hours_of_next_day(self) -> list[str]:
        """Return the hours of the waterings or looks on the day of the next one."""
        tasks, speak = waterings_ahead(self.schedule), self.wording.speak
        day = tasks[0].start.date() if tasks else None
        return [speak.short_span(each.start, each.end) for each in tasks if each.start.date() == day]

    @property
    def _blankets_off(self) -> MilestoneWords | None:
        """Return when the blankets come off, if they cure the slab too."""
        if self.schedule.curing_method != "insulating blanket":
            return None
        return self.words_by_kind.get(Kind.PROTECTION_ENDS)

    def _is_past(self, words: MilestoneWords) -> bool:
        return words.when is not None and words.when.instant <= self.schedule.issued_at

    def _until(self, ends: MilestoneWords | None) -> str:
        if ends is None or ends.when is None:
            return self.say("your-part.until-told")
        return self.say("your-part.until", when=self.when(ends))

    @cached_property
    def main(self) -> tuple[SheetRow, ...]:
        """Return the main dates, in order of time."""
        kinds = (*MAIN_KINDS, Kind.FROST_SAFE, Kind.PROTECTION_ENDS, Kind.FREEZE_THAW)
        rows = (self._row(each) for each in self.wording.dates.owner_milestones if each.kind in kinds)
        return (
            *rows,
            *(self._withheld(each) for each in self.wording.dates.withheld if each.kind in MAIN_KINDS),
        )

    def _withheld(self, words: WithheldWords) -> SheetRow:
        return SheetRow(ICON_OF_KIND[words.kind], words.title, words.when, words.sentence, day=words.when)

    @property
    def warning(self) -> Notice | None:
        """Return the danger that must also be on the first page: cables that nobody may cut, or frost."""
        notices = self.wording.warnings.notices
        tendons = next((each for each in notices if each.code == "tendons"), None)
        return tendons or self.wording.warnings.bare_frost

    @property
    def front_facts(self) -> tuple[str, ...]:
        """Return what the first page says below the number to call: what hurts now, and the water left."""
        return (*self.front_dangers, *self.front_water)

    @property
    def front_dangers(self) -> tuple[str, ...]:
        """Return what hurts now, and how the room is kept."""
        return (*map(self.say, self._front_dangers), *self.room)

    @property
    def front_water(self) -> tuple[str, ...]:
        """Return the water that is left to give; none where nothing is watered."""
        visits = self.wording.visits
        amount = visits.amount_to_come if self.wet else ""
        key = "sheet.front-water-more" if visits.began else "sheet.front-water"
        return (self.say(key, amount=amount),) if amount else ()

    @property
    def room(self) -> tuple[str, ...]:
        """Return how the room is kept day and night, while the slab cures."""
        return tuple(self._room())

    def _room(self) -> Iterator[str]:
        cautions = {each.code: each for each in self.schedule.cautions}
        if self.is_over:
            return
        if (warm := cautions.get("room-heat")) is not None:
            [air] = (self.wording.quantities.figure(each) for each in warm.figures)
            yield self.say("sheet.front-room", room_air=air)
        if "room-closed" in cautions:
            yield self.say("sheet.front-closed")

    @property
    def _front_dangers(self) -> Iterator[str]:
        """Yield the key of each danger of the first page: dust only while sawing is ahead."""
        has = self.schedule.has_caution
        saws = self.wording.schedule.tasks_of("crew", Kind.SAW_JOINTS)
        if has("caustic"):
            yield "sheet.front-burns"
        if has("silica") and any(not is_over(self.schedule, each) for each in saws):
            yield "sheet.front-dust"
        if has("heaters"):
            yield "sheet.front-heater"

    def _row(self, words: MilestoneWords, title: str | None = None, sentence: str | None = None) -> SheetRow:
        when = words.when
        return SheetRow(
            icon=ICON_OF_KIND[words.kind],
            title=words.title if title is None else title,
            when=capitalise(self.when(words)),
            sentence=words.sentence if sentence is None else sentence,
            typical=words.typical,
            day=capitalise(self._day(words)),
            hour=when.hour if when and when.exact else "",
            kind=words.kind,
        )

    def when(self, words: MilestoneWords) -> str:
        """Return "9:30 in the morning, Wednesday, July 15", "Wednesday, July 22" or "Ask your contractor"."""
        return words.when.text if words.when and words.when.exact else self._day(words)

    def _day(self, words: MilestoneWords) -> str:
        return words.when.day if words.when else self.say("milestone.words.unknown")

    @cached_property
    def crew(self) -> tuple[str, ...]:
        """Return the return visits of the crew, one sentence each."""
        return crew_visits(self.wording)

    # ---- watering

    @cached_property
    def table(self) -> WateringTable:
        """Return the watering table without what is past at the time of issue."""
        return WateringTable(self.wording.reader, self.wording.visits.days_to_come)

    @property
    def days(self) -> tuple[DayWords, ...]:
        """Return the days of the watering table without what is past at the time of issue."""
        return self.table.days

    @property
    def left_out(self) -> str:
        """Return the note that the table leaves out past waterings; empty if there are none."""
        return self.say("sheet.left-out") if self.wording.visits.began else ""

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the parts of the day with something to do."""
        return self.table.columns

    def cells(self, day: DayWords) -> tuple[TableCell, ...]:
        """Return the cells of a day of the table."""
        return self.table.cells(day)

    def note_below(self, day: DayWords) -> str:
        """Return the note of a day below its hours; empty if it is beside them, or if there is none."""
        return self.table.note_below(day)

    @property
    def waters(self) -> bool:
        """Return whether there is anything to do in the table."""
        return bool(self.columns)

    @property
    def wet(self) -> bool:
        """Return whether the owner waters; covers may have replaced all water that is left."""
        return any(day.amount for day in self.wording.visits.days) and not self._is_dry_under_covers

    @property
    def ticks(self) -> bool:
        """Return whether each visit is ticked off; a timer keeps its hours by itself."""
        return not self.wording.visits.by_timer

    def tick(self, visit: VisitWords, day: str = "") -> Markup:
        """Return the attributes of the box of a visit; of one of several days alike, with that day."""
        return Markup('name="{}"').format(" ".join(filter(None, (self.job.id, visit.start.isoformat(), day))))

    @property
    def between(self) -> str:
        """Return the sentence about the cover between the waterings; empty where there is none."""
        return self.wording.visits.between

    @property
    def intro(self) -> str:
        """Return what to do with the watering table."""
        visits = self.wording.visits
        if visits.by_timer:
            again = self.schedule.timer_reset
            if again is not None:
                when = self.wording.speak.moment(again).text
                return self.say("sheet.watering-intro-timer-again", program=visits.program, when=when)
            key = (
                "sheet.watering-intro-timer-crew" if visits.is_timer_by_crew else "sheet.watering-intro-timer"
            )
            return self.say(key, program=visits.program)
        key = self.wording.variant("sheet.watering-intro") if self.wet else "sheet.watering-intro-cover"
        in_rain = self.job.slab.gets_rain and self.schedule.curing_method == SHEET
        return f"{self.say(key)} {self.say('sheet.look-in-rain') if in_rain else ''}".strip()

    @property
    def heading(self) -> str:
        """Return the heading of the watering."""
        key = "watering" if self.wet else "looking" if self.waters else "looking-plain"
        return self.say(f"sheet.{key}")

    @property
    def looks_ahead(self) -> bool:
        """Return whether the table extends past the forecast."""
        return any(day.typical for day in self.days)

    @property
    def without_days(self) -> str:
        """Return what stands in the place of the table where no day of it has anything to do."""
        if until := self.wording.visits.covered_until:
            return self.say("sheet.no-more-water", until=until)
        if self.left_out:
            return self.say("sheet.watering-over")
        parts = (self.say("sheet.no-watering"), self.last_words, self.if_weather_turns)
        return " ".join(part for part in parts if part)

    @property
    def last_words(self) -> str:
        """Return the sentence that says when the table ends."""
        at = self.wording.surface.coat_at
        covered = self.say("sheet.covers-before-coat", at=at) if at else ""
        words = self._blankets_off or self.words_by_kind.get(Kind.CURING_ENDS)
        if words is None or words.when is None:
            return covered
        key = "sheet.last-words-coat" if self.schedule.cure_mode == "coat" else "sheet.last-words"
        return f"{covered} {self.say(key, title=words.title, when=words.when.text)}".strip()

    @property
    def if_weather_turns(self) -> str:
        """Return what if it rains, freezes, or nobody is there for what is ahead; and on limits of water."""
        if self.wet and self.schedule.cure_mode == "wet":
            limits = "" if self.wording.visits.began else self.say("watering.limits")
            between = "" if self.between in self.job_now.sentence else self.between
            return " ".join(
                filter(None, (between, *what_if(self.say, *waterings_ahead(self.schedule)), limits))
            )
        rain = frost = ""
        if self.schedule.cure_mode == "coat" and self.job.slab.gets_rain:
            rain = self.say("if-rain.coat", hours=self.wording.speak.length(DRYING))
        elif self.schedule.covered_in_cold:
            frost = self.say("sheet.if-frost-blanket")
        return " ".join(filter(None, (rain, frost, self.wording.warnings.call_in_cold)))

    # ---- what stays off, what hurts

    @cached_property
    def stays_off(self) -> tuple[SheetRow, ...]:
        """Return what else must stay off, and until when: the first page has the uses of feet and wheels."""
        rows = [self._off(self.words_by_kind[kind]) for kind in LATER_KINDS if kind in self.words_by_kind]
        return (
            *rows,
            *(self._never(each) for each in self.wording.dates.withheld if each.kind in LATER_KINDS),
        )

    def _off(self, words: MilestoneWords) -> SheetRow:
        """Return when something may go on the slab."""
        return self._row(words, self.say(self.wording.dates.by_heat(f"stays-off.{words.kind}")))

    def _never(self, words: WithheldWords) -> SheetRow:
        return SheetRow(
            ICON_OF_KIND[words.kind], self.say(f"stays-off.{words.kind}"), words.when, words.sentence
        )

    @cached_property
    def cautions(self) -> tuple[SheetRow, ...]:
        """Return the cautions about what may hurt people."""
        return self._notices(hurts=True)

    @cached_property
    def remarks(self) -> tuple[SheetRow, ...]:
        """Return the other remarks about this slab."""
        blanket = self.wording.warnings.blanket
        cover = (SheetRow("frost", self.say("protection.title"), "", blanket),) if blanket else ()
        return (*cover, *self._notices(hurts=False))

    def _notices(self, *, hurts: bool) -> tuple[SheetRow, ...]:
        return tuple(
            SheetRow(ICON_OF_CAUTION.get(each.code, "mind"), each.title, "", each.text)
            for each in self.wording.warnings.notices
            if (each.code in HAZARD_CAUTIONS) == hurts and each.code not in OFFICE_ONLY_CAUTIONS
        )

    # ---- what was placed

    @cached_property
    def placed(self) -> tuple[tuple[str, str], ...]:
        """Return the facts of the slab: label and value."""
        return placement_facts(self.wording)

    @cached_property
    def walkthrough(self) -> tuple[WalkthroughRow, ...]:
        """Return the walk-through list, or the usual list for such a slab if the record has none."""
        if not self.job.walkthrough:
            return tuple(
                WalkthroughRow(self.say(f"look-at.{each}"), "")
                for each in walkthrough_items(self.job.slab.use, jointed=self.job.slab.is_jointed)
            )
        states = {True: "sheet.ok", False: "sheet.not-ok", None: "sheet.open"}
        return tuple(
            WalkthroughRow(
                self._item(each.item),
                self.say(states[each.ok]),
                each.note or "",
                self._picture(each.photo, PHOTO_PIXELS),
            )
            for each in self.job.walkthrough
        )

    def _item(self, item: str) -> str:
        """Return an item of the record in the reader's language, if it is a usual one as `new` writes it."""
        keys = {load_translations("en").say(f"look-at.{each}"): f"look-at.{each}" for each in all_items()}
        return self.say(keys[item]) if item in keys else item

    @property
    def walkthrough_lines(self) -> int:
        """Return the approximate number of lines of the list, for the layout of its page."""
        return sum(PHOTO_LINES if each.photo else 1 for each in self.walkthrough)

    @property
    def acknowledged(self) -> str:
        """Return who acknowledged the handover and when; empty if it is to be signed on paper."""
        word = self.job.acknowledgement
        if word is None:
            return ""
        speak = self.wording.speak
        day = speak.day(word.time, year=True)
        when = self.say("calendar-words.moment", hour=speak.hour(word.time), day=day)
        return self.say("sheet.acknowledged", name=word.name, when=when)

    # ---- long texts and pictures

    def text(self, name: str) -> Markup:
        """Return one of the program's Markdown texts in the reader's language as HTML."""
        return self._as_html(self._source(name))

    def _source(self, name: str) -> str:
        """Return such a text for this slab, by `slab`, whether it `dries` early, is `hot`, and so on."""
        text = fill_text(
            f"{self.wording.language}/{name}.md",
            self.wording.templates,
            slab=self.job.slab,
            dries=self.schedule.dries_before_frost,
            hot=float(self.schedule.weather.air_c.max()) >= general_rules()["water.hose-hot"],
            white=is_white_best(self.schedule, self.job),
            between=self.schedule.between.cover if self.schedule.between else "",
            by_crew=is_hose_by_crew(self.schedule),
            timer=self.wording.visits.by_timer,
            is_reset=self.schedule.timer_reset is not None,
            steep=self.schedule.has_caution("steep"),
            loops=self.wording.hose_loops,
            looks=self.waters,
            dry_looks=self.wording.visits.has_dry_looks,
            froze=self._froze,
            coat_at=self.wording.surface.coat_at,
            no_coat=self.schedule.is_covered_for_coat,
            seals=bool(self.job.curing.seals),
        )
        return self.wording.reader.local(text)

    def _as_html(self, source: str) -> Markup:
        import markdown  # noqa: PLC0415

        return Markup(markdown.markdown(source))  # noqa: S704 - our own text, never the record's

    def text_by_method(self, name: str) -> Markup:
        """Return such a list with the lines of the curing method."""
        mode = "cover" if self._is_dry_under_covers else self.schedule.cure_mode
        own = self._source(f"{name}-{mode}")
        return self._as_html(f"{self._source(name).rstrip()}\n{own}")

    @property
    def how(self) -> Markup:
        """Return how to water, or how to keep the cover, as HTML."""
        return self.text(
            "how/frost-cover" if self._is_dry_under_covers else f"how/{self.wording.dates.method}"
        )

    @property
    def _froze(self) -> str:
        """Return which frost is a reason to call; empty where the schedule knows of none."""
        if not may_freeze(self.schedule):
            return ""
        return self.say(f"sheet.call-frost{'-covered' if self._is_covered_in_frost else ''}")

    @property
    def _is_covered_in_frost(self) -> bool:
        """Return whether blankets lie on the slab in frost, so that frost alone is no reason to call."""
        protection = self.schedule.protection
        bare = () if protection is None else protection.blankets[:1]
        frost = any(each.freezes_from is not None for each in bare)
        return frost and self.schedule.curing_method == "insulating blanket"

    @property
    def _is_dry_under_covers(self) -> bool:
        """Return whether covers replace the water on every day of the plan that is left."""
        return self.wording.visits.is_dry_under_covers


HAZARD_CAUTIONS = (
    "caustic",
    "children-animals",
    "slips",
    "electricity",
    "silica",
    "nails",
    "heaters",
    "tendons",
    "frost",
)


def without(lines: Sequence[str], shown: Sequence[str]) -> tuple[str, ...]:
    """Return the lines that are not shown yet, in their order."""
    return tuple(each for each in lines if each not in shown)
