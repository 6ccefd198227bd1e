"""The rules of each country: every file whole, sourced, marked, and monotone (colder never shorter)."""

from __future__ import annotations

import re
import tomllib
from dataclasses import asdict
from importlib.resources import files
from itertools import pairwise, product
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
import pytest

from handover.jobs.country_codes import countries
from handover.jobs.record import Exposure, SlabUse
from handover.practice.rules import (
    STRICTEST,
    Circumstances,
    Durations,
    Mark,
    RuleSet,
    practice,
    rule_set_of,
    rule_sets,
    sets_of_countries,
)
from handover.schedule.duration_tables import required_hours
from handover.schedule.durations import COLUMN_SELECTORS
from handover.schedule.gate_evaluators import AFTER_ANOTHER_DATE, GATE_EVALUATORS
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Iterator

FOLDER = files("handover.practice").joinpath("countries")
BY_NUMBER = {"united_states.toml", "united_states_ufgs.toml"}
"""The guides of the United States (UFGS 03301A) are named by their numbers."""
FILES = sorted(entry.name for entry in FOLDER.iterdir() if entry.name.endswith(".toml"))
SETS = list(rule_sets().values())
TABLES = [table for each in SETS for table in each.durations.values()]
MARKS = set(get_args(Mark))
UNITS = {"h", "d", "degC", "K", "MPa", "m", "1"}
HEAD = {"code", "name", "countries", "basis", "extends", "replaces", "tables_of"}
GENERAL = practice().rules
SHORTEST_SOURCE = 10  # characters
EDITION = re.compile(r"\b(19|20)\d\d\b|[-:]\d\d\b|without a year|trade|of the New South Wales type|practice")
"""A year ("IS 456:2000", "CSA A23.1-94"), or words for what has no edition."""


def of_a_set(which: RuleSet) -> str:
    return which.code


def written(name: str) -> dict[str, Any]:
    """Return a country's file, with the tables of durations that it shares with another."""
    tables = tomllib.loads(FOLDER.joinpath(name).read_text(encoding="utf-8"))
    if "tables_of" in tables["set"]:
        tables["durations"] = written(f"{tables['set']['tables_of']}.toml")["durations"]
    return tables


def rows(tables: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every row of a file with its name."""
    for group, named in tables.items():
        if group == "gate":
            yield from ((row["rule"], row) for row in named)
        elif group != "set":
            yield from ((f"{group}.{name}", row) for name, row in named.items())


def slab_circumstances() -> Iterator[Circumstances]:
    """Yield slabs of every kind that the rules distinguish."""
    cements = practice().cements
    for use, exposure, cement in product(get_args(SlabUse), get_args(Exposure), cements):
        for additions, reinforced in product((0.0, 0.2, 0.25, 0.4), (True, False)):
            yield Circumstances(use, exposure, cement, additions, reinforced)


# ---- shape, units, sources, marks


@pytest.mark.parametrize("name", FILES)
def test_every_row_says_where_it_comes_from_and_how_sure_we_are(name: str) -> None:
    tables = written(name)
    assert set(tables["set"]) <= HEAD
    for rule, row in rows(tables):
        whole = {**tables["durations"][row["table"]], **row} if "table" in row else row
        assert whole["unit"] in UNITS, rule
        assert len(whole["source"]) > SHORTEST_SOURCE, rule
        assert whole["mark"] in MARKS, rule


@pytest.mark.parametrize("name", sorted(set(FILES) - BY_NUMBER))
def test_every_gate_names_the_edition_of_its_standard(name: str) -> None:
    """A year, or that there is none to tell."""
    tables = written(name)
    for rule, row in rows(tables):
        source = row.get("source") or tables["durations"][row["table"]]["source"]
        assert EDITION.search(source), f"{rule}: {source}"


@pytest.mark.parametrize("which", SETS, ids=of_a_set)
def test_gates_can_be_measured(which: RuleSet) -> None:
    for gate in which.gates:
        assert gate.measure in GATE_EVALUATORS, gate.rule
        assert gate.milestone in set(MilestoneKind), gate.rule
        assert gate.rule.startswith(gate.milestone), gate.rule
        assert (gate.value is None) == (gate.table is not None), gate.rule
        assert gate.table is None or gate.table in which.durations, gate.rule
        assert set(gate.when.cements) <= set(practice().cements), gate.rule


@pytest.mark.parametrize("which", SETS, ids=of_a_set)
def test_what_is_replaced_exists_and_has_a_replacement(which: RuleSet) -> None:
    general = {gate.rule: gate.milestone for gate in practice(STRICTEST).gates}
    own = {gate.milestone for gate in which.gates}
    for rule in which.replaces:
        assert general[rule] in own


@pytest.mark.parametrize("which", SETS, ids=of_a_set)
def test_limits_that_a_country_sets_keep_the_unit_of_the_general_one(which: RuleSet) -> None:
    strictest = practice(STRICTEST).rules
    for name, rule in which.rules.items():
        if name in GENERAL and which.code != "us":
            assert rule.unit == GENERAL[name].unit
            assert rule.stricter is not None, name
        if rule.stricter == "lower":
            assert strictest[name].value <= rule.value
        if rule.stricter == "higher":
            assert strictest[name].value >= rule.value


def test_sets_are_distinct_and_their_countries_are_countries() -> None:
    assert len({each.code for each in SETS}) == len(FILES)
    result = [country for each in SETS for country in each.countries]
    assert len(result) == len(set(result)), "a country in two sets"
    assert set(result) - {"UK"} <= set(countries())  # UK: a code kept for the United Kingdom, beside GB


def test_a_set_without_countries_adds_to_another_and_applies_only_by_name() -> None:
    (contract,) = (each for each in SETS if not each.countries)
    assert contract.extends == "us"
    kept = {gate.rule for gate in practice("us").gates} - set(contract.replaces)
    assert kept <= {gate.rule for gate in practice(contract.code).gates}
    assert not set(map(str, contract.gates)) & set(map(str, practice(STRICTEST).gates))


def test_no_condition_of_strength_has_a_cap() -> None:
    """Past the estimate is an answer; a date at which strength is taken for granted is none."""
    for gate in (*practice(STRICTEST).gates, *(gate for each in SETS for gate in each.gates)):
        if gate.measure in {"strength", "share of strength", AFTER_ANOTHER_DATE}:
            assert gate.at_most is None, gate.rule
            assert gate.at_most_times is None, gate.rule


def test_forms_in_britain_go_by_strength_and_not_by_american_hours() -> None:
    """2 N/mm2 for vertical faces: Cement and Concrete Association, report 42.505, and CIRIA R136."""
    slab = Circumstances("driveway", "outdoors", "I", 0.0, reinforced=True)
    gates = {each.rule: each for each in practice(rule_set_of("GB").code).gates_for("strip-edge-forms", slab)}
    assert "strip-edge-forms.warm-hours" not in gates
    assert gates["strip-edge-forms.strength"].value == 2.0
    assert not any("ACI" in each.source for each in gates.values())


def test_germany_is_not_under_the_tables_of_europe() -> None:
    germany = rule_set_of("DE")
    assert germany is not None
    assert germany.code == "de"
    assert not {name for name in practice("de").durations if not name.startswith("de.")}
    assert not {name for name in practice("eu").durations if not name.startswith("eu.")}


# ---- every slab is ruled


@pytest.mark.parametrize("rules", [each.code for each in SETS])
def test_every_slab_is_cured_for_a_time_and_to_a_strength(rules: str) -> None:
    for slab in slab_circumstances():
        gates = practice(rules).gates_for("curing-ends", slab)
        measures = [gate.measure for gate in gates]
        assert {"hours warm enough", "duration by temperature"} & set(measures), slab
        assert "share of strength" in measures, slab
        assert len({gate.rule for gate in gates}) == len(gates), f"two rows of one rule hold for {slab}"


@pytest.mark.parametrize("rules", [each.code for each in SETS])
def test_every_milestone_is_ruled_in_every_country(rules: str) -> None:
    assert {gate.milestone for gate in practice(rules).gates} == set(MilestoneKind)


@pytest.mark.parametrize("rules", [*(each.code for each in SETS), STRICTEST])
def test_frost_safe_is_5_mpa_wherever_it_is(rules: str) -> None:
    """EN 13670 as quoted: 5 N/mm2; the most cautious of the figures in use (2, 3.5 and 5 MPa)."""
    slab = Circumstances("driveway", "outdoors", "I", 0.0, reinforced=True)
    asked = [gate.value for gate in practice(rules).gates_for("frost-safe", slab)]
    assert max(value for value in asked if value is not None) == 5.0


def test_the_strictest_leaves_out_no_rule_of_any_set() -> None:
    result = practice(STRICTEST).gates
    for each in sets_of_countries():
        assert set(map(str, map(asdict, each.gates))) <= set(map(str, map(asdict, result)))
        assert set(each.durations) <= set(practice(STRICTEST).durations)


# ---- monotone


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
class TestTables:
    def test_is_whole(self, table: Durations) -> None:
        columns = {len(band.hours) for band in table.bands}
        assert len(columns) == 1
        assert table.by in COLUMN_SELECTORS
        assert not table.at_least or columns == {len(table.at_least)}
        for warmer, colder in pairwise(table.bands):
            assert colder.from_c < warmer.from_c
        for quicker, slower in pairwise(table.at_least):
            assert slower < quicker

    def test_colder_is_never_shorter(self, table: Durations) -> None:
        surface = np.arange(-10.0, 60.0, 0.1)[:, np.newaxis]
        hours = required_hours(table, surface, np.arange(len(table.bands[0].hours)))
        assert np.all(hours[:-1] >= hours[1:])
        assert np.all(hours > 0.0)

    def test_slower_or_drier_is_never_shorter(self, table: Durations) -> None:
        surface = np.arange(0.0, 60.0, 0.1)[:, np.newaxis]
        hours = required_hours(table, surface, np.arange(len(table.bands[0].hours)))
        assert np.all(hours[:, 1:] >= hours[:, :-1])

    def test_below_its_coldest_band_no_time_counts(self, table: Durations) -> None:
        assert np.isinf(required_hours(table, table.bands[-1].from_c - 0.1))


@pytest.mark.parametrize("rules", [each.code for each in SETS])
def test_additions_and_wheels_never_shorten_the_days(rules: str) -> None:
    """More fly ash or slag, or wheels, and everything else alike: no fewer hours are asked."""

    def hours(slab: Circumstances) -> float:
        whole = practice(rules)
        asked = [
            gate.times * required_hours(whole.durations[gate.table], 12.0).item()
            if gate.table
            else gate.value or 0.0
            for gate in whole.gates_for("curing-ends", slab)
            if gate.measure != "share of strength"
        ]
        return max(asked)

    for slab in slab_circumstances():
        if slab.additions == 0.0:
            asked = [hours(slab._replace(additions=share)) for share in (0.0, 0.2, 0.25, 0.4)]
            assert asked == sorted(asked), slab
        assert hours(slab._replace(use="patio")) <= hours(slab._replace(use="driveway")), slab
