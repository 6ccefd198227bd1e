"""Dates as an owner says them: the words, and that they never come out early."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.documents.date_phrases import DateFormatter
from handover.documents.translations import load_translations
from handover.schedule.printed_times import EXACT_PERIOD, MORNING, half_hour_down, half_hour_up, morning_up

SPEAK = DateFormatter(load_translations("en"))
NEW_YORK = ZoneInfo("America/New_York")
# Whole hours, quarter hours (Kathmandu is 5:45 ahead), and a clock change of half an hour (Lord Howe).
ZONES = [
    ZoneInfo(name) for name in ("America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "Pacific/Apia")
]
instants = st.builds(
    lambda seconds, zone: datetime.fromtimestamp(seconds, UTC).astimezone(zone),
    st.floats(
        min_value=datetime(2024, 1, 1, tzinfo=UTC).timestamp(),
        max_value=datetime(2029, 1, 1, tzinfo=UTC).timestamp(),
    ),
    st.sampled_from(ZONES),
)


def at(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=NEW_YORK)  # type: ignore[arg-type, misc]


@given(instants, st.integers(min_value=0, max_value=400 * 24))
def test_not_before_is_never_early(when: datetime, hours_since_placement: int) -> None:
    placed = (when.astimezone(UTC) - timedelta(hours=hours_since_placement)).astimezone(when.tzinfo)
    said = SPEAK.not_before(when, placed)
    assert said.instant.astimezone(UTC) >= when.astimezone(UTC)
    assert said.instant.astimezone(UTC) - when.astimezone(UTC) < timedelta(hours=26)


@given(instants)
def test_not_after_is_never_late(when: datetime) -> None:
    assert SPEAK.not_after(when).instant.astimezone(UTC) <= when.astimezone(UTC)


@given(instants)
def test_half_hours_are_those_of_the_local_clock(when: datetime) -> None:
    for rounded in (half_hour_up(when), half_hour_down(when)):
        assert rounded.minute in {0, 30}
        assert (rounded.second, rounded.microsecond) == (0, 0)


@given(instants)
def test_mornings_are_at_the_hour_promised(when: datetime) -> None:
    assert morning_up(when).time() == MORNING


def test_a_half_hour_stays_as_it_is() -> None:
    assert half_hour_up(at(2026, 7, 14, 14, 0)) == at(2026, 7, 14, 14, 0)
    assert half_hour_down(at(2026, 7, 14, 14, 30)) == at(2026, 7, 14, 14, 30)


def test_a_second_past_is_the_next_half_hour() -> None:
    assert half_hour_up(at(2026, 7, 14, 14, 0, 1)) == at(2026, 7, 14, 14, 30)


def test_first_days_are_printed_to_the_half_hour() -> None:
    said = SPEAK.not_before(at(2026, 7, 14, 13, 41), at(2026, 7, 14, 8, 5))
    assert said.text == "2:00 in the afternoon, Tuesday, July 14"
    assert said.short == "Tue Jul 14, 2:00 pm"


def test_later_dates_are_printed_by_the_morning() -> None:
    placed = at(2026, 7, 14, 8, 5)
    assert SPEAK.not_before(at(2026, 7, 21, 7, 25), placed).text == "the morning of Tuesday, July 21"


def test_what_is_reached_later_in_the_day_is_printed_for_the_next() -> None:
    placed = at(2026, 7, 14, 8, 5)
    assert SPEAK.not_before(at(2026, 7, 21, 8, 1), placed).text == "the morning of Wednesday, July 22"


def test_a_date_in_another_year_names_it() -> None:
    placed = at(2026, 7, 14, 8, 5)
    assert SPEAK.not_before(at(2027, 7, 14, 8, 0), placed).text == "the morning of Wednesday, July 14, 2027"


def test_the_last_exact_moment() -> None:
    placed = at(2026, 7, 14, 8, 0)
    assert SPEAK.not_before(placed + EXACT_PERIOD, placed).exact
    assert not SPEAK.not_before(placed + EXACT_PERIOD + timedelta(seconds=1), placed).exact


@pytest.mark.parametrize(
    ("hour", "words"),
    [
        ((0, 0), "12:00 midnight"),
        ((4, 59), "4:59 in the morning"),
        ((5, 0), "5:00 in the morning"),
        ((11, 30), "11:30 in the morning"),
        ((12, 0), "12:00 noon"),
        ((12, 30), "12:30 in the afternoon"),
        ((17, 0), "5:00 in the afternoon"),
        ((18, 0), "6:00 in the evening"),
        ((21, 0), "9:00 at night"),
    ],
)
def test_hours_in_words(hour: tuple[int, int], words: str) -> None:
    assert SPEAK.hour(at(2026, 7, 14, *hour)) == words


def test_a_span_names_the_part_of_the_day_once() -> None:
    assert SPEAK.span(at(2026, 7, 14, 6, 30), at(2026, 7, 14, 7, 30)) == "6:30 to 7:30 in the morning"
    assert SPEAK.span(at(2026, 7, 14, 11, 30), at(2026, 7, 14, 12, 0)) == "11:30 in the morning to 12:00 noon"
    assert SPEAK.short_span(at(2026, 7, 14, 11, 30), at(2026, 7, 14, 12, 30)) == "11:30 am to 12:30 pm"


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (45, "45 minutes"),
        (60, "1 hour"),
        (90, "1 hour 30 minutes"),
        (120, "2 hours"),
        (150, "2 hours 30 minutes"),
    ],
)
def test_lengths_of_time(minutes: int, words: str) -> None:
    assert SPEAK.length(timedelta(minutes=minutes)) == words


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="without a zone"):
        half_hour_up(datetime(2026, 7, 14, 12, 0))  # noqa: DTZ001 - what is tested
