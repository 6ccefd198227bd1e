"""The country of a site: as recorded, or from the place or its time zone, without a network.

Codes, and the country of a zone, are facts of ISO 3166 and of the IANA database.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from handover.jobs.country_codes import countries, country_of_zone
from handover.jobs.reading import ExaminedRecord

Spoil = Callable[..., ExaminedRecord]


@pytest.mark.parametrize(
    ("zone", "country"),
    [
        ("America/New_York", "US"),
        ("America/Toronto", "CA"),
        ("Europe/Berlin", "DE"),
        ("Europe/Oslo", "NO"),  # keeps Berlin's time since 1970, and is not in Germany
        ("Asia/Kolkata", "IN"),
        ("Australia/Sydney", "AU"),
        ("US/Eastern", "US"),  # an older name
        ("Asia/Calcutta", "IN"),
        ("UTC", None),
        ("Etc/GMT+5", None),
        ("no such zone", None),
    ],
)
def test_a_zone_has_its_country(zone: str, country: str | None) -> None:
    assert country_of_zone(zone) == country


def test_every_country_of_a_zone_has_a_name() -> None:
    assert countries()["CA"] == "Canada"
    assert all(len(code) == 2 and code.isupper() and name for code, name in countries().items())


@pytest.mark.parametrize(
    ("latitude", "longitude", "country"),
    [(36.1, -79.95, "US"), (43.7, -79.4, "CA"), (52.52, 13.40, "DE"), (51.5, -0.12, "GB")],
)
def test_the_country_of_a_place_is_assumed(
    spoil: Spoil, latitude: float, longitude: float, country: str
) -> None:
    record = spoil({"site.latitude": latitude, "site.longitude": longitude}).record
    assert record is not None
    assert record.site.country == country
    assert ("site.country", country) in {(each.field, each.value) for each in record.assumed}


def test_the_place_comes_before_the_recorded_zone(spoil: Spoil) -> None:
    """Toronto keeps the time of New York; its rules are Canada's."""
    result = {"site.latitude": 43.7, "site.longitude": -79.4, "site.timezone": "America/New_York"}
    record = spoil(result).record
    assert record is not None
    assert record.site.country == "CA"


def test_a_clock_of_no_country_leaves_it_open(spoil: Spoil) -> None:
    record = spoil({"site.latitude": None, "site.longitude": None, "site.timezone": "Etc/GMT+5"}).record
    assert record is not None
    assert record.site.country is None
    assert "site.country" not in {each.field for each in record.assumed}


@pytest.mark.parametrize(
    ("written", "code"), [("US", "US"), (" us ", "US"), ("USA", "US"), ("uk", "GB"), ("Canada", "CA")]
)
def test_a_recorded_country_is_not_assumed(spoil: Spoil, written: str, code: str) -> None:
    record = spoil({"site.country": written}).record
    assert record is not None
    assert record.site.country == code
    assert "site.country" not in {each.field for each in record.assumed}


@pytest.mark.parametrize(
    ("written", "example"), [("Cannada", '"CA"'), ("germny", '"DE"'), ("XX", '"US"'), (49, '"US"')]
)
def test_what_is_no_country_is_a_finding_with_the_code_meant(
    spoil: Spoil, written: object, example: str
) -> None:
    examined = spoil({"site.country": written})
    (fault,) = examined.faults
    assert fault.field == "site.country"
    assert fault.example is not None
    assert example in fault.example


def test_a_country_that_the_place_is_not_in_is_a_caution(spoil: Spoil) -> None:
    examined = spoil({"site.country": "DE"})
    assert examined.record is not None
    assert examined.record.site.country == "DE"
    (caution,) = [each for each in examined.findings if each.field == "site.country"]
    assert caution.severity == "caution"
    assert "US" in caution.problem
