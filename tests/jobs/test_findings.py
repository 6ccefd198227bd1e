"""Records that are wrong: each fault is found, placed and explained, all of them at once."""

import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from handover.errors import is_hidden
from handover.jobs.reading import MAX_FINDINGS, ExaminedRecord
from handover.jobs.record import fields_of, tables
from handover.practice.rules import practice

Examine = Callable[..., ExaminedRecord]

# Path and value of one key, and a word that the finding must hold.
FAULTS = [
    ("id", "../etc", "folder"),
    ("id", "a/b", "folder"),
    ("id", "a..b", "two points"),
    ("id", "job.", "two points"),
    ("id", ".hidden", "folder"),
    ("id", "con", "Windows"),
    ("id", "LPT1.txt", "Windows"),
    ("id", "x" * 81, "81 characters"),
    ("id", "caf\u00e9", "folder"),
    ("id", 7, "not text"),
    ("site.name", "a\x07b", "U+0007"),
    ("site.name", "a\x1b[31m", "U+001B"),
    ("site.name", "gpj.\u202eexe", "U+202E"),
    ("site.name", "a\ud800", "U+D800"),
    ("site.name", "two\nlines", "several lines"),
    ("site.name", "x" * 121, "121 characters"),
    ("site.name", True, "not text"),
    ("site.address", "x" * 301, "301 characters"),
    ("site.latitude", 91, "-90 and 90"),
    ("site.latitude", "thirty-six", "bare number"),
    ("site.latitude", True, "bare number"),
    ("site.longitude", -181, "-180 and 180"),
    ("site.longitude", float("nan"), "-180 and 180"),
    ("site.longitude", 10**400, "-180 and 180"),
    ("site.timezone", "America/New_Yrok", "not a time zone"),
    ("site.timezone", "../../etc/passwd", "not a time zone"),
    ("site.timezone", "localtime", "not a time zone"),
    ("site.timezone", "right/Europe/Paris", "not a time zone"),
    ("site.timezone", "America", "not a time zone"),
    ("owner.email", "lee at example.com", "email"),
    ("owner.email", "lee@example", "email"),
    ("owner.email", "lee@example.com\nBcc: all@example.org", "several lines"),
    ("owner.email", "Lee <lee@example.com>", "email"),
    ("owner.email", "a@example.com, b@example.com", "email"),
    ("owner.email", "josé@example.org", "email"),
    ("owner.email", "lee@exämple.com", "email"),
    ("owner.email", "<lee@example.com>", "email"),
    ("contractor.email", "josé@example.org", "email"),
    ("owner.phone", "call me", "telephone"),
    ("owner.phone", "06:30-08:00, 17:00-21:00", "telephone"),
    ("owner.phone", "555", "telephone"),
    ("owner.language", "English please", "language"),
    ("contractor.logo", "/etc/passwd", "leads out"),
    ("contractor.logo", "../logo.png", "leads out"),
    ("contractor.logo", "C:/logo.png", "leads out"),
    ("contractor.logo", "http://example.com/logo.png", "leads out"),
    ("contractor.logo", "~/logo.png", "leads out"),
    ("contractor.logo", "pictures\\logo.png", "backslash"),
    ("contractor.logo", "logo.exe", "not a picture"),
    ("contractor.page_url", "http://example.com/care", "address of a page"),
    ("contractor.page_url", "javascript:alert(1)", "address of a page"),
    ("contractor.page_url", "https://example.com/a b", "address of a page"),
    ("contractor.page_url", "https://lee@example.com/", "address of a page"),
    ("contractor.page_url", "https://example", "address of a page"),
    ("contractor.page_url", "https://example.com/" + "x" * 190, "210 characters"),
    ("slab.use", "barn", "not known"),
    ("slab.use", 3, "not text"),
    ("slab.length", "34", "no unit"),
    ("slab.length", 34, "no unit"),
    ("slab.length", "0.2 ft", "less than 1 ft"),
    ("slab.length", "34 psi", "unit of a length"),
    ("slab.area", "3 ft2", "less than 4 ft2"),
    ("slab.area", "100001 ft2", "more than 100000 ft2"),
    ("slab.area", "950 ft2", "length times width"),
    ("slab.thickness", 4, 'has no unit; write it as "4 in" or "100 mm"'),
    ("slab.thickness", "1.9 in", "topping"),
    ("slab.thickness", "25 in", "mass concrete"),
    ("slab.area", "40,000 ft2", "comma"),
    ("slab.thickness", "4,5,5 in", "comma"),
    ("slab.on", "gravle", "not known"),
    ("slab.exposure", "on the moon", "not known"),
    ("slab.joint_spacing", "1 in", "less than 2 ft"),
    ("placement.start", "yesterday", "date with a time"),
    ("placement.start", "2026-07-14", "no time of day"),
    ("placement.start", "2026-07-32T06:10:00", "date with a time"),
    ("placement.start", "0026-07-14T06:10:00", "year"),
    ("placement.start", 6, "date with a time"),
    ("placement.end", "2026-07-14T06:10:00", "not after placement.start"),
    ("placement.end", "2026-07-14T20:11:00", "14.02 h after placement.start"),
    ("placement.finished", "2026-07-14T07:00:00", "not after placement.end"),
    ("placement.finished", "2026-07-15T19:26:00", "36.02 h after placement.end"),
    ("placement.concrete_temperature", "34 degF", "less than 35 degF"),
    ("placement.concrete_temperature", "101 degF", "more than 100 degF"),
    ("mix.specified_strength", "1999 psi", "less than 2000 psi"),
    ("mix.specified_strength", "8001 psi", "more than 8000 psi"),
    ("mix.specified_strength", "C25/30", "number"),
    ("mix.cement", "VI", "cement"),
    ("mix.cement", "IP", "slag or ash"),
    ("mix.cement", "CEM III/A 42.5 N", "slag or ash"),
    ("mix.cementitious", "100 lb/yd3", "less than 200"),
    ("mix.water_cementitious", 0.29, "0.3 and 0.7"),
    ("mix.water_cementitious", 0.71, "0.3 and 0.7"),
    ("mix.fly_ash", 20, "write 0.20 for 20 %"),
    ("mix.air", 6, "write 0.06 for 6 %"),
    ("mix.air", 0.13, "0 and 0.12"),
    ("mix.admixtures", "retarder", "not a list"),
    ("mix.admixtures", {"a": 1}, "not a list"),
    ("mix.placed_as_planned", "perhaps", "neither true nor false"),
    ("mix.placed_as_planned", 1, "neither true nor false"),
    ("curing.method", "water", "not known"),
    ("curing.application_rate", "10 in/h", "burst main"),
    ("curing.water_temperature", "30 degF", "ice"),
    ("curing.water_temperature", "130 degF", "scalds"),
    ("curing.timer", "never", "neither true nor false"),
    ("curing.available", "06:30-08:00", "not a list"),
    ("curing.available", ["06:30-08:00", "07:30-09:00"], "overlap"),
    ("curing.available", [f"{hour:02d}:00-{hour:02d}:30" for hour in range(13)], "more than 12"),
    ("curing.blanket_r_value", "R-50", "more than R-30"),
    ("forms.edge", "wood", "neither true nor false"),
    ("temperature_log.file", "../logger.csv", "leads out"),
    ("temperature_log.file", "logger.csv", "does not exist"),
    ("slab", "4 in", "not a table"),
    ("ticket", {"number": "1"}, "not a list of tables"),
    ("owner", [{"name": "x"}], "not a table"),
]

MUST = ["id", "site", "site.name", "slab", "slab.thickness", "placement", "placement.start", "placement.end"]
MUST += ["mix", "mix.specified_strength"]


@pytest.mark.parametrize(
    ("path", "value", "word"), FAULTS, ids=[f"{path}={value!s:.20}" for path, value, _ in FAULTS]
)
def test_each_fault_is_found_at_its_field(spoil: Examine, path: str, value: Any, word: str) -> None:
    examined = spoil({path: value})
    assert examined.record is None
    finding = next(each for each in examined.findings if each.field == path)
    assert finding.severity == "fault"
    assert word in finding.problem
    # What to do about it: what was expected and an example, or how to write it.
    assert (finding.expected and finding.example) or "write it as" in finding.problem
    assert str(finding).isprintable()


@pytest.mark.parametrize("path", MUST)
def test_what_must_be_there_is_missed(spoil: Examine, path: str) -> None:
    (finding,) = spoil({path: None}).findings
    assert finding.field == path
    assert finding.problem.startswith("is missing")


@pytest.mark.parametrize("path", [path for path in MUST if "." in path or path == "id"])
def test_what_must_be_there_may_not_be_blank(spoil: Examine, path: str) -> None:
    (finding,) = spoil({path: "  "}).findings
    assert finding.field == path
    assert finding.problem == "is empty"


def test_a_slab_needs_a_size(spoil: Examine) -> None:
    (finding,) = spoil({"slab.width": None}).findings
    assert finding.field == "slab"
    assert "area" in finding.expected


def test_an_area_alone_is_a_size(spoil: Examine) -> None:
    record = spoil({"slab.width": None, "slab.length": None, "slab.area": "80 m2"}).record
    assert record.slab.area == 80


def test_length_and_width_within_five_percent_of_the_area(spoil: Examine) -> None:
    assert spoil({"slab.area": "900 ft2"}).record.slab.area == pytest.approx(900 * 0.3048**2)


def test_at_sea_the_time_zone_is_needed(spoil: Examine) -> None:
    examined = spoil({"site.longitude": -60.0})
    (fault,) = examined.faults
    assert fault.field == "site.timezone"
    assert "no place on land" in fault.problem


def test_a_place_at_fault_is_one_finding(spoil: Examine) -> None:
    (finding,) = spoil({"site.latitude": 91}).findings
    assert finding.field == "site.latitude"


@pytest.mark.parametrize("one", ["latitude", "longitude"])
def test_one_coordinate_alone_is_a_fault(spoil: Examine, one: str) -> None:
    fields = {finding.field for finding in spoil({f"site.{one}": None}).findings}
    assert len(fields & {"site.latitude", "site.longitude"}) == 1


def test_without_place_the_time_zone_is_needed(spoil: Examine) -> None:
    nowhere = {"site.latitude": None, "site.longitude": None}
    (finding,) = spoil(nowhere).findings
    assert finding.field == "site.timezone"
    record = spoil(nowhere | {"site.timezone": "America/New_York"}).record
    assert (record.site.latitude, record.site.timezone) == (None, "America/New_York")


def test_nought_nought_is_a_forgotten_place(spoil: Examine) -> None:
    findings = spoil({"site.latitude": 0, "site.longitude": 0}).findings
    assert "sea off Africa" in next(each.problem for each in findings if each.field == "site.latitude")


def test_together_ash_and_slag_leave_some_cement(spoil: Examine) -> None:
    (finding,) = spoil({"mix.fly_ash": 0.5, "mix.slag": 0.41}).findings
    assert finding.field == "mix.slag"
    assert spoil({"mix.fly_ash": 0.5, "mix.slag": 0.39}).record


def test_the_limits_themselves_are_good(spoil: Examine) -> None:
    for thickness in ("2 in", "24 in", "50.8 mm", "609.6 mm"):
        assert spoil({"slab.thickness": thickness}).record
    for strength in ("2000 psi", "8000 psi"):
        assert spoil({"mix.specified_strength": strength}).record
    for temperature in ("35 degF", "95 degF"):
        assert spoil({"placement.concrete_temperature": temperature}).findings == ()
    assert spoil({"placement.end": "2026-07-14T20:10:00"}).record


@pytest.mark.parametrize(
    ("changes", "source"),
    [
        ({}, "ACI 305.1"),
        ({"site.country": "AU"}, "New South Wales"),
    ],
)
def test_a_limit_is_that_of_the_country_of_the_site(
    spoil: Examine, changes: dict[str, str], source: str
) -> None:
    """One rule for `check` and for the dates; the finding says whose limit it is."""
    findings = spoil(changes | {"placement.concrete_temperature": "97 degF"}).findings
    (hot,) = [each for each in findings if each.field == "placement.concrete_temperature"]
    assert "over 95 °F" in hot.problem
    assert source in hot.problem


def test_a_country_changes_a_limit(spoil: Examine, monkeypatch: pytest.MonkeyPatch) -> None:
    rules = practice("au").rules
    for name, value in (("heat.discharge", 30.0), ("placement.longest", 1.0)):
        monkeypatch.setitem(rules, name, replace(rules[name], value=value))
    warm = {"placement.concrete_temperature": "31 degC"}
    assert spoil(warm).findings == ()
    fields = {each.field for each in spoil(warm | {"site.country": "AU"}).findings}
    assert fields == {
        "site.country",
        "placement.concrete_temperature",
        "placement.end",
    }  # and it is no zone of AU


CAUTIONS = [
    ({"placement.concrete_temperature": "96 degF"}, "placement.concrete_temperature"),
    ({"ticket": [{"slump": "7 in"}]}, "ticket[1].slump"),
    ({"ticket": [{}, {"temperature": "36 degC"}]}, "ticket[2].temperature"),
    ({"ticket": [{"batched": "2026-07-13T23:00:00"}]}, "ticket[1].batched"),
    ({"ticket": [{"batched": "2026-07-14T08:00:00"}]}, "ticket[1].batched"),
    ({"ticket": [{"volume": "8 yd3"}]}, "ticket"),  # 884 ft2 of 4 in is 10.9 yd3
    ({"site.timezone": "America/Los_Angeles"}, "site.timezone"),
    ({"contractor.logo": "logo.png"}, "contractor.logo"),
    ({"walkthrough": [{"item": "Door", "photo": "door.jpg"}]}, "walkthrough[1].photo"),
    ({"placement.start": "2026-07-14T06:10:00-05:00"}, "placement.start"),
    ({"acknowledgement": {"name": "A", "time": "2026-07-14T16:10:00-05:00"}}, "acknowledgement.time"),
    ({"site.longitude": -60.0, "site.timezone": "America/New_York"}, "site.longitude"),
]


@pytest.mark.parametrize(("changes", "field"), CAUTIONS, ids=[field for _, field in CAUTIONS])
def test_what_is_doubtful_is_said_and_the_job_goes_on(
    spoil: Examine, changes: dict[str, Any], field: str
) -> None:
    examined = spoil(changes)
    (finding,) = examined.findings
    assert (finding.field, finding.severity) == (field, "caution")
    assert examined.record is not None


def test_a_picture_that_is_not_there_is_left_out_of_the_record(spoil: Examine) -> None:
    examined = spoil({"contractor.logo": "logo.png", "walkthrough": [{"item": "Door", "photo": "door.jpg"}]})
    assert examined.record.contractor.logo is None
    assert examined.record.walkthrough[0].photo is None


def test_tickets_that_fit_the_slab_are_no_finding(spoil: Examine) -> None:
    assert spoil({"ticket": [{"volume": "6 yd3"}, {"volume": "5.5 yd3"}]}).findings == ()


UNKNOWN = [
    ("slab.lenght", "length"),
    ("slab.thikness", "thickness"),
    ("mix.strength", "specified_strength"),
    ("placment", "placement"),
    ("placement.thickness", "[slab] thickness"),
    ("contractor.licence", "license"),
]


@pytest.mark.parametrize(("path", "near"), UNKNOWN)
def test_an_unknown_key_is_reported_with_the_nearest(spoil: Examine, path: str, near: str) -> None:
    (finding,) = spoil({path: "4 in"}).findings
    assert finding.field == path
    assert f"did you mean {near}?" in finding.problem


def test_a_key_without_a_similar_one_is_reported_with_all_keys(spoil: Examine) -> None:
    (finding,) = spoil({"slab.zzz": 1}).findings
    assert "thickness" in finding.expected


REFUSED = [
    ("slab.use", "suspended slab"),
    ("slab.use", "second floor deck"),
    ("slab.use", "balcony"),
    ("slab.use", "roof"),
    ("slab.use", "stairs"),
    ("slab.use", "column"),
    ("slab.use", "beam"),
    ("slab.use", "footing"),
    ("slab.use", "retaining wall"),
    ("slab.on", "shores"),
    ("slab.on", "formwork"),
    ("slab.on", "steel deck"),
    ("slab.reinforcement", "metal deck, #4 over beams"),
    ("slab.reinforcement", "elevated slab, two mats"),
]


@pytest.mark.parametrize(("path", "words"), REFUSED)
def test_what_is_no_slab_on_ground_is_refused(spoil: Examine, path: str, words: str) -> None:
    examined = spoil({path: words})
    (finding,) = examined.findings
    assert examined.record is None
    assert finding.field == path
    assert "slab on ground" in finding.problem
    assert "engineer of record" in finding.problem


@pytest.mark.parametrize(
    "words",
    [
        "#4 bars dowelled into the footing",
        "thickened edge under the wall",
        "mesh, columns on separate pads",
        "PT",
    ],
)
def test_what_a_slab_on_ground_may_touch_is_not_refused(spoil: Examine, words: str) -> None:
    assert spoil({"slab.reinforcement": words}).record


def test_a_deck_by_a_pool_is_a_patio(spoil: Examine) -> None:
    (finding,) = spoil({"slab.use": "pool deck"}).findings
    assert "not known" in finding.problem


@pytest.mark.parametrize(
    ("cylinder", "field", "word"),
    [
        ({"age": "7 d"}, "cylinder[1].strength", "is missing"),
        ({"age": "7 d", "tested": "2026-07-21T09:00:00", "strength": "20 MPa"}, "cylinder[1]", "both"),
        ({"tested": "2026-07-13T09:00:00", "strength": "20 MPa"}, "cylinder[1].tested", "not after"),
        ({"strength": "20 MPa", "cured": "oven"}, "cylinder[1].cured", "not known"),
        ({"age": "1 h", "strength": "20 MPa"}, "cylinder[1].age", "less than 4 h"),
        ("20 MPa", "cylinder[1]", "not a list of tables"),
    ],
)
def test_cylinders(spoil: Examine, cylinder: Any, field: str, word: str) -> None:
    findings = {finding.field: finding for finding in spoil({"cylinder": [cylinder]}).findings}
    assert word in findings[field].problem


@pytest.mark.parametrize(
    ("look", "field", "word"),
    [
        ({"scratch": [{"time": "2026-07-14T15:00:00"}]}, "scratch[1].marks", "is missing"),
        ({"scratch": [{"time": "2026-07-14T05:00:00", "marks": True}]}, "scratch[1].time", "not after"),
        ({"scratch": [{"time": "2026-07-24T05:00:00", "marks": True}]}, "scratch[1].time", "too late"),
        ({"scratch": [{"time": "2026-07-14T15:00:00", "marks": "a bit"}]}, "scratch[1].marks", "neither"),
        ({"infrared": [{"time": "2026-07-14T15:00:00"}]}, "infrared[1].temperature", "is missing"),
        (
            {"infrared": [{"time": "2026-07-14T15:00:00", "temperature": "300 degF"}]},
            "infrared[1].temperature",
            "more than 170",
        ),
    ],
)
def test_looks_at_the_surface(spoil: Examine, look: Any, field: str, word: str) -> None:
    findings = {finding.field: finding for finding in spoil(look).findings}
    assert word in findings[field].problem


@pytest.mark.parametrize(
    "text",
    [
        "6-8",
        "06:30",
        "08:00-06:30",
        "22:00-02:00",
        "24:00-25:00",
        "06:30 and 08:00",
        "6-8 pm",
        "06:3\u0660-08:00",
    ],
)
def test_hours_that_are_none(spoil: Examine, text: str) -> None:
    (finding,) = spoil({"curing.available": ["05:00-06:00", text]}).findings
    assert finding.field == "curing.available[2]"


def test_everything_at_once_in_the_order_of_the_lines(examine: Examine) -> None:
    examined = examine("""\
id = "a b"
nmae = "x"

[site]
name = "x"
latitude = 99

[slab]
length = 34
width = "26 ft"
thickness = "40 in"
on = "grvel"

[placement]
start = 2026-07-14
end = 2026-07-14T07:25:00
finished = 2026-07-14T07:00:00

[mix]
fly_ash = 0.6
slag = 0.6
admixtures = [4, "retarder"]

[[ticket]]
slump = "4 in"

[[ticket]]
slump = "4"
number = 12.5
""")
    problems = [
        (finding.line, finding.field) for finding in examined.findings if finding.field != "site.longitude"
    ]
    assert problems == [
        (1, "id"),
        (2, "nmae"),
        (6, "site.latitude"),
        (9, "slab.length"),
        (11, "slab.thickness"),
        (12, "slab.on"),
        (15, "placement.start"),
        (17, "placement.finished"),
        (19, "mix.specified_strength"),
        (21, "mix.slag"),
        (22, "mix.admixtures[1]"),
        (28, "ticket[2].slump"),
        (29, "ticket[2].number"),
    ]


def test_the_line_is_before_the_field(examine: Examine, good: str) -> None:
    (finding,) = examine(good.replace('"4 in"', "4")).findings
    message = str(finding)
    assert 'job.toml:12: slab.thickness: 4 has no unit; write it as "4 in" or "100 mm"' in message
    assert message.endswith('for example thickness = "4 in"')  # four millimetres are no slab


def test_lines_in_json(examine: Examine, good: str) -> None:
    tables = tomllib.loads(good) | {"ticket": [{"slump": "4 in"}, {"slump": 4}]}
    text = json.dumps(tables, indent=1, default=datetime.isoformat)
    (finding,) = examine(text).findings
    assert finding.field == "ticket[2].slump"
    assert text.splitlines()[finding.line - 1].strip() == '"slump": 4'


HIDDEN = "a\u202eb\x1b[31mc\x00d"


def paths_of_fields() -> list[str]:
    """Return the path of every field of every table."""
    return [f"{name}.{key}" for name, table in tables().items() for key in fields_of(table)]


@pytest.mark.parametrize("path", ["id", "site.na\u202eme", f"{HIDDEN}.x", *paths_of_fields()])
def test_no_finding_has_a_hidden_character(spoil: Examine, path: str) -> None:
    for value in (HIDDEN, [HIDDEN], {HIDDEN: HIDDEN}):
        findings = spoil({path: value}).findings
        assert findings
        for each in findings:
            texts = (each.problem, each.file, each.field, each.expected, each.example, str(each))
            assert not [text for text in texts if text and any(map(is_hidden, text))]


def test_of_thousands_of_unknown_keys_some_are_described_and_the_others_counted(spoil: Examine) -> None:
    findings = spoil({f"slab.key{number}": number for number in range(3000)} | {"mix.air": "much"}).findings
    assert len(findings) == MAX_FINDINGS + 1
    assert "and 2951 more like these" in [each.problem for each in findings]
    assert "mix.air" in [each.field for each in findings]  # what is known comes first
