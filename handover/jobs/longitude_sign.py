"""A longitude without its minus sign: the place is on the other side of the world, perhaps on land."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from handover.errors import Finding
from handover.jobs.clock import zone_at
from handover.jobs.country_codes import countries, country_of_zone
from handover.units import system_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from handover.jobs.record import Draft
    from handover.jobs.source_map import Path

    Found = tuple[Path, Finding]

HOME_COUNTRY = "US"
"""The country where a postal code follows two letters, and slabs are measured in feet and inches."""

_STATE_AND_ZIP = re.compile(r"\b[A-Z]{2},? +\d{5}(?:-\d{4})?\b")


def missing_minus_sign(draft: Draft, raw: Mapping[str, Any]) -> Iterator[Found]:
    """Yield a caution where the place is abroad, but with the other sign in the country of address and units.

    Another check compares a country that the record names with the place.

    Args:
        draft: The record, as far as it could be read.
        raw: The tables of the TOML or JSON file, for the units.
    """
    site = draft.site
    if site is None or site.country or site.latitude is None or site.longitude is None:
        return
    if site.longitude <= 0 or not _reads_as_american(draft, raw):
        return
    there, mirrored = (_country(site.latitude, each) for each in (site.longitude, -site.longitude))
    if there in (None, HOME_COUNTRY) or mirrored != HOME_COUNTRY:
        return
    finding = Finding(
        f"{site.longitude} is in {countries()[there]}, but address or units are those of the "
        f"{countries()[HOME_COUNTRY]}; is its sign right?",
        expected="degrees east of Greenwich; those west of it are negative",
        example=f"longitude = {-site.longitude}",
        severity="caution",
    )
    yield ("site", "longitude"), finding


def _country(latitude: float, longitude: float) -> str | None:
    zone = zone_at(latitude, longitude)
    return country_of_zone(zone) if zone else None


def _reads_as_american(draft: Draft, raw: Mapping[str, Any]) -> bool:
    parts = (draft.site, draft.contractor)
    addresses = [part.address for part in parts if part and part.address]
    if any(map(_STATE_AND_ZIP.search, addresses)):
        return True
    thickness = draft.slab.thickness if draft.slab else None
    return thickness is not None and system_of(raw["slab"]["thickness"], "thickness") == "us"
