"""Records that are right: what comes out of them."""

import json
import tomllib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from handover.errors import UnusableInput
from handover.jobs.fields import QuantityField
from handover.jobs.reading import ExaminedRecord, examine_job, read_job
from handover.jobs.record import Curing, Slab

Examine = Callable[..., ExaminedRecord]

FULL_US = """\
id = "same-job"
site = {name = "Yard", address = "1 Mill Road", timezone = "America/Toronto", country = "CA"}
[owner]
name = "Lee Park"
email = "lee@example.com"
language = "es"
[slab]
use = "Driveway"
length = "40 ft"
width = "30 ft"
thickness = "5 in"
on = "gravel"
joint_spacing = "10 ft"
[placement]
start = 2026-05-05T08:30:00
end = 2026-05-05T10:00:00
finished = 2026-05-05T13:00:00
concrete_temperature = "68 degF"
[mix]
specified_strength = "4000 psi"
cement = "II"
cementitious = "600 lb/yd3"
water_cementitious = 0.45
fly_ash = 0.2
slag = 0
air = 0.06
admixtures = ["air entrainer"]
[[ticket]]
number = "1"
batched = 2026-05-05T08:01:00
volume = "9 yd3"
slump = "4 in"
temperature = "68 degF"
water_added = "10 gal"
[[ticket]]
volume = "9.5 yd3"
[curing]
method = "insulating blanket"
blanket_r_value = "R-5"
application_rate = "0.5 in/h"
water_temperature = "59 degF"
available = ["17:00-21:00", "6:30 - 8:00"]
[forms]
edge = false
[[cylinder]]
age = "7 d"
strength = "2900 psi"
cured = "field"
"""

FULL_SI = (
    FULL_US.replace('"40 ft"', '"12.192 m"')
    .replace('"30 ft"', '"9144 mm"')
    .replace('"5 in"', '"127 mm"')
    .replace('"10 ft"', '"304.8 cm"')
    .replace('"68 degF"', '"20 C"')
    .replace('"4000 psi"', '"27.579029 N/mm2"')
    .replace('"600 lb/yd3"', '"355.965853 kg/m3"')
    .replace('"9 yd3"', '"6.8809937 m3"')
    .replace('"9.5 yd3"', '"7.2632712 m3"')
    .replace('"4 in"', '"101.6 mm"')
    .replace('"10 gal"', '"37.85411784 L"')
    .replace('"R-5"', '"0.880550918 m2K/W"')
    .replace('"0.5 in/h"', '"12.7 mm/h"')
    .replace('"59 degF"', '"15 degC"')
    .replace('"7 d"', '"168 h"')
    .replace('"2900 psi"', '"19.994796 MPa"')
)


def numbers(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Yield every number of a record with its path."""
    if isinstance(value, dict):
        for key, each in value.items():
            yield from numbers(each, f"{path}.{key}")
    elif isinstance(value, list | tuple):
        for index, each in enumerate(value):
            yield from numbers(each, f"{path}[{index}]")
    elif isinstance(value, float):
        yield path, value


def test_the_least_record_is_enough(examine: Examine, good: str) -> None:
    examined = examine(good)
    assert examined.findings == ()
    record = examined.record
    assert record.id == "2026-07-14-alder-garage"
    # 4 in and 26 ft x 34 ft, by the definition of the inch.
    assert record.slab.thickness == pytest.approx(0.1016)
    assert record.slab.area == pytest.approx(26 * 34 * 0.3048**2)
    assert record.mix.specified_strength == pytest.approx(20.684, abs=1e-3)
    assert examined.source.data.decode() == good


def test_times_are_aware_and_are_in_the_sites_zone(examine: Examine, good: str) -> None:
    record = examine(good).record
    assert record.site.timezone == "America/New_York"
    assert record.zone == ZoneInfo("America/New_York")
    assert record.placement.start.tzinfo is record.zone
    # Greensboro keeps UTC-4 in July.
    assert record.placement.start.astimezone(UTC) == datetime(2026, 7, 14, 10, 10, tzinfo=UTC)


def test_us_and_si_records_of_one_job_are_one(examine: Examine) -> None:
    us, si = examine(FULL_US), examine(FULL_SI)
    assert us.findings == si.findings == ()
    us_numbers, si_numbers = (dict(numbers(each.record.model_dump())) for each in (us, si))
    assert us_numbers.keys() == si_numbers.keys()
    assert len(us_numbers) >= 20
    # The SI text above has eight or nine figures.
    assert us_numbers == pytest.approx(si_numbers, rel=1e-7)
    # Apart from its numbers, nothing differs either.
    hidden = {"slab": {"length", "width", "area", "thickness", "joint_spacing"}, "mix": True, "ticket": True}
    hidden |= {
        "curing": True,
        "cylinder": True,
        "written_in": True,
        "placement": {"concrete_temperature"},
        "assumed": True,
    }
    assert us.record.model_dump(exclude=hidden) == si.record.model_dump(exclude=hidden)


def test_json_of_the_same_shape_is_the_same_record(examine: Examine) -> None:
    tables = tomllib.loads(FULL_US)
    as_json = examine(json.dumps(tables, default=datetime.isoformat), "anything.txt")
    assert as_json.findings == ()
    assert as_json.record == examine(FULL_US).record


def test_null_in_json_is_left_out(examine: Examine, good: str) -> None:
    assert examine(json.dumps({"owner": None} | tomllib.loads(good), default=datetime.isoformat)).record


def test_blank_text_is_left_out(examine: Examine, good: str) -> None:
    record = examine(good + '[owner]\nname = ""\nemail = " "\n').record
    assert record.owner.name is None
    assert record.owner.email is None


def test_a_number_from_the_file_is_not_assumed(examine: Examine) -> None:
    assumed_fields = {assumed.field for assumed in examine(FULL_US).record.assumed}
    assert assumed_fields == {"slab.joints", "slab.exposure", "curing.timer"}


def test_what_is_left_out_is_assumed_and_said(examine: Examine, good: str) -> None:
    record = examine(good).record
    assumed_fields = {assumed.field: assumed for assumed in record.assumed}
    assert {
        "site.timezone",
        "mix.cement",
        "mix.cementitious",
        "mix.water_cementitious",
    } <= assumed_fields.keys()
    assert all(assumed.value and assumed.why for assumed in record.assumed)
    assert record.mix.water_cementitious == 0.50
    # "6 sacks": 564 lb/yd3 is 335 kg/m3 to a tenth.
    assert record.mix.cementitious == pytest.approx(564 * 0.45359237 / 0.9144**3, abs=0.1)
    assert assumed_fields["mix.cementitious"].value == "334.6 kg/m3"


def test_every_assumed_value_is_in_the_record(examine: Examine, good: str) -> None:
    record = examine(good).record
    for assumed in record.assumed:
        table, key = assumed.field.split(".")
        assert getattr(getattr(record, table), key) is not None


@pytest.mark.parametrize(
    ("method", "waters"),
    [
        ("sprinkler", True),
        ("soaker hose", True),
        ("ponding", True),
        ("wet burlap", True),
        ("plastic sheet", True),  # the slab is wetted before the sheet goes on
        ("curing compound", False),
        ("insulating blanket", False),
    ],
)
def test_a_rate_is_assumed_only_where_water_is_applied(
    examine: Examine, good: str, method: str, waters: bool
) -> None:
    curing = examine(good + f'[curing]\nmethod = "{method}"\n').record.curing
    assert (curing.application_rate is not None) is waters
    assert (curing.blanket_r_value is not None) is (method == "insulating blanket")


def test_the_temperature_of_the_concrete_comes_from_the_tickets(examine: Examine, good: str) -> None:
    tickets = '[[ticket]]\nvolume = "6 m3"\ntemperature = "20 degC"\n'
    tickets += '[[ticket]]\nvolume = "2 m3"\ntemperature = "24 degC"\n'
    record = examine(good + tickets).record
    assert record.placement.concrete_temperature == pytest.approx((6 * 20 + 2 * 24) / 8)
    assert "placement.concrete_temperature" in {assumed.field for assumed in record.assumed}


def test_a_measured_temperature_goes_before_the_tickets(examine: Examine, good: str) -> None:
    text = good.replace("\n[mix]", 'concrete_temperature = "19 degC"\n\n[mix]')
    record = examine(text + '[[ticket]]\ntemperature = "24 degC"\n').record
    assert record.placement.concrete_temperature == 19


@pytest.mark.parametrize(
    ("written", "cement"),
    [
        ("I", "I"),
        ("Type II", "II"),
        ("type III", "III"),
        ("ASTM C150 Type V", "V"),
        ("I/II", "II"),
        ("Type I/II", "II"),
        ("IL", "I"),
        ("Type 1L", "I"),
        ("GU", "I"),
        ("HE", "III"),
        ("32.5 N", "32.5 N"),
        ("42.5R", "42.5 R"),
        ("42,5 N", "42.5 N"),
        ("CEM I 52.5 R", "52.5 R"),
        ("CEM II/A-LL 42.5 N", "42.5 N"),
    ],
)
def test_cements_by_the_names_they_go_by(spoil: Examine, written: str, cement: str) -> None:
    assert spoil({"mix.cement": written}).record.mix.cement == cement


def test_a_cement_alias_is_reported(spoil: Examine) -> None:
    assumed = {each.field: each for each in spoil({"mix.cement": "Type IL"}).record.assumed}
    assert assumed["mix.cement"].value == "I"
    assert "limestone" in assumed["mix.cement"].why


def test_windows_are_the_hours_in_order(examine: Examine) -> None:
    assert examine(FULL_US).record.curing.windows == ((time(6, 30), time(8)), (time(17), time(21)))
    assert Curing().windows == ()


@pytest.mark.parametrize(
    ("reinforcement", "tendons"),
    [
        ("post-tensioned, 1/2 in strands", True),
        ("PT slab", True),
        ("P/T", True),
        ("unbonded tendon each way", True),
        ("Posttensioning by others", True),
        ("6x6 W2.9 mesh", False),
        ("#4 at 18 in, apt. B", False),
        ("fibre, option 2", False),
        (None, False),
    ],
)
def test_tendons_are_seen(reinforcement: str | None, tendons: bool) -> None:
    assert Slab(area=10, thickness=0.1, reinforcement=reinforcement).has_tendons is tendons


def test_markup_is_kept_as_text(spoil: Examine) -> None:
    name = '<b>Alder</b> & {{ sons }} "%s" BEGIN:VEVENT'
    assert spoil({"site.name": name}).record.site.name == name


def test_lines_stay_in_a_note(examine: Examine, good: str) -> None:
    record = examine(good + '[[walkthrough]]\nitem = "Door"\nnote = """two\r\nlines"""\n').record
    assert record.walkthrough[0].note == "two\nlines"


def test_read_job_returns_the_record_or_raises_all_findings(tmp_path: Path, good: str) -> None:
    path = tmp_path / "job.toml"
    path.write_text(good)
    assert read_job(path) == read_job(str(path)) == examine_job(path).record
    path.write_text(good.replace('"4 in"', "4").replace('"3000 psi"', '"300 psi"'))
    with pytest.raises(UnusableInput) as raised:
        read_job(path)
    assert {finding.field for finding in raised.value.findings} == {
        "slab.thickness",
        "mix.specified_strength",
    }


def test_keys_in_any_order_are_the_same_record(examine: Examine, good: str) -> None:
    head, *parts = good.split("\n\n")
    assert examine("\n\n".join([head, *reversed(parts)])).record == examine(good).record


@pytest.mark.parametrize(
    "address",
    ["https://example.com", "https://care.example.com:8443/2026/alder-lane.html?language=es#dates"],
)
def test_where_the_page_will_live(examine: Examine, good: str, address: str) -> None:
    examined = examine(f'{good}[contractor]\npage_url = "{address}"\n')
    assert examined.record.contractor.page_url == address


def test_each_quantity_is_read_once(examine: Examine, monkeypatch: pytest.MonkeyPatch) -> None:
    """The zone of the site is applied to what was read: nothing is read again for it."""
    seen: list[str] = []
    parse = QuantityField.parse

    def parse_and_note(field: QuantityField, raw: str) -> object:
        seen.append(raw)
        return parse(field, raw)

    monkeypatch.setattr(QuantityField, "parse", parse_and_note)
    assert examine(FULL_US).record is not None
    assert {each: seen.count(each) for each in seen} == {
        each: FULL_US.count(f'"{each}"') for each in {*seen, "5 in", "68 degF"}
    }
