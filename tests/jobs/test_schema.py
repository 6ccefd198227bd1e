"""The JSON Schema of the record, the blank record, and the samples."""

import json
import re
import tomllib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from handover.jobs.reading import ExaminedRecord, examine_job
from handover.jobs.record import JobRecord, fields_of, required_fields, tables
from handover.jobs.record_template import record_template
from handover.jobs.schema import job_schema

Examine = Callable[..., ExaminedRecord]

SAMPLES = ["summer-garage", "november-shop", "driveway-compound"]


def as_json(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text as JSON has them: times as text."""
    return json.loads(json.dumps(tomllib.loads(text), default=datetime.isoformat))


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    schema = job_schema()
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_samples_are_good_records(samples: Path, sample: str, validator: Draft202012Validator) -> None:
    path = samples / sample / "job.toml"
    examined = examine_job(path)
    assert examined.findings == ()
    assert list(validator.iter_errors(as_json(path.read_text()))) == []


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_people_of_the_samples_are_invented(samples: Path, sample: str) -> None:
    record = examine_job(samples / sample / "job.toml").record
    for who in (record.owner, record.contractor):
        assert re.fullmatch(r"\d{3}-555-01\d\d", who.phone)
        assert re.search(r"@example\.(com|net|org)$", who.email)


def test_the_samples_differ_in_what_they_show(samples: Path) -> None:
    records = [examine_job(samples / sample / "job.toml").record for sample in SAMPLES]
    assert len({record.curing.method for record in records}) == 3
    assert len({record.slab.use for record in records}) == 3
    assert len({record.site.timezone for record in records}) == 3


REFUSED_BY_SCHEMA = [
    {"id": "a b"},
    {"id": None},
    {"site": {"name": "x", "latitude": 91, "longitude": 0}},
    {"site": {"name": "x"}},
    {"slab": {"thickness": 4, "area": "80 m2"}},
    {"slab": {"thickness": "4", "area": "80 m2"}},
    {"slab": {"thickness": "4,5,5 in", "area": "80 m2"}},
    {"slab": {"thickness": "4 in"}},
    {"slab": {"thickness": "4 in", "length": "4 m"}},
    {"slab": {"thickness": "4 in", "area": "80 m2", "on": "stilts"}},
    {"placement": {"start": "2026-07-14", "end": "2026-07-14T07:25:00"}},
    {"placement": {"start": "2026-07-14T06:10:00"}},
    {"mix": {}},
    {"mix": {"specified_strength": "20 MPa", "air": 6}},
    {"mix": {"specified_strength": "20 MPa", "admixtures": "retarder"}},
    {"mix": {"specified_strength": "20 MPa", "slump": "4 in"}},
    {"ticket": {"number": "1"}},
    {"owner": {"email": "nobody"}},
    {"curing": {"available": ["6-8"]}},
    {"cylinder": [{"age": "7 d"}]},
    {"wheather": {}},
]


@pytest.mark.parametrize("change", REFUSED_BY_SCHEMA, ids=str)
def test_what_the_schema_refuses_the_reader_refuses(
    examine: Examine, good: str, validator: Draft202012Validator, change: dict[str, Any]
) -> None:
    tables = {key: value for key, value in (as_json(good) | change).items() if value is not None}
    assert list(validator.iter_errors(tables))
    assert examine(json.dumps(tables)).faults


def test_the_schema_has_every_field() -> None:
    schema = job_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["required"] == ["id", "site", "slab", "placement", "mix"]
    for part in schema["$defs"].values():
        for key, result in part["properties"].items():
            assert result["description"], key
            assert "default" not in result
    assert schema["$defs"]["Slab"]["properties"]["thickness"]["examples"] == ["4 in", "100 mm"]


def test_every_example_of_the_schema_fits_the_schema() -> None:
    for part in job_schema()["$defs"].values():
        for result in part["properties"].values():
            for example in result.get("examples", []):
                assert Draft202012Validator(result).is_valid(example), (result, example)


@pytest.mark.parametrize(
    ("table", "key", "text"),
    [
        ("Slab", "thickness", text)
        for text in ('4"', "4 in", "4 1/2 in", "4-1/2 in.", "4\u00bd in", "3/4 in", ".5 ft", "100mm")
    ]
    + [
        ("Slab", "length", "34' 6\""),
        ("Slab", "length", "34 ft 6 1/2 in"),
        ("Placement", "concrete_temperature", "84 \u00b0F"),
        ("Mix", "specified_strength", "20 N/mm\u00b2"),
        ("Curing", "blanket_r_value", "R-5"),
        ("Curing", "blanket_r_value", "5 degF ft2 h/BTU"),
        ("Placement", "start", "2026-07-14 06:40"),
        ("Placement", "start", "2026-07-14T06:40:00-04:00"),
    ],
)
def test_the_ways_people_write_fit_the_schema(table: str, key: str, text: str) -> None:
    result = job_schema()["$defs"][table]["properties"][key]
    assert Draft202012Validator(result).is_valid(text)


def uncommented(text: str) -> str:
    """Return the blank record with every line put to use that may be, and every blank filled."""
    text = re.sub(r"^# (?=\[|[a-z_]+ = )", "", text, flags=re.MULTILINE)
    filled = {"id": "x", "name": "x", "timezone": "America/New_York", "length": "34 ft", "width": "26 ft"}
    filled |= {"thickness": "4 in", "start": "2026-07-14 06:40", "end": "2026-07-14 08:05"}
    filled |= {"specified_strength": "3000 psi"}
    for key, value in filled.items():
        text = text.replace(f'{key} = ""', f'{key} = "{value}"')
    return text


def test_the_blank_record_asks_for_what_must_be_there(examine: Examine) -> None:
    fields = {finding.field for finding in examine(record_template()).findings}
    must = {
        f"{name}.{key}"
        for name, table in tables().items()
        for key in required_fields(table)
        if name in required_fields(JobRecord)
    }
    assert fields == must | {"id", "slab", "site.timezone"}


def test_the_blank_record_is_good_once_its_blanks_are_filled(examine: Examine) -> None:
    text = record_template()
    for line in re.findall(r'^[a-z_]+ = "".*$', text, flags=re.MULTILINE):
        example = re.search(r'such as ("[^"]+")', line)
        key = line.partition(" ")[0]
        value = example[1] if example else '"x"'
        text = text.replace(line, f"{key} = {value}")
    examined = examine(text)
    assert examined.findings == ()
    assert examined.record.slab.thickness == pytest.approx(0.1016)


def test_the_blank_record_shows_every_field(examine: Examine, tmp_path: Path) -> None:
    for name in ("logo.png", "logger.csv", "photos/door.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"time_utc,temperature_c\n")
    text = uncommented(record_template())
    shown = tomllib.loads(text)
    for name, table in tables().items():
        part = shown[name][0] if isinstance(shown[name], list) else shown[name]
        assert set(part) == set(fields_of(table)), name
    # Each line is good; together, two of them are a choice.
    problems = {(finding.field, finding.problem) for finding in examine(text).faults}
    assert problems == {("cylinder[1]", "has both age and tested")}
