"""When somebody may first use deicing salt: the months are those of `COLD_MONTHS`, common practice."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from handover.schedule.salt_season import first_cold

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
