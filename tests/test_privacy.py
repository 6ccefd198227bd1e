"""An owner is forgotten: the record is rewritten without them, and is otherwise the same."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.archive.entry import JobEntry
from handover.service.privacy import _is_picture, _NameRemover, _record_without_owner

AT = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
keys = texts.filter(bool) | st.sampled_from(["site", "a-b", "a b", 'a"b', "1.2"])
values = st.recursive(
    texts
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.just(datetime(2026, 7, 14, 6, 40))  # noqa: DTZ001 - times of a record are those of the site's wall
    | st.just(AT)
    | st.just(date(2026, 7, 14))
    | st.just(time(6, 40)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=6,
)
parts = st.dictionaries(keys, values, max_size=4)


@given(st.dictionaries(keys, values | parts | st.lists(parts, min_size=1, max_size=3), max_size=5))
def test_a_rewritten_record_has_the_same_values(record: dict[str, object]) -> None:
    """Read back by the standard library, TOML 1.0."""
    record = {**record, "site": {"latitude": 36.1}}
    owned = {**record, "owner": {"name": "Ana Prueba", "language": "es"}}
    written = _record_without_owner(b"", owned, _NameRemover(JobEntry("a", AT, 1, AT), []))
    assert tomllib.loads(written.decode()) == {**record, "owner": {"language": "es"}}


@pytest.mark.parametrize(
    ("text", "stays"),
    [
        ("Ana Prueba asked; PRUEBA paid", "(removed) asked; (removed) paid"),
        ("Pruebas and Anabel", "Pruebas and Anabel"),  # other words
        ("prueba_scan-ana.pdf", "(removed)_scan-(removed).pdf"),
        ("Call 555-0199 or ana@example.org", "Call (removed) or (removed)"),
        ("at 118 Alder Lane, Greensboro", "at (removed)"),
        ("Lo said so", "(removed) said so"),  # a name of two letters, as a whole
        ("Honeycomb by the door", "Honeycomb by the door"),
    ],
)
def test_names_are_taken_out_of_remarks(text: str, stays: str) -> None:
    entry = JobEntry(
        "a", AT, 1, AT, owner="Ana Prueba", more={"phone": "555-0199", "email": "ana@example.org"}
    )
    record = {"site": {"address": "118 Alder Lane, Greensboro"}, "owner": {"name": "Lo"}}
    assert _NameRemover(entry, [record]).remove_from(text) == stays


def test_where_nobody_is_named_nothing_is_taken_out() -> None:
    assert _NameRemover(JobEntry("a", AT, 1, AT), [{}]).remove_from("any text") == "any text"


@pytest.mark.parametrize(
    ("data", "picture"),
    [
        (b"\xff\xd8\xff\xe1", True),  # JPEG, ISO 10918-1 annex B: SOI and the first byte of a marker
        (b"\x89PNG\r\n\x1a\n", True),  # ISO 15948, section 5.2
        (b"\x00\x00\x00\x18ftypheic", True),  # ISO 14496-12, section 4.3
        (b'{"hourly": 1}', False),
        (b"time,air temperature [degC]\n", False),
        (b"", False),
    ],
)
def test_a_picture_is_known_by_how_it_begins(data: bytes, picture: bool) -> None:
    assert _is_picture(data) is picture
