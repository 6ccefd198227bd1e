"""A place pasted as the address of a map."""

from __future__ import annotations

import pytest

from handover.jobs.attached_files import MemoryFiles
from handover.jobs.map_links import place_of_link
from handover.jobs.place_text import read_pair
from handover.jobs.reading import examine_tables

HERE = (36.1, -79.95)


@pytest.mark.parametrize(
    "link",
    [
        "geo:36.1,-79.95",  # RFC 5870, section 6.1
        "geo:36.1,-79.95;u=35",  # the same, with its uncertainty
        "geo:0,0?q=36.1,-79.95(Slab)",
        "https://maps.example.com/maps/@36.1,-79.95,17z",
        "https://maps.example.com/maps/place/x/@36.2,-79.9,17z/data=!3m1!4b1!4m4!3m3!8m2!3d36.1!4d-79.95",
        "https://maps.example.com/?q=36.1,-79.95",
        "https://maps.example.com/?q=36.1%2C-79.95&z=3",
        "https://maps.example.com/?ll=36.1,-79.95&q=12%20Alder%20Lane",
        "https://maps.example.com/search/?api=1&query=36.1%2C+-79.95",
        "https://maps.example.com/?mlat=36.1&mlon=-79.95#map=17/36.2/-79.9",
        "https://maps.example.com/#map=17/36.1/-79.95",
        "https://maps.example.com/maps?cp=36.1~-79.95",
    ],
)
def test_the_place_of_an_address_is_read(link: str) -> None:
    assert place_of_link(link) == HERE
    assert read_pair(f" {link} ") == HERE


@pytest.mark.parametrize(
    "link",
    [
        "https://maps.example.com/s/Ab3dE",
        "https://maps.example.com/?q=12+Alder+Lane",
        "https://maps.example.com/?q=96.1,-79.95",
        "https://maps.example.com/?q=0,0",
        "https://[maps",
        "36.1, -79.95",
        "geo:",
        "https://maps.example.com/?" + "&".join("q=1" for _ in range(500)),
    ],
)
def test_an_address_without_place_has_none(link: str) -> None:
    assert place_of_link(link) is None


def test_a_record_takes_the_address_for_both_coordinates() -> None:
    record, found = examine_tables(
        {
            "id": "a",
            "site": {"name": "a", "latitude": "https://maps.example.com/?q=36.1,-79.95"},
            "slab": {"area": "600 ft2", "thickness": "4 in"},
            "placement": {"start": "2026-07-14 06:40", "end": "2026-07-14 08:05"},
            "mix": {"specified_strength": "3000 psi"},
        },
        MemoryFiles({}),
    )
    assert record is not None, found
    assert (record.site.latitude, record.site.longitude) == HERE
    assert record.site.timezone == "America/New_York"


def test_a_short_address_says_what_to_do() -> None:
    _, found = examine_tables({"site": {"latitude": "https://maps.example.com/s/Ab3dE"}}, MemoryFiles({}))
    (finding,) = (each for path, each in found if path == ("site", "latitude"))
    assert "does not hold the place" in finding.problem
    assert "copy the two numbers" in (finding.expected or "")
