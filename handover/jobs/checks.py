"""Checks between the fields of a record: faults, and cautions for values that are possible but unlikely.

Each check yields findings at the paths that they concern. A field that is missing or at fault is None here,
and the checks that need it are skipped.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from handover.errors import Finding
from handover.jobs.country_codes import country_of_site
from handover.jobs.source_map import Path
from handover.jobs.time_windows import find_overlap, holds_half_hour, widen
from handover.practice.combinations import combinations
from handover.practice.rules import rules_of
from handover.units import KindName, format_for_reader, quantity

if TYPE_CHECKING:
    from handover.jobs.attached_files import AttachedFiles
    from handover.jobs.record import Draft
    from handover.practice.rules import Practice, Rule

FieldFindings = Iterator[tuple[Path, Finding]]

NOT_VISITED = ("curing compound", "insulating blanket")
"""Methods without a visit that is planned for the owner's hours."""


def check_fields(draft: Draft, files: AttachedFiles) -> FieldFindings:
    """Yield the faults and cautions between the fields of a record, and those of the files that it names.

    The limits are those of the country of the site.
    """
    site = draft.site
    rules = rules_of(country_of_site(site.country, site.timezone) if site else None)
    yield from _size(draft.slab, rules)
    yield from _joints(draft.slab)
    yield from _colour(draft.curing, rules)
    yield from _blankets(draft.curing)
    yield from _check_combinations(draft)
    yield from _times(draft.placement, rules)
    yield from _shares(draft, rules)
    yield from _check_acknowledgement(draft)
    yield from _find_doubtful(draft, rules)
    yield from _tickets(draft, rules)
    yield from _check_surface_times(draft, rules)
    yield from _cylinders(draft, rules)
    yield from _visits(draft)
    yield from _files(draft, files)
    yield from _sensor(draft)


def _size(slab: Draft, rules: Practice) -> FieldFindings:
    if slab is None or slab.length is None or slab.width is None:
        return
    area = slab.length * slab.width
    difference = rules["size.difference"]
    if slab.area is not None and abs(area - slab.area) > difference * slab.area:
        yield (
            ("slab", "area"),
            Finding(
                f"is {_us_and_si(slab.area, 'area')}, but length times width is {_us_and_si(area, 'area')}",
                expected=f"the same within {difference:.0%}, or the area alone".replace("%", " %"),
                example='area = "884 ft2"',
            ),
        )
    if not quantity("4 ft2", "area") <= area <= quantity("100000 ft2", "area"):
        yield (
            ("slab", "length"),
            Finding(
                f"times width is {_us_and_si(area, 'area')}: no crew places so little or so much in one job",
                expected="4 ft2 to 100000 ft2",
                example='length = "34 ft", width = "26 ft"',
            ),
        )


def _joints(slab: Draft) -> FieldFindings:
    """Yield a finding where a slab without joints has a joint spacing."""
    if slab is not None and slab.joints == "none" and slab.joint_spacing is not None:
        yield (
            ("slab", "joint_spacing"),
            Finding(
                f'is {_us_and_si(slab.joint_spacing, "length")}, but joints is "none"',
                expected="one of the two: no spacing, or how the joints are made",
                example='joints = "sawn"',
            ),
        )


def _colour(curing: Draft, rules: Practice) -> FieldFindings:
    """Yield a finding where a curing material does not exist in a colour."""
    if curing is None or curing.colour is None or curing.method is None:
        return
    colours = rules.materials["colour"].get(curing.method, {})
    if colours and curing.colour not in colours:
        yield (
            ("curing", "colour"),
            Finding(
                f'is "{curing.colour}", but method is "{curing.method}"',
                expected=f"one of {', '.join(colours)}",
                example='method = "curing compound", colour = "white"',
            ),
        )


def _blankets(curing: Draft) -> FieldFindings:
    """Yield a caution about blankets beside another method: they are those against frost."""
    if curing is None or curing.blanket_r_value is None or curing.method in {None, "insulating blanket"}:
        return
    yield (
        ("curing", "blanket_r_value"),
        Finding(
            f'is read as that of blankets against frost, because the method is "{curing.method}"',
            expected="that, or the method of blankets that lie on the slab all the time",
            example='method = "insulating blanket"',
            severity="caution",
        ),
    )


def _check_combinations(draft: Draft) -> FieldFindings:
    """Yield a question where surface, pipes, covering, slope or room do not go with the rest of the slab."""
    slab, curing = draft.slab, draft.curing
    if slab is None:
        return
    values = {**dict(draft.site or ()), **dict(slab), **dict(curing or ())}
    for each in combinations():
        if each.matches(values):
            yield (
                tuple(each.field.split(".")),
                Finding(
                    each.problem,
                    expected=each.expected,
                    example=each.example,
                    severity="caution",
                ),
            )


def _times(placement: Draft, rules: Practice) -> FieldFindings:
    if placement is None:
        return
    start, end, finished = placement.start, placement.end, placement.finished
    if start:
        yield from _at_night(start, rules["placement.earliest"])
    if start and end:
        yield from _follows(
            ("placement", "end"),
            end,
            "placement.start",
            start,
            usual=rules["placement.usual"],
            most=rules["placement.longest"],
            why="a crew's longest day",
        )
    if end and finished:
        yield from _follows(
            ("placement", "finished"),
            finished,
            "placement.end",
            end,
            usual=rules["finishing.usual"],
            most=rules["finishing.latest"],
            why="concrete has set by then",
        )
        yield from _early_finishing(end, finished, rules)


def _early_finishing(end: datetime, finished: datetime, rules: Practice) -> FieldFindings:
    """Yield a question where the last pass comes so soon that water was still bleeding out."""
    hours, soonest = hours_between(end, finished), rules["finishing.soonest"]
    if 0 < hours < soonest:
        yield (
            ("placement", "finished"),
            Finding(
                f"is {hours * 60:.0f} min after placement.end. Is the hour right? A surface closed over "
                "bleed water may dust and scale",
                expected=f"the end of the last pass, {soonest:g} h or more after the last concrete",
                example=_later("finished", end),
                severity="caution",
            ),
        )


def _check_acknowledgement(draft: Draft) -> FieldFindings:
    """Yield a finding where the acknowledgement is earlier than the end of placement: a typing error."""
    signed_at = draft.acknowledgement.time if draft.acknowledgement else None
    end = draft.placement.end if draft.placement else None
    if signed_at and end and hours_between(end, signed_at) < 0:
        yield (
            ("acknowledgement", "time"),
            Finding(
                "is before placement.end: nobody can acknowledge a slab that is still being placed",
                expected=f"after {end.isoformat(sep=' ', timespec='minutes')}",
                example=_later("time", end),
            ),
        )


def _at_night(start: datetime, earliest_h: float) -> FieldFindings:
    """Yield a question where the first concrete came in the middle of the night: noon written as midnight."""
    if start.hour >= earliest_h:
        return
    noon = start.replace(hour=start.hour + 12)  # the other half of the day
    yield (
        ("placement", "start"),
        Finding(
            f"is at {start:%H:%M}, in the middle of the night; is it {_in_words(noon)}?",
            expected=f"the first concrete, usually after {earliest_h:g} in the morning",
            example=_line("start", noon),
            severity="caution",
        ),
    )


def _follows(
    path: Path,
    late: datetime,
    name: str,
    early: datetime,
    *,
    usual: float | None = None,
    most: float,
    why: str,
) -> FieldFindings:
    """Yield a fault where a time is not within some hours after another, a question where it seldom is.

    Args:
        path: The field of the later time.
        late: The later time.
        name: The field of the earlier time.
        early: The earlier time.
        usual: Hours within which it usually is; None where that is not known.
        most: Hours within which it must be.
        why: Why it must.
    """
    hours = hours_between(early, late)
    expected = f"after {early.isoformat(sep=' ', timespec='minutes')}, by no more than {most:g} h"
    meant = _half_day_away(early, late, most if usual is None else usual)
    key = str(path[-1])
    question = "" if meant is None else f"; is it {_in_words(meant)}?"
    example = _later(key, early) if meant is None else _line(key, meant)
    if hours <= 0:
        yield path, Finding(f"is not after {name}{question}", expected=expected, example=example)
    elif hours > most:
        yield (
            path,
            Finding(f"is {hours:.2f} h after {name}: {why}{question}", expected=expected, example=example),
        )
    elif usual is not None and hours > usual and meant is not None:
        yield (
            path,
            Finding(
                f"is {hours:.1f} h after {name}, at {_in_words(late)}{question}",
                expected=f"usually within {usual:g} h",
                example=example,
                severity="caution",
            ),
        )


def _half_day_away(early: datetime, late: datetime, usual: float) -> datetime | None:
    """Return a likelier time half a day away, where morning and afternoon may be mixed up, or None."""
    half_day = timedelta(days=1) / 2
    for shift in (half_day, -half_day):
        if 0 < hours_between(early, late + shift) <= usual:
            return late + shift
    return None


def _line(key: str, moment: datetime) -> str:
    """Return the line of the record for a time at the site."""
    return f'{key} = "{moment.replace(tzinfo=None).isoformat(sep=" ", timespec="minutes")}"'


def _in_words(moment: datetime) -> str:
    """Return a time of day in words: "4:00 in the afternoon"."""
    part = "in the morning" if moment.hour < 12 else "in the afternoon"  # noqa: PLR2004 - noon
    return f"{(moment.hour - 1) % 12 + 1}:{moment.minute:02d} {part}"


def hours_between(early: datetime, late: datetime) -> float:
    """Return the hours between two instants, across a clock change as well."""
    if early.tzinfo is None or late.tzinfo is None:
        early, late = early.replace(tzinfo=UTC), late.replace(tzinfo=UTC)
    return (late.astimezone(UTC) - early.astimezone(UTC)).total_seconds() / 3600


def _later(key: str, early: datetime) -> str:
    """Return the line of a record for a time an hour after another."""
    return _line(key, early.replace(tzinfo=None) + timedelta(hours=1))


def _shares(draft: Draft, rules: Practice) -> FieldFindings:
    mix = draft.mix
    if mix is None or mix.fly_ash is None or mix.slag is None:
        return
    most = rules["additions.most"]
    if mix.fly_ash + mix.slag > most:
        yield (
            ("mix", "slag"),
            Finding(
                f"and fly_ash are {mix.fly_ash + mix.slag:.2f} together: without cement nothing sets",
                expected=f"at most {most:g} together",
                example="fly_ash = 0.20, slag = 0.0",
            ),
        )


class _Doubt(NamedTuple):
    """A limit above which a value of this kind is doubtful, and why."""

    limit: float
    kind: KindName
    why: str


def _doubt(rule: Rule, kind: KindName, why: str) -> _Doubt:
    """Return the doubt about values above a rule's limit; the reason includes the rule's source."""
    return _Doubt(rule.value, kind, f"over {_us_and_si(rule.value, kind)} {why} ({rule.source})")


def _find_doubtful(draft: Draft, rules: Practice) -> FieldFindings:
    """Yield cautions for values that are possible but unlikely."""
    hot = _doubt(rules.rules["heat.discharge"], "temperature", "it sets fast and cracks easily")
    wet = _doubt(rules.rules["slump.most"], "thickness", "it segregates unless a plasticizer makes it flow")
    values: list[tuple[Path, float | None, _Doubt]] = []
    if draft.placement:
        values.append((("placement", "concrete_temperature"), draft.placement.concrete_temperature, hot))
    for index, ticket in enumerate(draft.ticket):
        values.append((("ticket", index, "temperature"), ticket.temperature, hot))
        values.append((("ticket", index, "slump"), ticket.slump, wet))
    for path, value, (limit, kind, why) in values:
        if value is not None and value > limit and not math.isclose(value, limit):
            yield (
                path,
                Finding(
                    f"is {_us_and_si(value, kind)}: {why}",
                    expected="a value checked against the ticket",
                    example=f"{_us_and_si(limit, kind)} or less",
                    severity="caution",
                ),
            )


def _tickets(draft: Draft, rules: Practice) -> FieldFindings:
    start, end = (draft.placement.start, draft.placement.end) if draft.placement else (None, None)
    longest = rules["delivery.longest"]
    for index, ticket in enumerate(draft.ticket):
        if not (ticket.batched and start and end):
            continue
        if not -longest <= hours_between(start, ticket.batched) <= hours_between(start, end):
            yield (
                ("ticket", index, "batched"),
                Finding(
                    f"is not between {longest:g} h before the first concrete and the last concrete placed",
                    expected="the time the truck was loaded",
                    example="2026-07-14T06:05:00",
                    severity="caution",
                ),
            )
    yield from _check_delivered_volume([ticket.volume for ticket in draft.ticket], draft.slab, rules)


def _check_delivered_volume(volumes: list[float | None], slab: Draft, rules: Practice) -> FieldFindings:
    area, thickness = area_of(slab), slab.thickness if slab else None
    if not volumes or None in volumes or area is None or thickness is None:
        return
    delivered, needed = sum(volume or 0.0 for volume in volumes), area * thickness
    question = "is a ticket missing, or the size wrong?"
    if delivered > needed:
        question = "is a ticket of another job, or the size wrong?"
    if not rules["delivery.least-volume"] <= delivered / needed <= rules["delivery.most-volume"]:
        yield (
            ("ticket",),
            Finding(
                f"bring {_us_and_si(delivered, 'volume')} together, and the slab holds "
                f"{_us_and_si(needed, 'volume')}: it would be {_us_and_si(delivered / area, 'thickness')} "
                f"thick; {question}",
                expected="about the same: look at the size, the thickness and the tickets",
                example="all the trucks, each with its volume",
                severity="caution",
            ),
        )


def area_of(slab: Draft) -> Any:
    """Return the area of a slab in m2, as recorded or from its length and width, or None."""
    if slab is None:
        return None
    if slab.area is None and slab.length is not None and slab.width is not None:
        return slab.length * slab.width
    return slab.area


def _cylinders(draft: Draft, rules: Practice) -> FieldFindings:
    for index, cylinder in enumerate(draft.cylinder):
        if cylinder.age is not None and cylinder.tested is not None:
            yield (
                ("cylinder", index),
                Finding("has both age and tested", expected="one of the two", example='age = "7 d"'),
            )
        elif cylinder.strength is not None and cylinder.age is None and cylinder.tested is None:
            yield (
                ("cylinder", index),
                Finding(
                    "has neither age nor tested; without an age, the test is of no use",
                    expected="one of the two",
                    example='age = "7 d"',
                    severity="caution",
                ),
            )
        elif cylinder.tested and draft.placement and (start := draft.placement.start):
            yield from _follows(
                ("cylinder", index, "tested"),
                cylinder.tested,
                "placement.start",
                start,
                most=rules["cylinder.latest"],
                why="too late to show anything about curing",
            )


def _check_surface_times(draft: Draft, rules: Practice) -> FieldFindings:
    """Yield a finding where the surface was looked at before it was there, or too late to say anything."""
    end = draft.placement.end if draft.placement else None
    for table in ("infrared", "scratch"):
        for index, look in enumerate(getattr(draft, table)):
            if look.time and end:
                yield from _follows(
                    (table, index, "time"),
                    look.time,
                    "placement.end",
                    end,
                    most=rules["surface-check.latest"],
                    why="too late to show anything about setting",
                )


def _visits(draft: Draft) -> FieldFindings:
    available = tuple(filter(None, (draft.curing.available or ()) if draft.curing else ()))
    if both := find_overlap(available):
        yield (
            ("curing", "available"),
            Finding(
                f'"{both[0]}" and "{both[1]}" overlap',
                expected="hours that do not overlap",
                example='["06:30-08:00", "17:00-21:00"]',
            ),
        )
    yield from _short_windows(draft, available)


def _short_windows(draft: Draft, available: tuple[str, ...]) -> FieldFindings:
    """Yield windows that hold no whole half hour of the clock; they are faults if no window does."""
    short = [each for each in available if not holds_half_hour(each)]
    method = draft.curing.method if draft.curing else None
    none_left = len(short) == len(available) and method not in NOT_VISITED
    for each in short:
        yield (
            ("curing", "available", available.index(each)),
            Finding(
                f'"{each}" has no whole half hour of the clock, so no visit fits in it',
                expected="a window with a half hour that begins at :00 or :30",
                example=f'"{widen(each)}"',
                severity="fault" if none_left else "caution",
            ),
        )


def _files(draft: Draft, files: AttachedFiles) -> FieldFindings:
    """Yield findings about the named files: a caution for a picture, a fault for measurements."""
    for path, name in pictures(draft):
        if finding := files.problem(name):
            yield (
                path,
                finding
                if files.exists(name)
                else replace(
                    finding, problem=f"{finding.problem}; the documents leave it out", severity="caution"
                ),
            )
    log = draft.temperature_log
    if log and log.file and (finding := files.problem(log.file)):
        yield ("temperature_log", "file"), finding


def _sensor(draft: Draft) -> FieldFindings:
    """Yield a finding about a sensor that is deeper than the slab."""
    depth = draft.temperature_log.depth if draft.temperature_log else None
    thickness = draft.slab.thickness if draft.slab else None
    if depth is not None and thickness is not None and depth > thickness * (1.0 + 1e-9):
        yield (
            ("temperature_log", "depth"),
            Finding(
                f"is {_us_and_si(depth, 'thickness')}, more than the thickness of the slab",
                expected=f"at most {_us_and_si(thickness, 'thickness')}, from the surface down",
                example='depth = "2 in"',
            ),
        )


def pictures(draft: Draft) -> Iterator[tuple[Path, str]]:
    """Yield the pictures that a record names, with their paths in it."""
    if draft.contractor and draft.contractor.logo:
        yield ("contractor", "logo"), draft.contractor.logo
    for index, item in enumerate(draft.walkthrough):
        if item.photo:
            yield ("walkthrough", index, "photo"), item.photo


def _us_and_si(value: float, kind: KindName) -> str:
    return f"{format_for_reader(value, kind, 'us')} ({format_for_reader(value, kind, 'si')})"
