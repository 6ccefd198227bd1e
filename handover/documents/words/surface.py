"""The finished surface until its curing begins, in words: what the crew does, and what each way costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.documents.words.schedule_words import ScheduleWords
from handover.schedule.coat_after_cover import coat_begins, cover_on_coat, sprayed_by
from handover.schedule.cover_times import (
    SHEET_RAIN,
    bare_frost,
    is_sheet_in_doubt,
    is_soft,
    is_walkable,
    left_on_until_water,
    soft_top_cover,
    ways_left,
)
from handover.schedule.model import BURLAP, RAIN, MilestoneKind
from handover.schedule.printed_times import evening_of, half_hour_down
from handover.schedule.tasks import (
    COVER_FIRST,
    COVER_NOT_WATER,
    FROST_COVER,
    SHEET_BLANKETS,
    SHEET_LAY,
    SURFACE,
    WAIT,
    from_issue_on,
    is_sawing_over,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.schedule.model import Risk, SurfaceChoice, SurfaceTask

_NOW = {"fog-cover": "cover", "lay": "lay-now", "fog-lay": "lay-now", SHEET_LAY: "lay-now"}
"""The words of a way whose cover may go on now."""
_SHEETS = ("sheet", "sheet-overnight", SHEET_RAIN, SHEET_LAY)
"""Ways whose sheet goes on before the joints are cut."""
RETARDER = "evaporation-retarder"
"""The measure that only helps before the last pass."""


@dataclass(frozen=True)
class ChoiceWords:
    """One way to do the task: how, and what it costs."""

    how: str
    cost: str

    @property
    def line(self) -> str:
        """Both in one line."""
        return " ".join(filter(None, (self.how, self.cost)))


@dataclass(frozen=True)
class SurfaceWords:
    """The crew's task between the last pass and curing, in words.

    Attributes:
        title: "Keep the top damp until first water".
        why: Why it is needed, in one or two sentences; empty where the reason is plain.
        choices: The ways to do it, the usual one first.
        note: What else to mind; may be empty.
        owner: The same for the owner, in one or two sentences.
    """

    title: str
    why: str
    choices: tuple[ChoiceWords, ...]
    note: str
    owner: str

    @property
    def lines(self) -> tuple[str, ...]:
        """The reason, the ways with their costs, and the note, one line each."""
        return tuple(line for line in (self.why, *(each.line for each in self.choices), self.note) if line)


@dataclass(frozen=True)
class RainWords:
    """The cover of the fresh slab before likely rain: title, text, sentence for the owner."""

    title: str
    text: str
    owner: str


class SurfaceWording(ScheduleWords):
    """The crew's task of one schedule in the words of one reader."""

    @cached_property
    def task(self) -> SurfaceWords | None:
        """The task as planned, whether it is over or not."""
        task = self.schedule.surface
        return None if task is None else self._words(task, task.choices, begun=False)

    @cached_property
    def to_come(self) -> SurfaceWords | None:
        """The task as far as it is not over at the time of issue; what has begun, goes on from now."""
        task = self.schedule.surface
        if task is None:
            return None
        if is_sheet_in_doubt(self.schedule):
            return self._in_doubt(task)
        left = ways_left(self.schedule)
        return self._words(task, left, begun=not self.schedule.is_ahead(task.start)) if left else None

    def _in_doubt(self, task: SurfaceTask) -> SurfaceWords:
        """Return the question whether the sheet lies; the owner draws none over a slab that is too soft."""
        stays = f"surface.in-doubt.{SHEET_BLANKETS if self._is_under_blankets(task) else 'stays'}"
        way = self.say("surface.in-doubt.way", stays=self.say(stays, until=self._hour(task.until)))
        walk = is_walkable(self.schedule, self.schedule.issued_at)
        owner = self.say(f"surface.in-doubt.owner{'-walk' if walk else ''}")
        return SurfaceWords(self.say("surface.in-doubt.title"), "", (ChoiceWords(way, ""),), "", owner)

    @staticmethod
    def _is_under_blankets(task: SurfaceTask) -> bool:
        return task.choices[0].how == SHEET_BLANKETS

    @cached_property
    def in_hours(self) -> SurfaceWords | None:
        """The same for a calendar, which is read at any time: with the hour in place of "now"."""
        words = _SurfaceInHours(self.reader, self.job, self.schedule, self.dates, self.quantities)
        return words.to_come

    @property
    def coat_at(self) -> str:
        """When a compound that still waits under a cover against frost is sprayed; empty where none does."""
        begins = coat_begins(self.schedule)
        return "" if begins is None or not self.schedule.is_ahead(begins) else self._moment(begins)

    def sheet_under(self, start: datetime) -> str:
        """Return what lies under the cover against frost that goes on at an instant; mostly nothing."""
        task = self.schedule.surface
        if task is None or task.cover_from != start or task.choices[0].how not in COVER_FIRST:
            return ""
        return self.say("surface.sheet-under") if self.job.slab.covers else ""

    @cached_property
    def rains(self) -> tuple[RainWords, ...]:
        """The likely rains on the fresh surface that are not over at the time of issue, in order of time."""
        return tuple(
            self._rain(each)
            for each in self.schedule.risks
            if each.code == RAIN and self.schedule.is_ahead(each.end)
        )

    def _rain(self, rain: Risk) -> RainWords:
        start, is_same_day = self._moment(rain.start), rain.start.date() == rain.end.date()
        end = self.speak.hour(rain.end) if is_same_day else self._moment(rain.end)
        coats = self.schedule.cure_mode == "coat"
        text = self.say(
            "event.rain-cover.text-coat" if coats else "event.rain-cover.text",
            start=start,
            end=end,
            clear=self.clear_of_rain,
        )
        return RainWords(
            title=self.say("event.rain-cover.title"),
            text=f"{text} {self._rain_cover_ends(rain)}",
            owner=self.say(self._of_rain_cover("surface.rain-owner"), start=start),
        )

    @property
    def clear_of_rain(self) -> str:
        """How plastic against rain is held clear of a top that it would mark; where it cannot be, why not."""
        return self.say(f"event.rain-cover.clear{self._wide if self.job.slab.covers else ''}")

    def _rain_cover_ends(self, rain: Risk) -> str:
        """Return when plastic against rain comes off: where it is the cover of the last pass, with that."""
        task = self.schedule.surface
        if task is not None and task.choices[0].how == SHEET_RAIN and rain.start < task.until:
            return self.say("event.rain-cover.stays", until=self._moment(task.until))
        return self.say(self._of_rain_cover("event.rain-cover.off"))

    def _of_rain_cover(self, key: str) -> str:
        """Return the key of the words for plastic against rain: a sheet that cures, a top that it marks."""
        special = self._of_method(key)
        return f"{key}-marks" if special == key and not self.job.slab.covers else special

    def _words(self, task: SurfaceTask, choices: tuple[SurfaceChoice, ...], *, begun: bool) -> SurfaceWords:
        usual = choices[0]
        return SurfaceWords(
            title=self.say(self._title(task, usual)),
            why=" ".join(self._why(task)),
            choices=tuple(self._choice(each, task, first=each is usual, begun=begun) for each in choices),
            note=" ".join(self._notes(task, begun=begun)),
            owner=self._owner(task, begun=begun),
        )

    def _title(self, task: SurfaceTask, usual: SurfaceChoice) -> str:
        """Return the key of the title: of a way that replaces the work, else of the work."""
        special = f"surface.{usual.how}.title"
        return special if self.reader.has(special) else self._of_method(f"surface.{task.work}.title")

    def _why(self, task: SurfaceTask) -> Iterator[str]:
        """Yield until when the top may be bare; a coat says so with its hour."""
        if task.work == "damp" or (task.work == "cover" and task.not_after is not None):
            hours = {"dry": self._hour(task.not_after or task.start), "until": self._hour(task.until)}
            soon = task.not_after is None or task.not_after <= task.start
            yield self.say(f"surface.{task.work}.why{'-at-once' if soon else ''}", **hours)
        if task.work == "cover" and (frost := bare_frost(self.schedule)) is not None:
            yield self.say("surface.cover.why-frost", frost=self._hour(half_hour_down(frost)))

    def _choice(self, choice: SurfaceChoice, task: SurfaceTask, *, first: bool, begun: bool) -> ChoiceWords:
        between = self.schedule.between
        values = {
            "start": self._start(task, "from", begun=begun),
            "at": self._start(task, "at", begun=begun),
            "spray": self._start(task, "spray", begun=begun),
            "cover": self._hour(task.cover_from) if task.cover_from else "",
            "until": self._hour(task.until),
            "stays": self._stays(task),
            "clear": self.clear_of_rain if choice.how == SHEET_RAIN else self._clear,
            "what": self.say(f"surface.what.{slug(between.cover) if between else 'any'}"),
            "burlap": self.say(f"surface.burlap-{'dry' if bare_frost(self.schedule) else 'damp'}"),
        }
        coats = task.work == "compound"
        covers_now = begun and self._is_firm(task)
        freezes = bare_frost(self.schedule) is not None  # the reason names its hour
        if choice.how in (SHEET_LAY, SHEET_BLANKETS) and self._wide and freezes and not covers_now:
            values["at"] = self._before_frost
        now = _NOW if covers_now else {}
        waits = choice.how in WAIT
        key = f"surface.way.{'coat' if coats and not waits else now.get(choice.how, choice.how)}"
        values = {**values, "begins": self._hour(choice.start)}
        if choice.how in COVER_FIRST and not self.job.slab.covers:
            key = f"{key}-bare"
        if coats and not waits and task.not_after is not None and task.not_after > task.start:
            key = f"{key}-{self._time_left(choice, task, task.not_after)}"
            values = {**values, "dry": self._hour(task.not_after)}
        way = self.say(self._of_method(key), **values)
        way = way.rstrip()
        return ChoiceWords(capitalise(way) if first else self.say("surface.or", way=way), self._cost(choice))

    @property
    def _left_with_owner(self) -> str:
        """The end of the keys of words for a cover that the crew lays and the owner keeps; else empty."""
        between, laid = self.schedule.between, left_on_until_water(self.schedule)
        return f"-{slug(laid)}" if between and laid == between.cover else ""

    def _stays(self, task: SurfaceTask) -> str:
        """Return until when the cover stays; empty for burlap that the owner waters and leaves on."""
        if self._left_with_owner == f"-{slug(BURLAP)}":
            return ""
        return self.say("surface.in-doubt.stays", until=self._hour(task.until))

    @property
    def _before_frost(self) -> str:
        """When a sheet goes over a soft top: as late as frost allows, and before blankets that lie on it."""
        frost = bare_frost(self.schedule)
        covers = self.schedule.tasks_of("crew", FROST_COVER, COVER_NOT_WATER)
        first = min((each.start for each in covers), default=None)
        if first is None or frost is None or first > frost:
            return self.say("surface.at.late")
        return self.say("surface.at.before-blankets", blankets=self._hour(first))

    @property
    def _wide(self) -> str:
        """The end of the keys of words for a slab that no board crosses; empty for a narrow one."""
        return "" if soft_top_cover(self.job) == "boards" else "-wide"

    @property
    def _clear(self) -> str:
        """How a sheet is held clear of a top that it would mark; where it cannot be, why it lies there."""
        frost = "-frost" if self._wide and bare_frost(self.schedule) is not None else ""
        return self.say(f"surface.clear{self._wide}{frost}")

    def _time_left(self, choice: SurfaceChoice, task: SurfaceTask, by: datetime) -> str:
        """Return whether the crew can do it "by" an hour, "short" in part, or is too "late" for it.

        Time counts from the last pass or the time of issue on; an hour that is printed as that time is over.
        """
        begins = max(task.start, self.schedule.issued_at.astimezone(task.start.tzinfo))
        if half_hour_down(by) <= half_hour_down(begins):
            return "late"
        return "by" if begins + timedelta(hours=choice.crew_hours) <= by else "short"

    def _cost(self, choice: SurfaceChoice) -> str:
        length = self.speak.length(_to_half_hour(choice.crew_hours))
        if not choice.litres:
            return self.say("surface.cost", length=length)
        return self.say("surface.cost-water", length=length, amount=self.quantities.amount(choice.litres))

    def _is_firm(self, task: SurfaceTask) -> bool:
        return task.cover_from is not None and not self.schedule.is_ahead(task.cover_from)

    def _notes(self, task: SurfaceTask, *, begun: bool) -> Iterator[str]:
        yield from self._night
        if task.work == "compound":
            yield from self._coat_notes()
            return
        if any(each.code == RETARDER and self.schedule.is_ahead(each.end) for each in self.schedule.risks):
            yield self.say("surface.retarder")
        if not self.job.slab.covers:
            yield self.say(self._of_method("surface.no-cover"))
        if self._is_under_blankets(task) and self._is_sawn_after(task.start):
            yield self.say("surface.sheet-blankets-saw")
        if task.cover_from is None:
            return
        yield from self._frost_notes(task)
        if self.schedule.between is not None and task.work != "cover":
            yield self.say(f"surface.stays-between{self._left_with_owner}")
        is_sawn = self._is_sawn_after(task.start)
        if not (begun and self._is_firm(task)):
            step = "surface.no-step-saw" if is_sawn else "surface.no-step"
            yield self.say(step, cover=self._hour(task.cover_from))
        if is_sawn:
            yield self.say("surface.saw-sheet" if task.choices[0].how in _SHEETS else "surface.saw")

    def _frost_notes(self, task: SurfaceTask) -> Iterator[str]:
        """Yield what holds for the cover that is laid where the bare top may freeze in the first day."""
        if self._freezes_before(task):
            yield self.say(f"surface.sheet-frost{self._wide}")
        if self.schedule.curing_method == BURLAP and bare_frost(self.schedule) is not None:
            yield self.say("surface.burlap-frost")

    def _is_sawn_after(self, start: datetime) -> bool:
        """Return whether joints may be cut after a time, by their last hour or by a trial cut alone."""
        if is_sawing_over(self.schedule):
            return False
        saw = self.schedule.milestone(MilestoneKind.SAW_JOINTS)
        is_tried = self.dates.undated_saw is not None
        return is_tried or (saw is not None and saw.not_after is not None and saw.not_after > start)

    def _freezes_before(self, task: SurfaceTask) -> bool:
        """Return whether a sheet that is held clear of the top must keep a frost off until it lies flat."""
        frost, flat = bare_frost(self.schedule), task.cover_from
        return task.choices[0].how == SHEET_LAY and frost is not None and flat is not None and frost < flat

    @property
    def _night(self) -> Iterator[str]:
        """Yield that the crew comes back for it at night, by the day of the evening before."""
        for each in self.schedule.tasks_of("crew", SURFACE):
            evening = evening_of(each.start) if "night" in each.notes else None
            if evening is not None:
                night = self.say("milestone.words.night", day=self.speak.weekday(evening))
                yield f"{capitalise(night)}."

    def _coat_notes(self) -> Iterator[str]:
        """Yield what holds where the spraying comes too late to dry before a cover against frost."""
        cover = cover_on_coat(self.schedule)
        if cover is None:
            return
        key = "surface.coat-late" if self.job.slab.covers else "surface.coat-late-bare"
        yield self.say(key, late=self._hour(sprayed_by(cover)), cover=self._hour(cover))

    def _owner(self, task: SurfaceTask, *, begun: bool) -> str:
        way = task.choices[0]
        if way.how in WAIT:
            return self.say(f"surface.{way.how}-owner", at=self._hour(way.start))
        if task.work == "compound":
            return self.say("surface.coat-owner", spray=self._start(task, "spray", begun=begun))
        if way.how == SHEET_BLANKETS:
            return self.say("surface.sheet-blankets-owner")
        if task.work == "cover":
            bridged = task.choices[0].how == SHEET_LAY and not (begun and self._is_firm(task))
            key = self._of_method(f"surface.sheet-lay-owner{self._wide}" if bridged else "surface.lay-owner")
            return self.say(key, at=self._hour(task.cover_from or task.start))
        fog = "surface.fog-owner" if self.job.slab.covers else "surface.no-cover-owner"
        laid = left_on_until_water(self.schedule)
        key = fog if laid is None else f"surface.cover-owner{self._left_with_owner}"
        return self.say(key, until=self._moment(task.until))

    def _of_method(self, key: str) -> str:
        """Return the key of the words for the cover that cures the slab, where there are any."""
        special = f"{key}--{slug(self.schedule.curing_method)}"
        return special if self.reader.has(special) else key

    def _start(self, task: SurfaceTask, phrase: str, *, begun: bool) -> str:
        """Return the hour of the last pass: "from 4:00 in the afternoon", or that it is now.

        As long as nobody knows that it is done, that is when it is done, and about which hour.
        """
        if begun:
            waits = not task.finish_recorded and is_soft(self.schedule, self.schedule.issued_at)
            return self.say(f"surface.{phrase}.pass") if waits else self._now(phrase)
        kind = "exact" if task.finish_recorded else "after-pass"
        return self.say(f"surface.{phrase}.{kind}", hour=self._hour(task.start))

    def _now(self, phrase: str) -> str:
        return self.say(f"surface.{phrase}.now")

    def _hour(self, when: datetime) -> str:
        """Return an hour; with its day if that is not the day of the pour."""
        placed = self.schedule.placement_start.astimezone(when.tzinfo)
        return self.speak.hour(when) if when.date() == placed.date() else self._moment(when)

    def _moment(self, when: datetime) -> str:
        return self.speak.moment(when).text


class _SurfaceInHours(SurfaceWording):
    """The words with the hour of the crew's task in place of "now"."""

    def _now(self, phrase: str) -> str:
        [task] = self.schedule.tasks_of("crew", SURFACE)
        # A sheet that is laid later is held over it at once.
        return self.say(f"surface.{phrase}.exact", hour=self._hour(from_issue_on(self.schedule, task)))


def _to_half_hour(hours: float) -> timedelta:
    """Return a length of time to the half hour, up: a minute more or less says nothing."""
    return timedelta(minutes=30 * -(-round(hours * 60) // 30))
