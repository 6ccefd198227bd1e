"""Rules of the trade as data: each with its value, its unit, its source, and how sure we are of it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast

Mark = Literal["read in source", "from memory", "common practice", "computed"]


@dataclass(frozen=True)
class Rule:
    """A number of practice. ``value`` is in ``unit``, which is of the SI.

    ``called`` holds parts of the names by which a ticket calls the thing, in small letters.
    """

    name: str
    value: float
    unit: str
    source: str
    mark: Mark
    called: tuple[str, ...] = ()


@dataclass(frozen=True)
class GateRule:
    """A condition that must be met before a milestone.

    Attributes:
        milestone: Kind of the milestone.
        rule: Name of the condition; the words for it are looked up by this name.
        measure: What is measured ("age", "strength", "share of strength", ...).
        value: The threshold, in ``unit``; None where the measure needs none or finds it by ``per``.
        per: Name of the rule that the threshold comes from, or None.
        above_c: Only hours warmer than this count, or None. [degC]
        at_most: Past this age it holds in any case, or None. [h]
        at_most_times: The same, as a multiple of what is needed.
        uses: Uses of the slab that it applies to; all where empty.
    """

    milestone: str
    rule: str
    measure: str
    value: float | None
    unit: str
    source: str
    mark: Mark
    per: str | None = None
    above_c: float | None = None
    at_most: float | None = None
    at_most_times: float | None = None
    uses: tuple[str, ...] = ()


@dataclass(frozen=True)
class RefusalRule:
    """Dates that are not given, and for which uses of the slab (all where empty)."""

    code: str
    milestones: tuple[str, ...]
    uses: tuple[str, ...] = ()


@dataclass(frozen=True)
class CautionRule:
    """What must be told, by code, and where it comes from."""

    code: str
    source: str
    mark: Mark
    figures: tuple[str, ...] = ()


@dataclass(frozen=True)
class CuringMethod:
    """How a way of curing holds water. ``store_mm`` [mm], ``rate_mm_h`` [mm/h], ``shortest_h`` [h]."""

    store_mm: float
    loss: float
    rate_mm_h: float
    shortest_h: float
    most: int
    source: str
    mark: Mark


@dataclass(frozen=True)
class Cement:
    """A cement as the ticket calls it: its phases (mass shares; Blaine m2/kg) and its strength curve."""

    phases: dict[str, float]
    form: str
    constants: dict[str, float]
    source: str
    mark: Mark


@dataclass(frozen=True)
class Practice:
    """Everything the calculation takes from the trade."""

    rules: dict[str, Rule]
    gates: tuple[GateRule, ...]
    cautions: dict[str, CautionRule]
    refusals: tuple[RefusalRule, ...]
    methods: dict[str, CuringMethod]
    cements: dict[str, Cement]
    materials: dict[str, dict[str, Any]] = field(default_factory=dict)
    watering_day: tuple[str, str] = ("06:30", "21:00")
    curing_days: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> float:
        """Return the value of a rule."""
        return self.rules[name].value

    def gates_of(self, milestone: str, use: str) -> tuple[GateRule, ...]:
        """Return the conditions of a milestone for a use of the slab, in the order of the data."""
        return tuple(
            gate for gate in self.gates if gate.milestone == milestone and use in (gate.uses or (use,))
        )


def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(files("handover.practice").joinpath(name).read_text(encoding="utf-8"))


@cache
def practice() -> Practice:
    """Return the rules of practice that ship with the package."""
    rules = _table("rules.toml")
    gates = rules.pop("gate")
    watering = _table("watering.toml")
    cements = _table("cements.toml")
    return Practice(
        rules=_rules(rules),
        gates=tuple(_gate(row, rules) for row in gates),
        cautions={code: _caution(code, row) for code, row in _table("cautions.toml").items()},
        refusals=tuple(
            RefusalRule(code, tuple(row["milestones"]), tuple(row.get("uses", ())))
            for code, row in _table("refusals.toml").items()
        ),
        methods={name: CuringMethod(**row) for name, row in watering["methods"].items()},
        cements=_cements(cements),
        materials=_table("materials.toml"),
        watering_day=(watering["day"]["opens"], watering["day"]["closes"]),
        curing_days=rules["curing"]["days"],
    )


def _rules(tables: dict[str, Any]) -> dict[str, Rule]:
    """Return every table that holds a value, by its dotted name."""
    found = {}
    for group, rows in tables.items():
        for name, row in rows.items():
            if "value" in row:
                key = f"{group}.{name}"
                found[key] = Rule(
                    key,
                    float(row["value"]),
                    row["unit"],
                    row["source"],
                    row["mark"],
                    tuple(row.get("called", ())),
                )
    return found


def _gate(row: dict[str, Any], rules: dict[str, Any]) -> GateRule:
    """Return a gate; where it takes its threshold from a rule, it takes source and mark from there too."""
    group, _, name = row.get("per", "").partition(".")
    basis = {**rules[group][name], **row} if group else row
    value = basis.get("value")
    return GateRule(
        milestone=row["milestone"],
        rule=row["rule"],
        measure=row["measure"],
        value=None if value is None else float(value),
        unit=basis.get("unit", "1"),
        source=basis.get("source", "The crew's own record"),
        mark=basis.get("mark", "common practice"),
        per=row.get("per"),
        above_c=row.get("above_c"),
        at_most=row.get("at_most"),
        at_most_times=row.get("at_most_times"),
        uses=tuple(row.get("uses", ())),
    )


def _caution(code: str, row: dict[str, Any]) -> CautionRule:
    return CautionRule(code, row["source"], row["mark"], tuple(row.get("figures", ())))


def _cements(tables: dict[str, Any]) -> dict[str, Cement]:
    """Return the cements with the phases of the composition that stands for each."""
    compositions = tables["compositions"]
    shared = {name: value for name, value in compositions.items() if isinstance(value, float)}
    found = {}
    for name, row in tables["cements"].items():
        constants = dict(row["curve"])
        form = cast("str", constants.pop("form"))
        phases = {**shared, **compositions[row["composition"]]}
        found[name] = Cement(phases, form, constants, row["source"], row["mark"])
    return found
