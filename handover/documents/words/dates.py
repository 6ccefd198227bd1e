"""The dates of a schedule in words: what may be done, from when, and why not earlier."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.documents.quantity_format import format_percentage
from handover.documents.translations import slug
from handover.schedule.cover_times import (
    ON_FOOT,
    UNDER_COVER,
    first_visit,
    is_covered_at,
    is_covered_between_waterings,
    is_dry_look,
    is_folded_back,
    is_hose_by_crew,
    sheet_after_blankets,
)
from handover.schedule.date_dependencies import WHEELS
from handover.schedule.mild_month import first_mild_month
from handover.schedule.model import PONDING, MilestoneKind, PrintedTime
from handover.schedule.owner_dates import is_cold, owner_kinds
from handover.schedule.printed_times import (
    evening_of,
    in_stages,
    last_cut,
    monday_up,
    printed_not_before,
    printed_time,
    round_to,
    trial_cut,
)
from handover.schedule.salt_season import first_cold
from handover.schedule.tasks import (
    BLANKETS_OFF,
    FROST_COVER,
    UNDATED,
    cover_tasks,
    covers_at,
    is_laid_by_crew,
    is_pond_filled_by,
    is_to_lie,
    staying_cover,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.words.reader import Reader
    from handover.schedule.model import CureSchedule, Milestone, Refusal
    from handover.weather.location import HasLocation


KEPT_FROM_FROST = (MilestoneKind.FROST_SAFE, MilestoneKind.PROTECTION_ENDS)
"""Dates until which the slab is covered against frost."""

POND = "milestone.words.under-cover--ponding"
IN_POND = "milestone.words.in-pond"
NO_STEP = ("milestone.words.under-cover", POND, IN_POND)
"""The words of covers on which nobody steps, of a pond to come, and of one that stands there."""

FOLDED = "milestone.words.fold-cover"
"""The words of a cover in place of water on a slab past cold protection."""

BY_ESTIMATE = ("heavy-vehicles.age", "heavy-vehicles.strength-share")
"""Conditions of trucks that cylinders can show to be met sooner."""

SEALER_SEASON = "seal.mild-days"
"""Condition of a sealer on a slab that is not indoors: the season meets it."""

HOUSE_DRIVE = "heavy-vehicles.house-drive"
"""Condition of trucks that is a time alone."""

INSTEAD_OF_A_DATE = {
    "engineer-decides-tendons": "stays-off.engineer",
    "use-unknown": "milestone.words.unknown",
    "dries-under-a-roof": "stays-off.roof",
}
"""The words in the place of a date that is not given, by the refusal; for all others, that it never is."""


@dataclass(frozen=True)
class MilestoneWords:
    """One date in words.

    Attributes:
        kind: Which.
        title: What the owner may do, or what happens: "Walk on it".
        sentence: What that means, in one to three short sentences.
        crew_title: The same in the crew's words.
        when: The date before which it is not allowed; None if past the estimate.
        not_after: The date after which it is too late, where there is one.
        when_text: "Not before 2:00 in the afternoon, Tuesday, July 14", or "Ask your contractor".
        reason: The rule that governed, in words.
        typical: Whether weather past the forecast may still move the date.
        in_stages: Whether the part placed first is too late before the part placed last is ready.
        trial: For sawing, the hour of the first trial cut.
        share: For sawing, the share of the estimates that allow `when`: "90%".
        last_cut: For sawing, the last hour of all parts of the slab.
        night: For sawing whose best hour is to come at night: "night work, Tuesday night"; else empty.
        begun: For sawing, whether the hour of the first trial cut is past at the time of issue.
        is_best_past: For sawing, whether `when` is past, too.
    """

    kind: MilestoneKind
    title: str
    sentence: str
    crew_title: str
    when: DatePhrase | None
    not_after: DatePhrase | None
    when_text: str
    reason: str
    typical: bool
    in_stages: bool
    trial: DatePhrase | None = None
    share: str = ""
    last_cut: datetime | None = None
    night: str = ""
    begun: bool = False
    is_best_past: bool = False


@dataclass(frozen=True)
class UndatedSawWords:
    """What the crew does about joints of which no hour could be computed.

    Attributes:
        title: The owner's name of the date.
        why: Why there is no hour, in one sentence.
        how: The trial cut, in one sentence.
        owner: When the crew tries it, for the owner, in one sentence.
        start: When the slab has likely set, to the half hour before; None: past the estimate.
    """

    title: str
    why: str
    how: str
    owner: str
    start: datetime | None


@dataclass(frozen=True)
class WithheldWords:
    """A date that the program does not give: its name, the text in its place, and why."""

    kind: MilestoneKind
    title: str
    when: str
    sentence: str


class DateWording:
    """The dates of one schedule in the words of one reader."""

    def __init__(
        self,
        reader: Reader,
        schedule: CureSchedule,
        *,
        is_heated: bool = True,
        has_timer: bool = False,
        site: HasLocation | None = None,
        seals: bool = False,
        rise: str = "",
        method: str = "",
    ) -> None:
        self.schedule = schedule
        self.is_heated = is_heated
        self.has_timer = has_timer
        self.site = site
        self.seals = seals
        self.say = reader.say
        self.speak = reader.speak
        self.has = reader.has
        self.rise = rise
        self.method = slug(method or schedule.curing_method)

    # ---- which dates

    @cached_property
    def milestones(self) -> tuple[MilestoneWords, ...]:
        """Every date of the schedule, in the schedule's order."""
        return tuple(map(self._milestone, self.schedule.milestones))

    @cached_property
    def cold(self) -> bool:
        """Whether the slab is placed or cures in the cold: only then does an owner read about frost."""
        return is_cold(self.schedule)

    @cached_property
    def owner_kinds(self) -> tuple[MilestoneKind, ...]:
        """The kinds of date that the owner's documents show."""
        return owner_kinds(self.schedule, is_heated=self.is_heated)

    @property
    def crew_milestones(self) -> tuple[MilestoneWords, ...]:
        """Every date, except frost-safe if no frost threatens, in the schedule's order."""
        return tuple(each for each in self.milestones if self.cold or each.kind != MilestoneKind.FROST_SAFE)

    @cached_property
    def owner_milestones(self) -> tuple[MilestoneWords, ...]:
        """The dates that an owner reads, in order of time; those past the estimate come last."""
        known = {each.kind: each for each in self.milestones}
        worded = [known[kind] for kind in self.owner_kinds if kind in known]
        return tuple(
            sorted(worded, key=lambda each: (each.when is None, each.when and each.when.instant.timestamp()))
        )

    @cached_property
    def withheld(self) -> tuple[WithheldWords, ...]:
        """The dates that are not given, in the order of the schedule."""
        return tuple(
            WithheldWords(
                kind=MilestoneKind(each.kind),
                title=self.refused(each),
                when=self.say(self.by_heat(INSTEAD_OF_A_DATE.get(each.because, "stays-off.never"))),
                sentence=self.refusal(each),
            )
            for each in self.schedule.refusals
            if each.kind in set(MilestoneKind)
        )

    @cached_property
    def undated_saw(self) -> UndatedSawWords | None:
        """What the crew does where joints are sawn and there is no hour; None once the slab bears feet."""
        found = (
            each for each in self.schedule.tasks_of("crew", MilestoneKind.SAW_JOINTS) if each.how == UNDATED
        )
        task = next(found, None)
        if task is None:
            return None
        start = None if task.all_day else task.start
        likely = "-likely" if start else ""
        when = self.speak.moment(start).text if start else ""
        return UndatedSawWords(
            title=self.title(MilestoneKind.SAW_JOINTS),
            why=self.say("saw-undated.why-spread" if start else "saw-undated.why-set"),
            how=self.say(f"saw-undated.how{likely}", when=when),
            owner=self.say(f"saw-undated.owner{likely}", when=when),
            start=start,
        )

    @property
    def saw_in_room(self) -> str:
        """For which room the hours of the saw hold, where its air is assumed; empty anywhere else."""
        room, saw = self.schedule.room, self.schedule.milestone(MilestoneKind.SAW_JOINTS)
        if room is None or room.state == "stated" or saw is None or saw.not_before is None:
            return ""
        return self.say("saw-room.unknown" if room.state == "unknown" else "saw-room.warmest")

    @property
    def nails(self) -> str:
        """Who stays away until the boards of the edges are cleared; empty where none come off."""
        strips = self.schedule.milestone(MilestoneKind.STRIP_EDGE_FORMS) is not None
        return self.say("milestone.words.nails") if strips else ""

    def once_lifted(self, kind: MilestoneKind) -> str:
        """Return that a use on foot waits for the crew to lift the blankets that hold it back; else empty.

        The crew may lift them later than planned: the hour alone would have people step on them.
        """
        milestone = self.schedule.milestone(kind)
        if milestone is None or milestone.not_before is None:
            return ""
        is_held = milestone.because.governing.rule.endswith(UNDER_COVER)
        is_lifted = any(
            self.schedule.is_ahead(each.end) and each.start <= milestone.not_before
            for each in self.schedule.tasks_of("crew", BLANKETS_OFF)
        )
        return self.say("milestone.words.once-lifted") if is_held and is_lifted else ""

    @cached_property
    def blankets_left_on(self) -> str:
        """The week until which blankets would stay on for repeated frost; empty where none is known."""
        protection, placed = self.schedule.protection, self.schedule.placement_end
        left_on = None if protection is None else protection.left_on
        when = None if left_on is None else left_on.not_before
        if when is None or not self.schedule.is_ahead(when):
            return ""
        printed = PrintedTime(monday_up(when.astimezone(ZoneInfo(self.schedule.timezone))), "week")
        return self.speak.printed_time(printed, placed).text

    # ---- one date

    def milestone(self, milestone: Milestone) -> MilestoneWords:
        """Return one date in words; the words of a date are computed once."""
        known = zip(self.schedule.milestones, self.milestones, strict=True)
        return next((words for each, words in known if each is milestone), None) or self._milestone(milestone)

    def _milestone(self, milestone: Milestone) -> MilestoneWords:
        placed = self.schedule.placement_end
        printed = printed_time(milestone, placed)
        when = None if printed is None else self.speak.printed_time(printed, placed)
        after = None if milestone.not_after is None else self.speak.not_after(milestone.not_after)
        not_before = self.say("milestone.words.not-before")
        trial, share = trial_cut(milestone), milestone.confidence
        is_best_past = bool(trial and when and not self.schedule.is_ahead(when.instant))
        return MilestoneWords(
            kind=milestone.kind,
            title=self.title(milestone.kind),
            sentence=self._sentence(milestone) if when else self._past_estimate(milestone),
            crew_title=self._of_kind(milestone.kind, "crew"),
            when=when,
            not_after=after,
            when_text=f"{not_before} {when.text}" if when else self.say("milestone.words.unknown"),
            reason=self.rule(milestone.because.governing.rule),
            typical=printed is not None and printed.may_move,
            in_stages=in_stages(milestone, self.schedule.joints),
            trial=self.speak.moment(trial) if trial else None,
            share=format_percentage(share, 2, self.speak.locale) if trial and share else "",
            last_cut=last_cut(milestone, self.schedule.joints) if trial else None,
            night=self._night(when.instant) if when and trial and not is_best_past else "",
            begun=trial is not None and not self.schedule.is_ahead(trial),
            is_best_past=is_best_past,
        )

    def _night(self, begin: datetime) -> str:
        """Return the words of work that begins at night, by the day of its evening; empty by day."""
        evening = evening_of(begin)
        return self.say("milestone.words.night", day=self.speak.weekday(evening)) if evening else ""

    @property
    def _is_weak(self) -> bool:
        """Whether weak cylinders put a date past the estimate."""
        return self.schedule.has_caution("not-reached-weak")

    @property
    def _may_freeze(self) -> bool:
        """Whether a slab that is kept wet or covered may freeze while it is too weak for a first frost."""
        frosts = self.schedule.has_caution("frost")
        return frosts and self.schedule.cure_mode != "coat"

    @property
    def _is_covered_ahead(self) -> bool:
        """Whether blankets cure the slab, or a cover against frost is in the plan from now on."""
        covers = (is_to_lie(self.schedule, each) for each in cover_tasks(self.schedule))
        return self.schedule.curing_method == "insulating blanket" or any(covers)

    def _is_covered_by_crew(self, milestone: Milestone) -> bool:
        """Return whether covers of the crew alone keep frost off until a date."""
        covers = [each for each in cover_tasks(self.schedule) if is_to_lie(self.schedule, each)]
        spans = [each.span for each in covers if each.span is not None]
        when = milestone.not_before
        lies = any(each.end is None or (when is not None and when <= each.end) for each in spans)
        return lies and all(map(is_laid_by_crew, covers))

    def _past_estimate(self, milestone: Milestone) -> str:
        """Return what to do for a date past the estimate; for trucks, that a test may show it."""
        if _is_under_cover_for_long(milestone):
            return self.say("milestone.words.unknown-covered")
        if self._is_weak:
            return self.say("milestone.words.unknown-weak")
        if milestone.kind == MilestoneKind.SEAL:
            return self._seal_later(milestone)
        if milestone.kind == MilestoneKind.FREEZE_THAW and self.blankets_left_on:
            return self._of_kind(milestone.kind, "left-on", until=self.blankets_left_on)
        special = self.variant(f"milestone.{milestone.kind}", ".unknown")
        if milestone.kind == MilestoneKind.CURING_ENDS and self._may_freeze:
            special = f"milestone.{milestone.kind}.unknown-frost"
        unknown = self.say(special if self.has(special) else "milestone.words.unknown-sentence")
        is_by_test = milestone.because.governing.rule in BY_ESTIMATE
        return f"{unknown} {self.say('milestone.words.by-test')}" if is_by_test else unknown

    @property
    def _latitude(self) -> float | None:
        """Latitude of the site in degrees, where it is known."""
        return self.site.latitude if self.site else None

    def _seal_later(self, milestone: Milestone) -> str:
        """Return when to ask again about a sealer that has no date: in a month, or once curing is over."""
        if milestone.because.governing.rule != SEALER_SEASON:
            return self.say("milestone.seal.unknown-wet")
        placed = self.schedule.placement_end
        month = first_mild_month(milestone, placed, self.site) if self.site else None
        if month is None:
            return self.say("milestone.seal.unknown")
        return self.say("milestone.seal.unknown-until", month=self.speak.month(month, placed))

    def _seal(self, milestone: Milestone) -> str:
        """Return how to seal; the coat of a compound comes off first, unless it is a sealer itself."""
        key = ""
        if milestone.because.governing.rule == SEALER_SEASON:
            key = "--too-cold"
        elif self.is_heated and any(each.rule == SEALER_SEASON for each in milestone.because.others):
            when = milestone.not_before
            in_winter = when is not None and first_cold(when, self._latitude) == when
            key = "--winter" if in_winter else "--outdoors"
        sentence = self.say(f"milestone.seal{key}.sentence")
        if self.schedule.cure_mode != "coat":
            return sentence
        coat = self.say("milestone.words.coat-seals" if self.seals else "milestone.words.coat-off")
        return f"{coat} {sentence}"

    def _sentence(self, milestone: Milestone) -> str:
        """Return what a date means; for a use under a cover, with what becomes of the cover."""
        if special := self._sentence_of_its_own(milestone):
            return special
        if milestone.kind == MilestoneKind.FREEZE_THAW and self.blankets_left_on:
            return self._of_kind(milestone.kind, "left-on", until=self.blankets_left_on)
        part = "sentence-frost" if self._is_dry_look(milestone) else "sentence"
        more = self._warming() if milestone.kind == MilestoneKind.HEATING else ()
        parts = (
            self.once_lifted(milestone.kind),
            self._of_kind(milestone.kind, part),
            self._between_waterings(milestone),
            self._waits_for_cover(milestone),
            *more,
        )
        sentence = " ".join(filter(None, parts))
        if milestone.kind == MilestoneKind.FIRST_WATER and milestone.not_after is not None:
            late = self.speak.not_after(milestone.not_after).text
            return f"{sentence} {self.say('milestone.words.too-dry', when=late)}"
        if milestone.kind == MilestoneKind.HEAVY_VEHICLES:
            return " ".join([*self._weeks(milestone), sentence])
        stays = milestone.kind == MilestoneKind.CURING_ENDS and self.seals
        coat = self.say("milestone.words.coat-stays") if stays else ""
        after = (
            self._under_cover(milestone),
            self._timer_off(milestone),
            self._cover_comes_off(milestone),
            coat,
        )
        return " ".join(filter(None, (sentence, *after)))

    def _waits_for_cover(self, milestone: Milestone) -> str:
        """Return that only the cover holds wheels back; empty where something else does.

        A colder slab, whose sheet frost takes off early, may have an earlier date: this is why.
        """
        because = milestone.because
        is_held = milestone.kind in WHEELS and because.governing.rule == f"{milestone.kind}.cover-off"
        if not is_held or because.governing.not_before is None:
            return ""
        day = timedelta(days=1)
        ready = [each.not_before for each in because.others]
        is_ready = all(each is not None and each + day <= because.governing.not_before for each in ready)
        return self.say(self.variant("milestone.words.waits-for-cover")) if is_ready else ""

    def _sentence_of_its_own(self, milestone: Milestone) -> str:
        """Return what a date means where this slab asks for other words; empty where it does not."""
        if milestone.kind == MilestoneKind.SEAL:
            return self._seal(milestone)
        if milestone.kind == MilestoneKind.FIRST_WATER:
            return self._first_water
        if milestone.kind == MilestoneKind.DEICING_SALT and not self.is_heated:
            return self.say("milestone.deicing-salt.sentence-mild")
        if milestone.kind in KEPT_FROM_FROST and self._is_covered_by_crew(milestone):
            return self.say("milestone.words.crew-covers")
        if milestone.kind in KEPT_FROM_FROST and not self._is_covered_ahead:
            return self.say("milestone.words.no-frost")
        return ""

    def _under_cover(self, milestone: Milestone) -> str:
        """Return what becomes of the cover on the slab at a use; empty where none lies there."""
        key = self._under_cover_key(milestone)
        return self.say(key) if key else ""

    def _under_cover_key(self, milestone: Milestone) -> str:
        when = milestone.not_before
        if _is_under_cover_for_long(milestone):
            return NO_STEP[0]
        if milestone.kind not in ON_FOOT or when is None:
            return ""
        over = [each for each in cover_tasks(self.schedule) if covers_at(each, when)]
        if over:
            frosts = any(each.kind == FROST_COVER for each in over)
            return FOLDED if is_folded_back(self.schedule, when, has_frosts=frosts) else NO_STEP[0]
        if self._cover_between_waterings(milestone) == "plastic sheet":  # wet burlap bears feet
            return self.variant("between.step")
        if not is_covered_at(self.schedule, when):
            return ""
        key = self.variant(NO_STEP[0])  # a sheet alone may be folded back; blankets may not
        return IN_POND if key == POND and is_pond_filled_by(self.schedule, when) else key

    def no_step(self, kind: MilestoneKind) -> str:
        """Return that nobody steps on the cover that lies on the slab at a use; empty where they may."""
        milestone = self.schedule.milestone(kind)
        key = self._under_cover_key(milestone) if milestone else ""
        return self.say(key) if key in NO_STEP else ""

    def _timer_off(self, milestone: Milestone) -> str:
        """Return that the timer is turned off when curing ends; empty where none waters."""
        waters = self.has_timer and any(day.visits and day.litres for day in self.schedule.watering)
        ends = milestone.kind == MilestoneKind.CURING_ENDS
        return self.say("milestone.words.timer-off") if waters and ends else ""

    def _cover_comes_off(self, milestone: Milestone) -> str:
        """Return how the cover between waterings comes off after the last of them; empty where none lies."""
        cover = self.schedule.between
        ends = milestone.kind == MilestoneKind.CURING_ENDS and not self.schedule.dries_before_frost
        return self.say(self.variant(f"between.ends.{slug(cover.cover)}")) if cover and ends else ""

    def _is_dry_look(self, milestone: Milestone) -> bool:
        """Return whether the first look under a sheet adds no water in any case: a frost is near."""
        if milestone.kind != MilestoneKind.FIRST_WATER:
            return False
        visits = (visit for day in self.schedule.watering for visit in day.visits)
        first = next(visits, None)
        return first is not None and is_dry_look(self.schedule, first)

    @property
    def _first_water(self) -> str:
        """What the first water is under a timer, or of a pond on a slope; empty where it is as usual."""
        if self._is_timer_by_crew:
            return self.say("milestone.first-water.sentence-timer")
        no_pond = self.schedule.curing_method == PONDING and self.schedule.has_caution("steep")
        return self.say("visit.ponding.action-steep") if no_pond else ""

    @property
    def _is_timer_by_crew(self) -> bool:
        """Return whether the crew lays a soaker hose with a timer, so that the owner starts nothing."""
        return self.has_timer and is_hose_by_crew(self.schedule)

    def _warming(self) -> Iterator[str]:
        """Yield how fast the water may get warmer, and what to do first where it may have frozen."""
        if self.rise:
            yield self.say("milestone.words.heating-rise", rise=self.rise)
        if self.schedule.has_caution("pipes-freeze"):
            yield self.say("milestone.words.heating-froze")

    def _between_waterings(self, milestone: Milestone) -> str:
        """Return how the cover between waterings makes room for wheels; empty where it is not used then."""
        cover = self._cover_between_waterings(milestone) if milestone.kind in WHEELS else ""
        return self.say(self.variant(f"between.wheels.{slug(cover)}")) if cover else ""

    def _cover_between_waterings(self, milestone: Milestone) -> str:
        """Return the cover between waterings at a date; empty where none is used then."""
        cover, printed = self.schedule.between, printed_time(milestone, self.schedule.placement_end)
        if cover is None or printed is None:
            return ""
        return cover.cover if is_covered_between_waterings(self.schedule, printed.instant) else ""

    def _weeks(self, milestone: Milestone) -> Iterator[str]:
        """Yield the range of weeks of an estimate, and that a test may show it sooner; or why it is fixed."""
        if milestone.because.governing.rule == HOUSE_DRIVE:
            yield self.say("milestone.words.house-drive")
        if milestone.because.governing.rule not in BY_ESTIMATE:
            return
        if milestone.likely is not None and milestone.not_before is not None:
            placed, printed = (
                self.schedule.placement_end,
                printed_time(milestone, self.schedule.placement_end),
            )
            if printed is not None and printed.precision in {"week", "half-month"}:
                likely = round_to(printed.precision, milestone.likely, milestone.kind, placed)
                first, last = (
                    self.speak.printed_time(replace(printed, instant=each), placed)
                    for each in (likely, printed.instant)
                )
                if first.text != last.text:
                    yield self.say("milestone.words.weeks", first=first.text, last=last.text)
        yield self.say("milestone.words.by-test")

    def title(self, kind: MilestoneKind) -> str:
        """Return the owner's name of a date: "Walk on it"."""
        return self._of_kind(kind, "title")

    def short_title(self, kind: MilestoneKind) -> str:
        """Return the name of a date for the charts: "Walk"."""
        return self.say(self.variant(f"milestone.short.{kind}"))

    def flag_title(self, kind: MilestoneKind) -> str:
        """Return the name of a date for its flag: "Walk", "Walk, not on a cover"."""
        title = self.short_title(kind)
        return self.say(self.variant("milestone.short.no-step"), title=title) if self.no_step(kind) else title

    def refused(self, refusal: Refusal) -> str:
        """Return the name of the date that is not given."""
        return self.title(MilestoneKind(refusal.kind))

    def refusal(self, refusal: Refusal) -> str:
        """Return why a date is not given, in one to three sentences."""
        days = {
            each.name: round(timedelta(hours=each.value or 0.0) / timedelta(days=1))
            for each in refusal.figures
        }
        return self.say(self.by_heat(f"refusal.{refusal.because}"), **days)

    def by_heat(self, key: str) -> str:
        """Return the key of words about a room: where it does not freeze they name no heat."""
        mild = f"{key}-mild"
        return key if self.is_heated or not self.has(mild) else mild

    def rule(self, code: str) -> str:
        """Return the words of a rule of practice."""
        return self.say(f"rule.{code}")

    def _of_kind(self, kind: MilestoneKind, part: str, **values: str) -> str:
        return self.say(self.variant(f"milestone.{kind}", f".{part}"), **values)

    def variant(self, key: str, part: str = "") -> str:
        """Return the key of the words that fit this slab and its curing: the special ones first."""
        by_crew = ("crew-dry",) if self.schedule.tasks_of("crew", BLANKETS_OFF) else ()
        dry = (f"{self.method}-dry", *by_crew, "dry") if self.schedule.dries_before_frost else ()
        covered: tuple[str, ...] = ("stays",) if staying_cover(self.schedule) else ()
        if self.schedule.covered_for_frost:
            covered = ("covered",) if first_visit(self.schedule) else ("covered-only", "covered")
        sheet = ("sheet",) if sheet_after_blankets(self.schedule) else ()
        for each in (*dry, *sheet, *covered, self.method):
            special = f"{key}--{each}{part}"
            if self.has(special):
                return special
        return f"{key}{part}"

    # ---- when

    def not_before(self, when: datetime, kind: str = "") -> DatePhrase:
        """Return an earliest date in words: never too early and, for most kinds, not at night."""
        placed = self.schedule.placement_end
        if kind == MilestoneKind.CURING_ENDS and self.schedule.dries_before_frost:
            kind = MilestoneKind.PROTECTION_ENDS  # at the warmest hour too: a morning later it has frozen
        return self.speak.printed_time(printed_not_before(when, kind, placed), placed)

    def window(self, start: DatePhrase, end: DatePhrase) -> str:
        """Return from when to when, within a week: "1:30 to 3:00 in the afternoon, Tuesday, July 14"."""
        if start.day == end.day:
            span = self.speak.span(start.instant, end.instant)
            return self.say("calendar-words.moment", hour=span, day=start.day)
        last = self.say("calendar-words.moment", hour=end.hour, day=self.speak.weekday(end.instant))
        return self.say("calendar-words.hour-span", start=start.text, end=last)

    def since_pour(self, days: int) -> str:
        """Return "Day 3", counted from the pour."""
        return self.say("chart.time-line.day", n=days) if days else self.say("chart.time-line.pour")


def _is_under_cover_for_long(milestone: Milestone) -> bool:
    """Return whether a use on foot has no date because a cover against cold lies past the estimate."""
    return milestone.not_before is None and milestone.because.governing.rule.endswith(UNDER_COVER)
