"""A card from the changes of its phones, its record, and its findings."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from itertools import permutations
from typing import TYPE_CHECKING

import pytest

from handover.errors import UnusableInput
from handover.jobs.reading import examine_source
from handover.service.desk.card_record import (
    CardPicture,
    card_source,
    examine_card,
    job_id,
    job_name,
    record_tables,
    site_name,
    walk_items,
)
from handover.service.desk.card_suggestions import carried_texts, offered_texts, written_text
from handover.service.desk.job_cards import (
    CardChange,
    CardEntry,
    JobCard,
    changed_texts,
    fold_changes,
    read_entries,
    read_field_name,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

NOW = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)

DAY = {
    "owner.name": "Lee Park",
    "owner.phone": "336-555-0117",
    "site.address": "12 Alder Lane, Greensboro NC",
    "site.latitude": "36.10, -79.95",
    "slab.use": "garage floor",
    "slab.length": "34 ft",
    "slab.width": "26 ft",
    "slab.thickness": "4 in",
    "placement.start": "2026-07-14T06:40",
    "placement.end": "2026-07-14T08:05",
    "mix.specified_strength": "3000 psi",
}
"""What a crew has at the end of a day."""


def change(key: str, phone: str, base: int, texts: Mapping[str, str], minutes: int = 0) -> CardChange:
    at = NOW + timedelta(minutes=minutes)
    return CardChange(key, phone, base, {name: CardEntry(text, at) for name, text in texts.items()})


def card_of(texts: Mapping[str, str]) -> JobCard:
    return fold_changes([change("a", "one", 0, texts)])


# ---- phones -----------------------------------------------------------------------------------------


def test_a_later_text_of_one_phone_replaces_the_earlier_even_before_it_heard_of_it() -> None:
    card = fold_changes(
        [change("a", "one", 0, {"slab.width": "20 ft"}), change("b", "one", 0, {"slab.width": "26 ft"})]
    )
    assert card.text("slab.width") == "26 ft"
    assert not card.conflicts


def test_texts_of_two_phones_that_did_not_see_one_another_are_both_kept() -> None:
    card = fold_changes(
        [
            change("a", "one", 0, {"slab.width": "20 ft", "slab.use": "patio"}),
            change("b", "two", 0, {"slab.width": "26 ft", "slab.use": "patio"}),
        ]
    )
    assert [each.text for each in card.conflicts["slab.width"]] == ["20 ft", "26 ft"]
    assert "slab.use" not in card.conflicts  # both say the same


def test_a_phone_that_saw_the_other_text_replaces_it() -> None:
    first = change("a", "one", 0, {"slab.width": "20 ft"})
    assert not fold_changes([first, change("b", "two", 1, {"slab.width": "26 ft"})]).conflicts


def test_a_person_chooses_and_both_phones_have_it() -> None:
    changes = [
        change("a", "one", 0, {"slab.width": "20 ft"}),
        change("b", "two", 0, {"slab.width": "26 ft"}),
        change("c", "one", 2, {"slab.width": "26 ft"}),
    ]
    card = fold_changes(changes)
    assert not card.conflicts
    assert card.text("slab.width") == "26 ft"


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_no_text_is_lost_in_whatever_order_changes_arrive(order: tuple[int, ...]) -> None:
    blind = [change(str(each), f"phone {each}", 0, {"mix.supplier": f"plant {each}"}) for each in range(3)]
    card = fold_changes([blind[each] for each in order])
    assert {each.text for each in card.entries["mix.supplier"]} == {"plant 0", "plant 1", "plant 2"}


def test_a_change_that_arrives_twice_counts_once() -> None:
    once = change("a", "one", 0, {"slab.width": "20 ft"})
    later = change("b", "one", 1, {"slab.width": "26 ft"})
    assert fold_changes([once, later, once, later]) == fold_changes([once, later])


def test_a_whole_form_changes_only_what_differs() -> None:
    card = card_of(DAY)
    assert changed_texts(card, {**DAY, "slab.width": " 24 ft ", "owner.email": ""}) == {
        "slab.width": " 24 ft "
    }


# ---- names ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["slab.thickness", "ticket[2].slump", "walkthrough[joints].ok"])
def test_a_field_of_the_record_is_one_of_the_card(name: str) -> None:
    assert read_field_name(name) is not None


@pytest.mark.parametrize(
    "name",
    [
        "slab", "id", "slab.colour", "slab[1].use", "ticket.slump", "ticket[0].slump", "ticket[201].slump",
        "mix.cement_ordered", "../x.y", "temperature_log.readings", "ticket[].slump", "",
    ],
)  # fmt: skip
def test_another_name_is_none(name: str) -> None:
    assert read_field_name(name) is None


def test_what_is_no_field_or_no_text_is_refused_whole() -> None:
    sent: dict[str, object] = {
        "slab.use": "patio",
        "slab.depth": "4 in",
        "owner.name": 3,
        "site.name": "x" * 2001,
    }
    with pytest.raises(UnusableInput) as refused:
        read_entries(sent, dict.fromkeys(sent, NOW))
    assert [each.field for each in refused.value.findings] == ["slab.depth", "owner.name", "site.name"]


# ---- record and findings ----------------------------------------------------------------------------


def test_a_day_makes_a_record_without_findings() -> None:
    source = card_source(card_of(DAY), "2026-07-14-lee", (), {})
    examined = examine_source(source)
    assert examined.record is not None, examined.findings
    assert examined.record.site.name == "Alder Lane, garage floor"
    assert examined.record.zone.key == "America/New_York"
    assert examined.record.placement.start.isoformat() == "2026-07-14T06:40:00-04:00"
    assert examine_card(card_of(DAY)).is_complete


def test_numbers_lists_and_flags_are_written_as_the_record_has_them() -> None:
    more = {
        "mix.air": "6 %",
        "mix.admixtures": "retarder, air entrainer",
        "forms.edge": "yes",
        "curing.available": "6:30 to 8 am and 5 pm to 9 pm",
        "slab.slope": "1/4 in per foot",
    }
    text = card_source(card_of({**DAY, **more}), "j", (), {}).data.decode()
    tables = tomllib.loads(text)
    assert tables["mix"]["air"] == 0.06
    assert tables["mix"]["admixtures"] == ["retarder", "air entrainer"]
    assert tables["forms"]["edge"] is True
    assert tables["slab"]["slope"] == pytest.approx(0.25 / 12)
    record = examine_source(card_source(card_of({**DAY, **more}), "j", (), {})).record
    assert record is not None
    assert record.curing.available == ("06:30-08:00", "17:00-21:00")


def test_an_empty_card_misses_what_a_record_must_have_and_has_no_fault() -> None:
    found = examine_card(JobCard())
    assert not found.is_complete
    assert not found.at_fields
    assert set(found.missing) == {
        "site.name", "site.latitude", "slab.length", "slab.thickness", "placement.start", "placement.end",
        "mix.specified_strength",
    }  # fmt: skip
    assert not found.others


def test_each_field_that_is_filled_in_is_missing_no_more() -> None:
    for name in ("slab.thickness", "placement.start", "mix.specified_strength", "site.latitude"):
        found = examine_card(card_of({name: DAY[name]}))
        assert name not in found.missing
        assert name not in found.at_fields


def test_a_fault_is_at_its_field_in_the_words_of_check() -> None:
    card = card_of({**DAY, "slab.thickness": "40 in", "ticket[3].slump": "4 ft"})
    found = examine_card(card)
    record = examine_source(card_source(card, "j", (), {}))
    assert set(found.at_fields) == {"slab.thickness", "ticket[3].slump"}
    words = {each.problem for some in found.at_fields.values() for each in some}
    assert words == {each.problem for each in record.findings}
    assert not found.is_complete


def test_one_side_alone_is_a_fault_at_the_size() -> None:
    found = examine_card(card_of({name: text for name, text in DAY.items() if name != "slab.width"}))
    assert set(found.at_fields) == {"slab.length"}


def test_a_link_without_place_is_a_fault_at_the_place() -> None:
    found = examine_card(card_of({**DAY, "site.latitude": "https://maps.example.com/s/x"}))
    assert set(found.at_fields) == {"site.latitude"}


def test_the_walk_names_its_items_in_the_owners_language() -> None:
    texts = {**DAY, "walkthrough[joints].ok": "yes", "walkthrough[edges].ok": "no", "owner.language": "es"}
    walk = record_tables(card_of(texts), "j")["walkthrough"]
    assert [each["item"] for each in walk] == [
        "Juntas: rectas, limpias, bien hondas",
        "Bordes: sin roturas ni hoyos",
    ]
    assert [each["ok"] for each in walk] == [True, False]


def test_an_item_that_nobody_looked_at_is_not_in_the_record() -> None:
    texts = {**DAY, "walkthrough[1].item": "Door line"}
    assert "walkthrough" not in record_tables(card_of(texts), "j")


def test_a_photo_of_an_item_is_in_the_record_and_another_is_not() -> None:
    pictures = [CardPicture("photos/a.jpg", "walkthrough[joints]"), CardPicture("photos/b.jpg", "slab")]
    walk = record_tables(card_of(DAY), "j", pictures)["walkthrough"]
    assert walk == [{"photo": "photos/a.jpg", "item": "Joints: straight, clean, deep enough"}]


def test_the_walk_goes_with_the_slab() -> None:
    assert "joints" in walk_items(card_of(DAY))
    assert "joints" not in walk_items(card_of({**DAY, "slab.joints": "none"}))
    assert walk_items(card_of({"slab.use": "patio"})) != walk_items(card_of(DAY))


def test_the_name_of_a_job_comes_from_street_or_owner() -> None:
    assert job_name(card_of(DAY)) == "12 Alder Lane"
    assert job_name(card_of({"owner.name": "Lee Park"})) == "Lee Park"
    assert job_id(card_of({"owner.name": "Zoë Núñez"}), "2026-07-14") == "2026-07-14-zoe-nunez"
    assert job_id(JobCard(), "2026-07-14") == "2026-07-14-job"


def test_the_papers_name_a_house_once_and_a_slab_in_the_owners_language() -> None:
    street = {"site.address": "12 Alder Lane, Greensboro NC", "slab.use": "garage floor"}
    assert site_name(card_of(street)) == "Alder Lane, garage floor"
    assert site_name(card_of({**street, "owner.language": "es"})) == "Alder Lane, piso de garaje"
    assert site_name(card_of({**street, "site.name": "Barn"})) == "Barn"
    assert site_name(card_of({"owner.name": "Lee Park"})) == "Lee Park"
    assert site_name(card_of({"site.address": "Mill, Route 7"})) == "Mill"


def test_what_is_left_counts_what_is_missing_and_what_is_wrong() -> None:
    assert examine_card(card_of(DAY)).open_count == 0
    without = {name: text for name, text in DAY.items() if name != "placement.end"}
    assert examine_card(card_of({**without, "slab.thickness": "40 in"})).open_count == 2


# ---- what the last job said -------------------------------------------------------------------------

LAST = {
    "owner": {"name": "Dana"},
    "contractor": {"name": "Blue Heron Concrete"},
    "slab": {"use": "patio", "thickness": "4 in", "joints": "sawn"},
    "mix": {"air": 0.06, "admixtures": ["retarder", "air entrainer"], "specified_strength": "3000 psi"},
    "curing": {"timer": False, "available": ["06:30-08:00", "17:00-21:00"]},
}


def test_the_firm_and_its_mix_are_carried_and_what_moves_the_dates_of_a_slab_is_not() -> None:
    carried = carried_texts(LAST)
    assert carried["contractor.name"] == "Blue Heron Concrete"
    assert carried["mix.air"] == "0.06"
    assert carried["curing.timer"] == "no"
    assert not {"slab.use", "slab.thickness", "owner.name", "placement.start"} & carried.keys()
    assert carried_texts(None) == {}


def test_what_is_carried_reads_as_it_was_written() -> None:
    again = record_tables(card_of(carried_texts(LAST)), "j")
    assert again["mix"] == LAST["mix"]
    assert again["curing"] == LAST["curing"]


def test_every_carried_field_is_a_field() -> None:
    assert all(read_field_name(name) for name in carried_texts(LAST))


def test_the_firm_offers_what_it_used_last_first_and_each_once() -> None:
    records = [
        {"mix": {"supplier": each}} for each in ("Stone", "Copper", "Stone", "", "Clay", "Lime", "Ash")
    ]
    assert offered_texts(records, "mix.supplier") == ("Stone", "Copper", "Clay", "Lime")
    assert written_text({"mix": 3}, "mix.supplier") == ""
