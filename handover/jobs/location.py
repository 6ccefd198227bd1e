"""The place of the slab, its time zone and country, and times whose offset does not fit."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timezone
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from handover.base.local_time import local_instant
from handover.errors import Finding
from handover.jobs.clock import find_zone, offset_then, zone_at
from handover.jobs.country_codes import country_of_zone
from handover.jobs.fields import MomentField
from handover.jobs.record import Draft, Site, draft_of, fields_of, mark_of, tables
from handover.jobs.source_map import Path

if TYPE_CHECKING:
    from collections.abc import Container, Iterator

FieldFinding = tuple[Path, Finding]


def site_zone(
    site: Draft, start: datetime | None, at_fault: Container[Path]
) -> tuple[str | None, list[FieldFinding]]:
    """Return the name of the site's zone, or None, and the faults and cautions of the place.

    Args:
        site: The site, as far as it could be read.
        start: Start of the placement. If the recorded zone and the zone of the place have different offsets
            then, one of the two is wrong.
        at_fault: Paths that already have a finding.
    """
    site = site or draft_of(Site)()
    findings = list(_place(site, at_fault))
    there = _zone_of(site)
    if site.timezone is None:
        return there, findings
    zone = find_zone(site.timezone)
    if isinstance(zone, Finding):
        at_place = zone if there is None else replace(zone, example=f'timezone = "{there}"')
        return None, [*findings, (("site", "timezone"), at_place)]
    if there and start and offset_then(zone, start) != offset_then(ZoneInfo(there), start):
        findings.append(
            (
                ("site", "timezone"),
                Finding(
                    f'"{site.timezone}" has another time than {site.latitude}, {site.longitude}',
                    expected=f'"{there}", or another place',
                    example=f'timezone = "{there}"',
                    severity="caution",
                ),
            )
        )
    return site.timezone, findings


def site_country(site: Draft, zone: str) -> str | None:
    """Return the code of the country of a site, by its place, else by its zone; None if both are unknown."""
    return country_of_zone((site and _zone_of(site)) or zone)


def country_mismatch(draft: Draft, zone: str | None) -> Iterator[FieldFinding]:
    """Yield a finding where the recorded country is not that of the place."""
    site = draft.site
    if site is None or site.country is None or zone is None:
        return
    there = site_country(site, zone)
    if there not in (None, site.country):
        yield (
            ("site", "country"),
            Finding(
                f'"{site.country}", but the site is in {there}',
                expected=f'"{there}", or another place',
                example=f'country = "{there}"',
                severity="caution",
            ),
        )


def _zone_of(site: Draft) -> str | None:
    """Return the zone of the place of a site, or None where there is no place on land."""
    if site.latitude is None or site.longitude is None:
        return None
    return zone_at(site.latitude, site.longitude)


def apply_zone(written: Draft, zone: str | None) -> tuple[Draft, list[FieldFinding]]:
    """Return a record with its times in the zone of the site, and findings for ambiguous or missing times.

    Args:
        written: The record with its times as written, without offset or with one.
        zone: Of the site; None while it is not known, and then the times stay as they are.
    """
    if zone is None:
        return written, []
    found: list[FieldFinding] = []
    parts: dict[str, Any] = {}
    for path, moment in _moments(written):
        name, instant = str(path[0]), local_instant(moment, ZoneInfo(zone))
        if isinstance(instant, Finding):
            found.append((path, instant))
        value = None if isinstance(instant, Finding) else instant
        parts[name] = _replace(parts.get(name, getattr(written, name)), path[1:], value)
    return written.model_copy(update=parts), found


def _replace(part: Any, path: Path, value: object) -> Any:
    """Return a table, or a list of tables, with another value at a path."""
    key, *way = path
    if isinstance(key, int):
        return (*part[:key], _replace(part[key], tuple(way), value), *part[key + 1 :])
    return part.model_copy(update={key: value})


def offset_mismatches(draft: Draft, zone: str | None) -> Iterator[FieldFinding]:
    """Yield times whose offset is not that of the site at that time. UTC is accepted."""
    for path, moment in _moments(draft):
        offset = moment.utcoffset()
        if zone and offset and (there := offset_then(ZoneInfo(zone), moment)) != offset:
            local = moment.astimezone(ZoneInfo(zone))
            yield (
                path,
                Finding(
                    f"has an offset that {zone} does not have then; read as {local.isoformat()}",
                    expected="the time on the site's clock, or its own offset",
                    example=moment.replace(tzinfo=timezone(there)).isoformat(),
                    severity="caution",
                ),
            )


def _moments(draft: Draft) -> Iterator[tuple[Path, datetime]]:
    """Yield the times of a record by their paths."""
    for name, table in tables().items():
        keys = [key for key, field in fields_of(table).items() if mark_of(field, MomentField)]
        part = getattr(draft, name)
        is_list = isinstance(part, tuple)
        for at, row in enumerate(part if is_list else filter(None, [part])):
            path = (name, at) if is_list else (name,)
            yield from (((*path, key), moment) for key in keys if (moment := getattr(row, key)))


def _place(site: Site, at_fault: Container[Path]) -> Iterator[FieldFinding]:
    for one, other in (("latitude", "longitude"), ("longitude", "latitude")):
        alone = getattr(site, one) is None and getattr(site, other) is not None
        if alone and ("site", one) not in at_fault:
            yield (
                ("site", other),
                Finding(
                    f"needs {one} as well",
                    expected="both of them, or neither and a timezone",
                    example="latitude = 36.10, longitude = -79.95",
                ),
            )
    if site.latitude is None or site.longitude is None:
        return
    if abs(site.latitude) < 1 and abs(site.longitude) < 1:
        yield (
            ("site", "latitude"),
            Finding(
                f"{site.latitude}, {site.longitude} is in the sea off Africa, where 0, 0 is",
                expected="the place of the slab",
                example="latitude = 36.10, longitude = -79.95",
            ),
        )
    elif zone_at(site.latitude, site.longitude) is None:
        yield (
            ("site", "longitude"),
            Finding(
                f"{site.latitude}, {site.longitude} is at sea",
                expected="the place of the slab; longitudes of the Americas are negative",
                example="longitude = -79.95",
                severity="caution",
            ),
        )
