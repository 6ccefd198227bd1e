"""Whatever comes in, findings come out: never an exception, never a silent change."""

import json
import tomllib
from collections.abc import Callable
from datetime import datetime
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handover.jobs.reading import ExaminedRecord
from handover.jobs.record import JobRecord, fields_of, tables
from handover.jobs.source_map import find_lines

Examine = Callable[..., ExaminedRecord]

KEYS = sorted({key for table in tables().values() for key in fields_of(table)} | set(fields_of(JobRecord)))
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=30)
    | st.sampled_from(["4 in", "20 MPa", "2026-07-14T06:10:00", "R-5", "sprinkler", "06:30-08:00"])
    | st.sampled_from(["7/14/2026 6:10 AM", "6:10", "12:10 PM", "3,500 psi", "36.1, -79.95", "20%", "yes"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=5), inner, max_size=4)
    ),
    max_leaves=12,
)
SHARED_FOLDER = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@SHARED_FOLDER
@given(changes=st.dictionaries(st.sampled_from(sorted(fields_of(JobRecord))), VALUES, max_size=4))
def test_any_tables_are_examined(examine: Examine, good: str, changes: dict[str, Any]) -> None:
    tables = tomllib.loads(good) | changes
    examined = examine(json.dumps(tables, default=datetime.isoformat))
    assert isinstance(examined, ExaminedRecord)
    assert (examined.record is None) == bool(examined.faults)
    assert all(finding.file and finding.line for finding in examined.findings)


@SHARED_FOLDER
@given(
    table=st.sampled_from(["site", "slab", "placement", "mix", "curing", "owner"]),
    key=st.sampled_from(KEYS),
    value=VALUES,
)
def test_any_value_of_any_key_is_examined(
    examine: Examine, good: str, table: str, key: str, value: Any
) -> None:
    tables = tomllib.loads(good)
    tables.setdefault(table, {})[key] = value
    examined = examine(json.dumps(tables, default=datetime.isoformat))
    assert (examined.record is None) == bool(examined.faults)


@SHARED_FOLDER
@given(
    latitude=st.floats(min_value=-91, max_value=91),
    longitude=st.floats(min_value=-181, max_value=181),
    zone=st.none() | st.sampled_from(["America/New_York", "Asia/Kathmandu", "Nowhere"]),
)
def test_any_place_is_examined(
    examine: Examine, good: str, latitude: float, longitude: float, zone: str | None
) -> None:
    tables = tomllib.loads(good)
    tables["site"] |= {"latitude": latitude, "longitude": longitude, "timezone": zone}
    examined = examine(json.dumps(tables, default=datetime.isoformat))
    assert (examined.record is None) == bool(examined.faults)


@SHARED_FOLDER
@given(
    content=st.binary(max_size=300) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace"))
)
def test_any_bytes_are_examined(examine: Examine, content: bytes) -> None:
    examined = examine(content)
    assert examined.record is None
    assert examined.findings
    assert examined.source.data == content


@SHARED_FOLDER
@given(cut=st.integers(min_value=0, max_value=330))
def test_a_record_cut_short_is_examined(examine: Examine, good: str, cut: int) -> None:
    examined = examine(good[:cut])
    assert (examined.record is None) == bool(examined.faults)


@SHARED_FOLDER
@given(text=st.text(max_size=200))
def test_lines_are_found_in_any_text(text: str) -> None:
    for language in ("toml", "json"):
        last = text.count("\n") + 1
        assert all(1 <= line <= last for line in find_lines(text, language).first.values())
