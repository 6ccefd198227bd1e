"""When somebody may first use deicing salt: the months are those of `COLD_MONTHS`, common practice."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from handover.schedule.salt_season import first_cold, has_salt_season
from handover.weather.location import Location

ZONE = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("placed", "latitude", "expected"),
    [
        (datetime(2026, 7, 14, 7, tzinfo=ZONE), 36.1, datetime(2026, 11, 1, tzinfo=ZONE)),
        (datetime(2026, 12, 5, 7, tzinfo=ZONE), 36.1, datetime(2026, 12, 5, 7, tzinfo=ZONE)),
        (datetime(2026, 2, 5, 7, tzinfo=ZONE), None, datetime(2026, 2, 5, 7, tzinfo=ZONE)),
        (datetime(2026, 12, 5, 7, tzinfo=ZONE), -36.1, datetime(2027, 5, 1, tzinfo=ZONE)),
        (datetime(2026, 3, 5, 7, tzinfo=ZONE), -36.1, datetime(2026, 5, 1, tzinfo=ZONE)),
    ],
)
def test_the_first_cold_after_a_placement(
    placed: datetime, latitude: float | None, expected: datetime
) -> None:
    assert first_cold(placed, latitude) == expected


@pytest.mark.parametrize(
    ("latitude", "longitude", "salts"),
    [
        (46.8, -92.1, True),
        (57.2, -3.8, True),
        (-33.9, 151.2, False),
        (25.8, -80.2, False),
        (32.2, -111.0, False),
        (None, None, True),
    ],
)
def test_nobody_salts_where_no_month_is_cold(
    latitude: float | None, longitude: float | None, salts: bool
) -> None:
    """Duluth and the Highlands against Sydney, Miami, Tucson; a place not known may have winters."""
    assert has_salt_season(Location(latitude, longitude)) == salts
