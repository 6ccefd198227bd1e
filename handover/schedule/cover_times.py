"""When a slab is covered against frost: at dusk, but not before finishing ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules
from handover.schedule.model import (
    BURLAP,
    FORMS_AFTER_COVER,
    PONDING,
    RAIN,
    SHEET,
    Gate,
    MilestoneKind,
    Reason,
    Risk,
)
from handover.schedule.printed_times import (
    COVERING,
    ORDERED_USES,
    SLEEPING_HOUR,
    before_the_night,
    by_day,
    evening_of,
    half_hour_down,
    half_hour_up,
    printed_not_before,
    printed_time,
    warmest_up,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import (
        CureSchedule,
        Milestone,
        SurfaceChoice,
        SurfaceTask,
        Visit,
        WateringDay,
    )

Span = tuple[datetime, datetime | None]
"""From when to when; None: past the estimate."""

SoftTopCover = Literal["boards", "plastic", "tent"]

STRIPPING = general_rules().duration("visit.stripping")
"""Time to strip the edge forms."""

_NO_WATER = "frost.no-water-below"
_FORMS_SOURCE = "Forms keep an edge warm while a cover keeps the top warm; both come off at the warmest hour"

ON_FOOT = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_WORK)
UNDER_COVER, FOLDED_BACK = ".under-cover", ".folded-back"
"""Ends the rule by which a use on foot waits for a cover, beside what its own conditions ask.

It waits for its end, or for that of cold protection, where it lies in place of water from then on.
"""
_ON_FOOT_SOURCE = "Nobody steps on a cover against cold; the slab is bare once it is lifted and taken away"

DUSK = general_rules().clock_time("day.dusk")
"""Hour by which the slab is covered against the frost of the night."""

WALK_THROUGH_LATEST = general_rules().duration("visit.walk-through-latest")

NO_FROST_RULE = "first-water.no-frost"
"""The condition of frost for first water."""


_COVERED_WHILE_CURING = (SHEET, BURLAP, PONDING, "insulating blanket")
"""Methods whose cover lies on the slab until curing ends; after blankets that is plastic."""


def covers_off(method: str, *, stays: bool) -> tuple[MilestoneKind, ...]:
    """Return the dates that must all be past before nothing covers the slab any more.

    Args:
        method: Of curing.
        stays: Whether a cover in place of water stays until curing ends.
    """
    while_curing = stays or method in _COVERED_WHILE_CURING
    return (MilestoneKind.PROTECTION_ENDS, *((MilestoneKind.CURING_ENDS,) if while_curing else ()))


def water_after_frost(watering: Iterable[WateringDay]) -> tuple[bool, datetime | None]:
    """Return whether a cover replaces water on some days, and the first watering after the last of them.

    There it comes off for good; where none follows, it stays until curing ends.
    """
    days = sorted(watering, key=lambda each: each.date)
    frozen = [each.date for each in days if each.skipped_because == "frost"]
    visits = (visit.start for day in days for visit in day.visits if frozen and day.date > frozen[-1])
    return bool(frozen), next(visits, None)


def is_covered_at(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether a cover still lies on the slab at an instant, by its cautious dates."""
    against_frost = schedule.protection is not None and schedule.protection.enough != 0
    stays = schedule.covered_for_frost and water_after_frost(schedule.watering)[1] is None
    kinds = covers_off(schedule.curing_method, stays=stays)
    relevant = [each for each in kinds if against_frost or each != MilestoneKind.PROTECTION_ENDS]
    off = [each for each in map(schedule.milestone, relevant) if each is not None]
    is_on = any(each.not_before is None or each.not_before > when for each in off)
    return is_on or (
        schedule.covered_for_frost and any(each.covers_at(when) for each in frost_covers(schedule))
    )


def is_covered_between_waterings(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether the cover between waterings is still used at an instant: until the last of them."""
    visits = (visit.start.astimezone(UTC) for day in schedule.watering for visit in day.visits)
    last = max(visits, default=None)
    return schedule.between is not None and last is not None and when.astimezone(UTC) < last


def start_of_brought_cover(schedule: CureSchedule) -> datetime | None:
    """Return when the owner first lays the cover that the crew brings for between waterings, UTC.

    None where it brings none: it leaves it on the slab, or there is none.
    """
    due = schedule.cover_due
    if due is None:
        return None
    ends = (visit.end.astimezone(UTC) for day in schedule.watering for visit in day.visits)
    return min((each for each in ends if each >= due.astimezone(UTC)), default=None)


def cover_due(schedule: CureSchedule) -> datetime | None:
    """Return by when the crew brings the cover between waterings of which nobody knew before this issue.

    That is the first watering before which there is time to bring it, by day; the end of one that is on by
    then. None where the crew leaves the cover on the slab before its first water, where it cures the slab,
    or where no such watering is ahead.
    """
    between = schedule.between
    is_left = bool(ways_left(schedule)) and left_on_until_water(schedule) is not None
    if between is None or is_left or schedule.curing_method == BURLAP:
        return None
    begins = by_day(half_hour_up(schedule.issued_at.astimezone(ZoneInfo(schedule.timezone))))
    brought = begins.astimezone(UTC) + COVERING
    visits = (visit for day in schedule.watering for visit in day.visits)
    reached = (each for each in visits if each.end.astimezone(UTC) >= brought)
    following = min(reached, key=lambda each: each.end.astimezone(UTC), default=None)
    if following is None:
        return None
    return following.start if following.start.astimezone(UTC) >= brought else following.end


def is_rain_kept_off(schedule: CureSchedule) -> bool:
    """Return whether a sheet between the waterings keeps rain from the slab: nobody takes it off for rain."""
    return schedule.between is not None and schedule.between.cover == SHEET


@dataclass(frozen=True)
class FrostCover:
    """A cover against frost: one span, the same in every document.

    Attributes:
        start: When it is laid, UTC.
        end: When it comes off; None: past the estimate.
        off: The date of the schedule on which it comes off; None: with the next watering.
        frosts: In order of time; none where the slab is safe from frost, but its water would freeze.
        by_crew: Whether the crew lays it: until somebody may walk on the slab, nobody else can.
    """

    start: datetime
    end: datetime | None
    off: MilestoneKind | None
    frosts: tuple[Risk, ...]
    by_crew: bool

    def covers_at(self, when: datetime) -> bool:
        """Return whether it lies on the slab at an instant."""
        return self.start <= when and (self.end is None or when < self.end)

    def meets(self, visit: Visit) -> bool:
        """Return whether it lies on the slab in some minute of a visit."""
        return self.start < visit.end and (self.end is None or visit.start.astimezone(UTC) < self.end)


def frost_covers(schedule: CureSchedule) -> tuple[FrostCover, ...]:
    """Return the covers against frost, in order of time; none of them touches another.

    In place of water a cover stays until the next watering, else until curing ends, or with cold protection
    before that: then a sheet keeps the slab from drying. Where nothing is watered it stays until cold
    protection ends. A slab that blankets cure is covered: it has none.
    """
    if schedule.curing_method == "insulating blanket":
        return ()
    risks = [each for each in schedule.risks if each.code == "frost"]
    before = _frost_before_sheet(schedule) if risks else ()
    frosts = sorted((*before, *risks), key=lambda each: each.start.astimezone(UTC))
    nights = groupby(frosts, key=lambda each: covered_from(schedule, each.start))
    found = [_cover(schedule, start, tuple(night)) for start, night in nights]
    found += [_cover(schedule, start, ()) for start in _in_place_of_water(schedule)]
    covers: list[FrostCover] = []
    for each in sorted(found, key=lambda one: one.start):
        if covers and (covers[-1].end is None or each.start <= covers[-1].end.astimezone(UTC)):
            covers[-1] = replace(covers[-1], frosts=(*covers[-1].frosts, *each.frosts))
        elif covers and schedule.covered_for_frost and covers[-1].off == MilestoneKind.PROTECTION_ENDS:
            break  # a sheet is on from then on
        else:
            covers.append(each)
    return tuple(_as_laid(each, schedule) for each in covers)


def first_frost(schedule: CureSchedule) -> datetime | None:
    """Return from when the slab may freeze, with the hours before its sheet; None: it does not."""
    risks = [each for each in schedule.risks if each.code == "frost"]
    before = _frost_before_sheet(schedule) if risks else ()
    return min((each.start for each in (*before, *risks)), default=None, key=datetime.timestamp)


def early_frosts(schedule: CureSchedule) -> tuple[Risk, ...]:
    """Return the frosts that begin before the slab is strong enough: those of the caution of frost."""
    safe = schedule.milestone(MilestoneKind.FROST_SAFE)
    strong = None if safe is None else safe.not_before
    frosts = (each for each in schedule.risks if each.code == "frost")
    return tuple(each for each in frosts if strong is None or each.start < strong)


def _as_laid(cover: FrostCover, schedule: CureSchedule) -> FrostCover:
    """Return a cover with the hour at which it was laid, or can still be.

    A cover whose hour is past is laid now, unless an earlier issue planned one: nobody knew of it.
    """
    issued = schedule.issued_at.astimezone(ZoneInfo(schedule.timezone))
    if schedule.is_ahead(cover.start + COVERING) or not cover.covers_at(issued.astimezone(UTC)):
        return cover
    start = (schedule.covered_since or half_hour_down(issued)).astimezone(UTC)
    return replace(cover, start=start, by_crew=not is_walkable(schedule, start))


def _frost_before_sheet(schedule: CureSchedule) -> tuple[Risk, ...]:
    """Return the frost of the hours before the crew lays the sheet or burlap that cures the slab.

    The simulated slab is under it from final set on; by night it is bare, or a sheet is held clear of it.
    """
    frost, laid = bare_frost(schedule), _sheet_start(schedule)
    if frost is None or laid is None or laid <= frost.astimezone(UTC):
        return ()
    start = half_hour_down(frost)
    return (Risk("frost", start, laid.astimezone(start.tzinfo), start),)


def _cover(schedule: CureSchedule, start: datetime, frosts: tuple[Risk, ...]) -> FrostCover:
    visit = _next_visit(schedule, max([start, *(each.end.astimezone(UTC) for each in frosts)]))
    kind = last_cover(schedule, start)
    off = schedule.milestone(kind)
    return FrostCover(
        start=start,
        end=visit or (None if off is None else off.not_before),
        off=None if visit else kind,
        frosts=frosts,
        by_crew=not is_walkable(schedule, start),
    )


def keep_forms_under_covers(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule in which edge forms stay until the cover over them was lifted, at the warmest hour.

    Forms keep the edge as warm as the cover keeps the top: who strips an edge in a frost bares the coldest
    part of the slab. Where the cover comes off past the estimate, so do they.
    """
    forms = schedule.milestone(MilestoneKind.STRIP_EDGE_FORMS)
    ready = None if forms is None else forms.printed.instant if forms.printed else forms.likely
    if forms is None or ready is None:
        return schedule
    covered, off = _uncovered_after(schedule, ready)
    if not covered or (forms.printed is None and off is not None):
        return schedule
    bare = off and off + COVERING
    later = _wait_for_cover(forms, bare, FORMS_AFTER_COVER, _FORMS_SOURCE)
    return replace(
        schedule, milestones=tuple(later if each is forms else each for each in schedule.milestones)
    )


def keep_people_off_covers(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule in which nobody walks or works on a cover against cold: they wait until it is off.

    A date on which it lies is no use to anybody. Where it comes off past the estimate, so does every use: a
    colder slab never has the earlier date. After cold protection, a cover in place of water is folded back.
    """
    changed: dict[str, Milestone] = {}
    waits: Milestone | None = None
    for kind in ORDERED_USES:
        found = schedule.milestone(kind)
        if kind in ON_FOOT and (held := _after_cover(schedule, kind)) is not None:
            changed[kind] = waits = held
        elif found is not None and waits is not None:
            changed[kind] = waits = _no_sooner(found, waits)
    return replace(schedule, milestones=tuple(changed.get(each.kind, each) for each in schedule.milestones))


def is_folded_back(schedule: CureSchedule, when: datetime, *, has_frosts: bool) -> bool:
    """Return whether people fold a cover back where they step: it only keeps water in, not cold out.

    Args:
        schedule: With the date on which cold protection ends.
        when: The instant, aware.
        has_frosts: Whether the cover was laid against frosts.
    """
    protected = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    if protected is None:
        return not has_frosts
    ends = protected.not_before
    return ends is not None and ends.astimezone(UTC) <= when.astimezone(UTC)


def _after_cover(schedule: CureSchedule, kind: MilestoneKind) -> Milestone | None:
    """Return a use on foot that waits until the cover is taken away; None where none lies then.

    None lies on its cautious end, nor on that as printed. Without one, its likely end decides.
    """
    found = schedule.milestone(kind)
    if found is None:
        return None
    spans = _spans_for_feet(schedule)
    ends = [each for each in (found.not_before, _printed_instant(schedule, kind)) if each is not None]
    for ready in ends or [each for each in (found.likely,) if each is not None]:
        covered, off = _uncovered_after(schedule, ready, spans)
        if covered and (ends or off is None):
            return _off_cover(schedule, found, off)
    return _likely_off_cover(schedule, found, spans)


def _off_cover(schedule: CureSchedule, found: Milestone, off: datetime | None) -> Milestone:
    """Return a use on foot from the hour on in which its cover is taken away, or folded back."""
    bare = off and off + COVERING
    lies = bare is not None and any(each.covers_at(bare.astimezone(UTC)) for each in frost_covers(schedule))
    return _wait_for_cover(
        found, bare, f"{found.kind}{FOLDED_BACK if lies else UNDER_COVER}", _ON_FOOT_SOURCE
    )


def _likely_off_cover(schedule: CureSchedule, found: Milestone, spans: Iterable[Span]) -> Milestone | None:
    """Return a use whose likely end waits for a cover, as its cautious end does not; None: neither does."""
    covered, off = (False, None) if found.likely is None else _uncovered_after(schedule, found.likely, spans)
    if not covered or off is None:
        return None
    ends = [each for each in (off + COVERING, found.not_before) if each is not None]
    return replace(found, likely=min(ends, key=datetime.timestamp))


def _wait_for_cover(found: Milestone, until: datetime | None, rule: str, source: str) -> Milestone:
    """Return a date that waits for the end of a cover; past the estimate where that end is."""
    gate = Gate(rule, until, until, source, "common practice")
    at_half_hour = (
        replace(found.printed, instant=until, precision="half-hour") if found.printed and until else None
    )
    return replace(
        found,
        likely=until,
        not_before=until,
        because=Reason(gate, (found.because.governing, *found.because.others)),
        printed=at_half_hour,
        spread_by=(),
        later_in_tests=None,
    )


def _no_sooner(later: Milestone, first: Milestone) -> Milestone:
    """Return a use that is no sooner than the one before it, which waits for a cover."""
    likely = later.likely and first.likely and max(later.likely, first.likely)
    if later.not_before is not None and first.not_before is None:
        return _wait_for_cover(later, None, f"{later.kind}.cover-off", _ON_FOOT_SOURCE)
    if later.not_before is None or first.not_before is None or later.not_before >= first.not_before:
        return replace(later, likely=likely)
    return replace(later, likely=likely, not_before=first.not_before, printed=first.printed)


def leave_out_looks_under_covers(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule without the looks at a sheet while a cover against frost lies on it.

    Who lifts an edge then lets the cold in, and the water that they add may freeze.
    """
    if schedule.cure_mode != "cover":
        return schedule
    covers = frost_covers(schedule)
    days = []
    for day in schedule.watering:
        visits = tuple(each for each in day.visits if not any(one.meets(each) for one in covers))
        because = "frost" if day.visits and not visits else day.skipped_because
        days.append(replace(day, visits=visits, skipped_because=because))
    return _with_first_look(replace(schedule, watering=tuple(days)))


def _with_first_look(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule whose date of the first look is that of its first visit; without one it has none."""
    first, look = schedule.milestone(MilestoneKind.FIRST_WATER), first_visit(schedule)
    if first is None or (
        look is not None and (first.not_before is None or look.start <= half_hour_up(first.not_before))
    ):
        return schedule
    others = [each for each in schedule.milestones if each is not first]
    if look is None:
        return replace(schedule, milestones=tuple(others))
    gates = (first.because.governing, *first.because.others)
    rule = general_rules().rules[_NO_WATER]
    frost = Gate(NO_FROST_RULE, look.start, look.start, rule.source, rule.mark)
    because = Reason(frost, tuple(each for each in gates if each.rule != NO_FROST_RULE))
    printed = first.printed and replace(first.printed, instant=look.start)
    later = replace(first, likely=look.start, not_before=look.start, because=because, printed=printed)
    return replace(
        schedule, milestones=tuple(later if each is first else each for each in schedule.milestones)
    )


def is_dry_look(schedule: CureSchedule, visit: Visit) -> bool:
    """Return whether a look under a sheet adds no water in any case.

    A cover against frost goes on within a day after it: water would freeze there.
    """
    end = visit.end.astimezone(UTC)
    return schedule.cure_mode == "cover" and any(
        end <= each.start < end + timedelta(days=1) for each in frost_covers(schedule)
    )


def _uncovered_after(
    schedule: CureSchedule, when: datetime, spans: Iterable[Span] | None = None
) -> tuple[bool, datetime | None]:
    """Return whether a cover lies on the slab at an instant, and the warmest hour after it is off.

    In the zone of the site; None where no cover lies there then, or its end lies past the estimate.

    Args:
        schedule: Its covers against frost, or the blankets that cure it.
        when: The instant, aware.
        spans: From when to when covers count, in order of time; None: as long as they lie.
    """
    zone, off = ZoneInfo(schedule.timezone), when
    for start, end in _cover_spans(schedule) if spans is None else spans:
        if start > off.astimezone(UTC) + STRIPPING:
            continue
        if end is None:
            return True, None
        if off.astimezone(UTC) < end.astimezone(UTC):
            off = warmest_up(end.astimezone(zone))
    return (False, None) if off is when else (True, off)


def _cover_spans(schedule: CureSchedule) -> list[Span]:
    """Return from when to when covers against cold lie on the slab; without an end: past the estimate."""
    if schedule.curing_method == "insulating blanket":
        ends = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
        return [(_placed(schedule), None if ends is None else ends.not_before)]
    return [(each.start, each.end) for each in frost_covers(schedule)]


def _spans_for_feet(schedule: CureSchedule) -> list[Span]:
    """Return from when to when nobody steps on a cover: until cold protection ends, if it lies for longer."""
    protected = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    if protected is None:
        return [(each.start, each.end) for each in frost_covers(schedule) if each.frosts]
    warm = protected.not_before
    spans = _cover_spans(schedule)
    if warm is None:
        return spans
    ends = (min((each for each in (end, warm) if each), key=datetime.timestamp) for _, end in spans)
    return [(start, end) for (start, _), end in zip(spans, ends, strict=True) if start < end]


def walk_through(schedule: CureSchedule) -> datetime | None:
    """Return when crew and owner walk the slab: when curing ends, as printed, and no cover hides it.

    Where that is too far ahead, the forms are off, the slab may be walked on, and no cover hides it; None: no
    date is known.
    """
    ends, walk, forms = (
        _printed_instant(schedule, each)
        for each in (
            MilestoneKind.CURING_ENDS,
            MilestoneKind.FOOT_TRAFFIC,
            MilestoneKind.STRIP_EDGE_FORMS,
        )
    )
    if ends is not None and ends - schedule.placement_end <= WALK_THROUGH_LATEST:
        return uncovered_from(schedule, ends)
    if walk is None:
        return None
    seen = max((each for each in (forms, walk) if each is not None), key=datetime.timestamp)
    until_cured = is_covered_at(schedule, seen) and schedule.curing_method in _COVERED_WHILE_CURING
    if until_cured or is_covered_between_waterings(schedule, seen):
        return None if ends is None else uncovered_from(schedule, ends)
    return uncovered_from(schedule, seen)


def uncovered_from(schedule: CureSchedule, when: datetime) -> datetime | None:
    """Return an instant, or the warmest hour after the cover that lies there; None: past the estimate."""
    covered, off = _uncovered_after(schedule, when)
    return off if covered else when


def _printed_instant(schedule: CureSchedule, kind: MilestoneKind) -> datetime | None:
    found = schedule.milestone(kind)
    printed = None if found is None else printed_time(found, schedule.placement_end)
    return None if printed is None else printed.instant


def is_walkable(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether the slab, if bare, bears people at an instant, as printed; before, only the crew."""
    walk = _bears_feet(schedule)
    return walk is not None and walk.astimezone(UTC) <= when.astimezone(UTC)


def _bears_feet(schedule: CureSchedule) -> datetime | None:
    """Return from when the slab bears people, as printed without the cover that lies on it then."""
    walk = schedule.milestone(MilestoneKind.FOOT_TRAFFIC)
    if walk is None or not walk.because.governing.rule.endswith((UNDER_COVER, FOLDED_BACK)):
        return _printed_instant(schedule, MilestoneKind.FOOT_TRAFFIC)
    ready = [each.not_before for each in walk.because.others]
    known = [each for each in ready if each is not None]
    if len(known) < len(ready):
        return None
    return printed_not_before(max(known), walk.kind, schedule.placement_end).instant


def first_visit(schedule: CureSchedule) -> Visit | None:
    """Return the first watering or look; None without one."""
    visits = (visit for day in schedule.watering for visit in day.visits)
    return min(visits, key=lambda each: each.start.astimezone(UTC), default=None)


def missed_water(schedule: CureSchedule) -> datetime | None:
    """Return when the first watering began where the first issue comes after its end; else None.

    The owner did not know of it, unless the crew did it. After the end of curing nothing is left to mend.
    """
    first = first_visit(schedule)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    is_over = ends is not None and ends.not_before is not None and not schedule.is_ahead(ends.not_before)
    if first is None or schedule.revision > 1 or schedule.cure_mode != "wet" or is_hose_by_crew(schedule):
        return None
    return None if is_over or schedule.is_ahead(first.end) else first.start


SHEET_RAIN = "sheet-rain"
"""One sheet against rain and drying, from the last pass until the first water."""

COMPOUNDS = ("compound", "clear-compound")
"""Ways with a compound in place of water."""

SPRAYING = general_rules().duration("visit.compound")
DRYING = general_rules().duration("compound.dry")
"""Time to spray a compound, and time in which rain washes it off after that."""

SHEETS = ("sheet", "sheet-overnight", SHEET_RAIN, "sheet-lay", "sheet-blankets")
"""Ways whose sheet lies on the slab after the crew has drawn it over it."""

FOGGING = ("fog-cover", "fog-lay", "fog")
"""Ways that keep the crew at it from the last pass on."""

_LAYING = ("fog-cover", "fog-lay", "sheet-lay", "lay")
"""Ways that end with the laying of a cover."""


def ways_left(schedule: CureSchedule) -> tuple[SurfaceChoice, ...]:
    """Return the ways to keep the finished surface damp that are not over; a sheet lies until the end.

    Their hours and their water are those that are left at the time of issue.
    """
    task = schedule.surface
    if task is None:
        return ()
    if is_sheet_in_doubt(schedule):
        return task.choices[:1]
    ends = ((each, task.until if each.how in SHEETS else each.until) for each in task.choices)
    left = (_rest(each, task, schedule) for each, end in ends if schedule.is_ahead(end))
    return tuple(each for each in left if not _is_sprayed_too_late(each, task, schedule))


def washing_rains(begins: datetime, risks: Iterable[Risk]) -> list[Risk]:
    """Return the likely rains on a compound, sprayed from an instant on, before it is dry."""
    start = begins.astimezone(UTC)
    dry = start + SPRAYING + DRYING
    rains = (each for each in risks if each.code == RAIN)
    return [each for each in rains if each.start.astimezone(UTC) < dry and each.end.astimezone(UTC) > start]


def _is_sprayed_too_late(way: SurfaceChoice, task: SurfaceTask, schedule: CureSchedule) -> bool:
    """Return whether a compound in place of water, begun now, would still be wet in likely rain."""
    if task.work != "damp" or way.how not in COMPOUNDS:
        return False
    begins = max(task.start.astimezone(UTC), schedule.issued_at.astimezone(UTC))
    return bool(washing_rains(begins, schedule.risks))


def is_sheet_in_doubt(schedule: CureSchedule) -> bool:
    """Return whether a sheet is to lie on the finished surface, and nobody knows whether it was drawn.

    The hours of the work are over and the crew has left: it stays until the evening of the day.
    """
    task = schedule.surface
    if task is None or not is_sheet_drawn(schedule) or not schedule.is_ahead(task.until):
        return False
    drawn = task.choices[0].until
    leaves = drawn if evening_of(drawn) else datetime.combine(drawn.date(), SLEEPING_HOUR, drawn.tzinfo)
    return not schedule.is_ahead(leaves)


def _rest(way: SurfaceChoice, task: SurfaceTask, schedule: CureSchedule) -> SurfaceChoice:
    """Return what is left of a way that has begun: of fog, at an even pace, and of laying a cover.

    Spraying and drawing a sheet over the slab take as long as ever, whenever they begin.
    """
    lays = way.how in _LAYING
    if schedule.is_ahead(task.start) or not (lays or way.how in FOGGING):
        return way
    laying = COVERING if lays else timedelta()
    laid = way.until.astimezone(UTC) - laying
    if way.how not in FOGGING:
        return way if schedule.is_ahead(laid) else replace(way, crew_hours=laying / timedelta(hours=1))
    ahead = max(laid - schedule.issued_at.astimezone(UTC), timedelta())
    left = replace(way, crew_hours=(ahead + laying) / timedelta(hours=1))
    whole = laid - task.start.astimezone(UTC)
    if way.cover_litres is None or whole <= timedelta():
        return left
    return replace(left, litres=way.cover_litres + (way.litres - way.cover_litres) * (ahead / whole))


def bare_frost(schedule: CureSchedule) -> datetime | None:
    """Return when the top may freeze without any cover, in the first day; None: it does not."""
    protection, start = schedule.protection, schedule.finishing_ends
    bare = None if protection is None else next((each for each in protection.blankets), None)
    frost = None if bare is None or bare.resistance else bare.freezes_from
    if frost is None or frost.astimezone(UTC) > start.astimezone(UTC) + timedelta(days=1):
        return None
    return frost.astimezone(start.tzinfo)


def is_soft(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether a cover would likely mark the top at an instant: it is before likely final set."""
    final = schedule.milestone(MilestoneKind.FINAL_SET)
    return final is None or final.likely is None or when.astimezone(UTC) < final.likely.astimezone(UTC)


def soft_top_cover(job: JobRecord) -> SoftTopCover:
    """Return how frost, rain or dry air is kept from a top that a cover would mark.

    Where no board reaches from form to form, plastic is pulled over it: a mark does less harm than ice. On a
    top whose colour plastic spoils, a tent does.
    """
    if job.slab.short_side <= general_rules()["cover.boards-reach"]:
        return "boards"
    return "plastic" if job.slab.covers else "tent"


def is_sheet_drawn(schedule: CureSchedule) -> bool:
    """Return whether the crew draws a sheet over the finished top before any cover against frost."""
    task = schedule.surface
    return task is not None and task.choices[0].how in SHEETS


def left_on_until_water(schedule: CureSchedule) -> str | None:
    """Return what the crew lays on the finished surface until its first water: "plastic sheet", "wet burlap".

    "any" where the crew chooses; None where it lays nothing.
    """
    task = schedule.surface
    if task is None or task.work != "damp":
        return None
    if task.choices[0].how == SHEET_RAIN:
        return SHEET
    if task.cover_from is None:
        return None
    if is_sheet_drawn(schedule):
        return SHEET
    return schedule.between.cover if schedule.between else "any"


def is_hose_by_crew(schedule: CureSchedule) -> bool:
    """Return whether the crew lays the soaker hose: the first water comes before the owner may step there."""
    first = first_visit(schedule)
    return (
        schedule.curing_method == "soaker hose"
        and first is not None
        and not is_walkable(schedule, first.start)
    )


def may_water_freeze(schedule: CureSchedule, start: datetime, end: datetime) -> bool:
    """Return whether the likely air is too cold for water on the slab in an hour between two instants."""
    start_s, end_s = start.timestamp(), end.timestamp()
    hours = [air_c for time_s, air_c in _air(schedule) if start_s <= time_s <= end_s]
    return min(hours, default=float("inf")) < general_rules()["frost.no-water-below"]


def _air(schedule: CureSchedule) -> Iterator[tuple[int, float]]:
    """Return the likely air around the slab hour by hour: UTC seconds, degC."""
    weather = schedule.weather
    return zip(weather.time.astype("datetime64[s]").astype("int64"), schedule.air_c, strict=True)


def _first_frost(schedule: CureSchedule) -> datetime | None:
    """Return the first hour in which the likely air or the top freezes; None: only a colder one may."""
    limit, placed = general_rules()["frost.freezes-below"], schedule.placement_start.timestamp()
    hours = [
        datetime.fromtimestamp(int(time_s), UTC)
        for time_s, air_c in _air(schedule)
        if air_c <= limit and time_s >= placed
    ]
    return min([*hours[:1], *(each.start for each in schedule.risks if each.code == "frost")], default=None)


def pipes_by(schedule: CureSchedule) -> datetime | None:
    """Return by when no water may be left in the heating pipes: dusk before the first frost.

    None where the pipes do not freeze. Where only air colder than the forecast freezes them, it is dusk on
    the day of the pour; it is not before the pour ends, or before the issue while the frost is ahead.
    """
    if not schedule.has_caution("pipes-freeze"):
        return None
    zone, frost = ZoneInfo(schedule.timezone), _first_frost(schedule)
    last = (frost or schedule.placement_end + timedelta(days=1)).astimezone(zone)
    dusk = datetime.combine(last.date(), DUSK, zone)
    if frost is None or dusk >= last:
        dusk = datetime.combine(last.date() - timedelta(days=1), DUSK, zone)
    earliest = [schedule.placement_end]
    if frost is None or schedule.issued_at.timestamp() < frost.timestamp():
        earliest.append(half_hour_up(schedule.issued_at.astimezone(zone)) + COVERING)
    return max(dusk.astimezone(UTC), *(each.astimezone(UTC) for each in earliest)).astimezone(zone)


def _next_visit(schedule: CureSchedule, after: datetime) -> datetime | None:
    """Return the first watering after an instant; None where nothing is watered any more."""
    visits = (visit.start for day in schedule.watering for visit in day.visits)
    later = (each for each in visits if each.astimezone(UTC) > after)
    return min(later, default=None) if schedule.cure_mode == "wet" else None


def last_cover(schedule: CureSchedule, start: datetime) -> MilestoneKind:
    """Return the date on which the last cover against frost comes off that is laid at an instant.

    Blankets come off when cold protection ends. In place of water they stay until curing ends where that is
    the same hour or unknown, and where they are laid later: then there is no sheet that goes on without them.
    """
    kinds = (MilestoneKind.PROTECTION_ENDS, MilestoneKind.CURING_ENDS)
    protected, cured = map(schedule.milestone, kinds)
    if protected is None:
        return MilestoneKind.CURING_ENDS
    if not schedule.covered_for_frost:
        return MilestoneKind.PROTECTION_ENDS
    warm, ends = protected.not_before, None if cured is None else cured.not_before
    if warm is None or ends is None or not start < warm < ends:
        return MilestoneKind.CURING_ENDS
    return MilestoneKind.PROTECTION_ENDS


def sheet_after_blankets(schedule: CureSchedule) -> bool:
    """Return whether a sheet goes on without the blankets in place of water, until curing ends.

    The slab is safe from a first frost by then, but water would freeze on it.
    """
    ends = (each.off for each in frost_covers(schedule))
    return schedule.covered_for_frost and MilestoneKind.PROTECTION_ENDS in ends


def _in_place_of_water(schedule: CureSchedule) -> Iterator[datetime]:
    """Yield when a cover goes on in place of water, in UTC, once for each run of days without any."""
    if not schedule.covered_for_frost:
        return
    zone, earlier = ZoneInfo(schedule.timezone), None
    for number, day in enumerate(sorted(schedule.watering, key=lambda each: each.date)):
        frozen = day.skipped_because == "frost"
        if frozen and number == 0:
            yield first_cover(schedule).astimezone(UTC)
        elif frozen and earlier != "frost":
            eve = datetime.combine(day.date - timedelta(days=1), DUSK, zone)
            yield max(eve.astimezone(UTC), _ready(schedule))
        earlier = day.skipped_because


def first_cover(schedule: CureSchedule) -> datetime:
    """Return when a slab that is not watered because of frost is first covered, in the zone of the site.

    That is before the first frost that would harm it; without one, before water would be due.
    """
    first = schedule.milestone(MilestoneKind.FIRST_WATER)
    gates = (first.because.governing, *first.because.others) if first else ()
    due = [each.not_before for each in gates if each.not_before and each.rule != NO_FROST_RULE]
    ready = max(due, default=schedule.finishing_ends)
    begins = min((each.start for each in early_frosts(schedule)), default=ready)
    return covered_from(schedule, begins).astimezone(ZoneInfo(schedule.timezone))


def covered_from(schedule: CureSchedule, frost: datetime) -> datetime:
    """Return when to cover the slab before a frost, in UTC: with the cover that cures it, if one is laid.

    Nobody comes at night for it: what could be laid only then is held clear of the slab from the evening on.
    """
    first = frost.astimezone(ZoneInfo(schedule.timezone))
    wanted = half_hour_up(max(_dusk_before(first), _ready(schedule)).astimezone(first.tzinfo))
    laid = _sheet_start(schedule)
    if laid is not None and wanted < laid <= first - COVERING:
        return laid
    finished = half_hour_up(_placed(schedule).astimezone(first.tzinfo)).astimezone(UTC)
    latest = max(half_hour_down(first).astimezone(UTC), finished)
    laid_at = min(wanted.astimezone(UTC), latest).astimezone(first.tzinfo)
    return before_the_night(laid_at, finished).astimezone(UTC)


def _placed(schedule: CureSchedule) -> datetime:
    return schedule.finishing_ends.astimezone(UTC)


def _ready(schedule: CureSchedule) -> datetime:
    """Return when a cover may go on, in UTC: when finishing has ended, and the slab has likely set."""
    final = schedule.milestone(MilestoneKind.FINAL_SET)
    likely = None if final is None or final.likely is None else final.likely.astimezone(UTC)
    return max(_placed(schedule), likely or _placed(schedule))


def _sheet_start(schedule: CureSchedule) -> datetime | None:
    """Return when the crew lays the cover that cures the slab, in UTC: nobody steps on it before."""
    task = schedule.surface
    laid = None if task is None or task.work != "cover" else task.cover_from
    return None if laid is None else laid.astimezone(UTC)


def _dusk_before(frost: datetime) -> datetime:
    """Return the last dusk that is an hour or more before the frost, in UTC."""
    latest = (frost.astimezone(UTC) - COVERING).astimezone(frost.tzinfo)
    day = latest.date() - timedelta(days=latest.time() < DUSK)
    return datetime.combine(day, DUSK, frost.tzinfo).astimezone(UTC)
