"""Rules of the trade as data: each with its value, its unit, its source, and how sure we are of it.

General rules are in rules.toml, and in visits.toml for the hours of people. The rules of a country are in its
file in countries/; a new country is a new file.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from datetime import time, timedelta
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

Mark = Literal["read in source", "from memory", "common practice", "computed"]
Stricter = Literal["lower", "higher"]

STRICTEST = "strictest"
"""The rules of all sets at once, for a country without its own set."""
_HOURS = {"h": 1.0, "d": 24.0}
_VEHICLE_USES = ("driveway", "garage floor", "shop floor")


@dataclass(frozen=True)
class Rule:
    """A number of practice. ``value`` is in ``unit``, an SI unit.

    ``aliases`` has parts of the names on tickets, in lower case. ``stricter`` says, for a limit that differs
    between countries, which direction is more cautious.
    """

    name: str
    value: float
    unit: str
    source: str
    mark: Mark
    aliases: tuple[str, ...] = ()
    stricter: Stricter | None = None


class Circumstances(NamedTuple):
    """The properties of a slab that select its rules.

    ``additions``: share of fly ash and slag. ``accelerated``: high early strength by cement or admixture.
    """

    use: str
    exposure: str
    cement: str
    additions: float
    reinforced: bool
    joints: str = "sawn"
    accelerated: bool = False
    heated: bool = False

    @property
    def wheels(self) -> bool:
        """Whether it is built for wheels."""
        return self.use in _VEHICLE_USES

    @property
    def hard_service(self) -> bool:
        """Whether it is open to the weather or built for wheels: rows for mild service do not apply."""
        return self.wheels or self.exposure != "indoors"


@dataclass(frozen=True)
class Applicability:
    """The circumstances in which a rule applies; None or empty means any."""

    cements: tuple[str, ...] = ()
    additions_above: float | None = None
    additions_at_most: float | None = None
    reinforced: bool | None = None
    wheels: bool | None = None
    hard_service: bool | None = None
    accelerated: bool | None = None
    heated: bool | None = None
    joints: tuple[str, ...] = ()
    exposures: tuple[str, ...] = ()

    def matches(self, slab: Circumstances) -> bool:
        """Return whether a slab is of this kind."""
        return (
            (not self.cements or slab.cement in self.cements)
            and (self.additions_above is None or slab.additions > self.additions_above)
            and (self.additions_at_most is None or slab.additions <= self.additions_at_most)
            and self.reinforced in (None, slab.reinforced)
            and self.wheels in (None, slab.wheels)
            and self.hard_service in (None, slab.hard_service)
            and self.accelerated in (None, slab.accelerated)
            and self.heated in (None, slab.heated)
            and (not self.joints or slab.joints in self.joints)
            and (not self.exposures or slab.exposure in self.exposures)
        )


class DurationBand(NamedTuple):
    """A row of a table of durations: ``hours`` by column, for temperatures from ``from_c`` [degC] up."""

    from_c: float
    hours: tuple[float, ...]


@dataclass(frozen=True)
class Durations:
    """A table of required times by the temperature of the concrete's surface.

    Below its coldest band no time counts.

    Attributes:
        name: Its name in gates.
        by: What distinguishes the columns ("strength development", "hot and dry"), or "".
        at_least: For columns by a number: the minimum of each, from the first column on.
        bands: From the warmest to the coldest. Columns go from the shortest time to the longest.
        source: Where it comes from.
        mark: How sure we are of it.
    """

    name: str
    by: str
    at_least: tuple[float, ...]
    bands: tuple[DurationBand, ...]
    source: str
    mark: Mark


@dataclass(frozen=True)
class GateRule:
    """A condition that must be met before a milestone.

    Attributes:
        milestone: Kind of the milestone.
        rule: Name of the condition, which is also the key of its words.
        measure: What is measured ("age", "strength", "share of strength", ...).
        value: The threshold, in ``unit``; None if the measure needs none or ``per`` names it.
        per: Name of the rule that the threshold comes from, or None.
        after: Kind of the milestone that must come first, for the measure "after another date", or None.
        above_c: Only hours warmer than this count, or None. [degC]
        at_c: Temperature at which the time is meant; colder concrete takes longer. None elsewhere. [degC]
        at_most: The age from which it is met in any case, or None. [h]
        at_most_times: The same, as a multiple of the required time.
        uses: Uses of the slab to which it applies; empty for all.
        when: Other circumstances for it to apply.
        table: Name of its table of durations, or None.
        times: Required multiple of the table.
        working_time: Initial set later than this adds as much to the table, or None. [h]
    """

    milestone: str
    rule: str
    measure: str
    value: float | None
    unit: str
    source: str
    mark: Mark
    per: str | None = None
    after: str | None = None
    above_c: float | None = None
    at_c: float | None = None
    at_most: float | None = None
    at_most_times: float | None = None
    uses: tuple[str, ...] = ()
    when: Applicability = Applicability()
    table: str | None = None
    times: float = 1.0
    working_time: float | None = None


@dataclass(frozen=True)
class RuleSet:
    """The rules of a country, or of several countries.

    Attributes:
        code: Its code: "us".
        name: Its name: "United States".
        countries: ISO 3166 codes of its countries.
        basis: Its codes and standards.
        extends: Code of the set that it adds to, or None. Such a set has no countries: a contract names it.
        replaces: Gates that its own gates replace: general ones, and those of the set that it adds to.
        rules: By name; they replace general rules of the same name.
        gates: Its own.
        durations: Its tables; with ``tables_of`` in its file, those of that file as well.
    """

    code: str
    name: str
    countries: tuple[str, ...]
    basis: str
    extends: str | None
    replaces: tuple[str, ...]
    rules: dict[str, Rule]
    gates: tuple[GateRule, ...]
    durations: dict[str, Durations]


@dataclass(frozen=True)
class RefusalRule:
    """A refusal of dates: which, for which uses and exposures (empty for all), or with which cautions."""

    code: str
    milestones: tuple[str, ...]
    uses: tuple[str, ...] = ()
    exposures: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class CautionRule:
    """A caution by its code, with its source."""

    code: str
    source: str
    mark: Mark


@dataclass(frozen=True)
class CuringMethod:
    """How a method of curing holds water. ``store_mm`` [mm], ``rate_mm_h`` [mm/h], ``longest_h`` [h].

    With ``looks``, the crew lays a cover on the fresh slab, and no visit brings water: each looks under it.
    With ``tops_up``, a visit brings no more than there is room for: what is put on beyond it runs over a rim.
    """

    store_mm: float
    loss: float
    rate_mm_h: float
    rate_why: str
    most: int
    longest_h: float
    source: str
    mark: Mark
    looks: bool = False
    tops_up: bool = False


class CurveRule(NamedTuple):
    """A strength curve: the form of its formula and the constants of it."""

    form: str
    constants: dict[str, float]


@dataclass(frozen=True)
class CementRule:
    """A cement by its name on the ticket.

    Attributes:
        phases: Shares of the mass; Blaine in m2/kg.
        curves: Strength curves; at every age the slowest counts.
        no_faster_than: Name of the cement than which it never sets or gains strength sooner, or None.
        source: Where the curves come from.
        mark: How sure we are of them.
    """

    phases: dict[str, float]
    curves: tuple[CurveRule, ...]
    no_faster_than: str | None
    source: str
    mark: Mark


@dataclass(frozen=True)
class Practice:
    """All rules of the trade that the calculation uses.

    ``gates_by_set`` has, where the rules are of several sets, the conditions of each; else it is empty.
    """

    rules: dict[str, Rule]
    gates: tuple[GateRule, ...]
    cautions: dict[str, CautionRule]
    refusals: tuple[RefusalRule, ...]
    methods: dict[str, CuringMethod]
    cements: dict[str, CementRule]
    materials: dict[str, dict[str, Any]] = field(default_factory=dict)
    watering_day: tuple[str, str] = ("06:30", "21:00")
    durations: dict[str, Durations] = field(default_factory=dict)
    gates_by_set: tuple[tuple[GateRule, ...], ...] = ()

    def __getitem__(self, name: str) -> float:
        """Return the value of a rule."""
        return self.rules[name].value

    def duration(self, name: str) -> timedelta:
        """Return the value of a rule that is a duration."""
        rule = self.rules[name]
        return timedelta(hours=rule.value * _HOURS[rule.unit])

    def clock_time(self, name: str) -> time:
        """Return the value of a rule that is a full hour of the day."""
        return time(int(self.rules[name].value))

    def gates_of(self, milestone: str, use: str) -> tuple[GateRule, ...]:
        """Return the conditions of a milestone for a use of the slab, in the order of the data."""
        return tuple(
            gate for gate in self.gates if gate.milestone == milestone and use in (gate.uses or (use,))
        )

    def gates_for(self, milestone: str, slab: Circumstances) -> tuple[GateRule, ...]:
        """Return the conditions of a milestone that apply to a slab, in the order of the data."""
        return tuple(gate for gate in self.gates_of(milestone, slab.use) if gate.when.matches(slab))


def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(files("handover.practice").joinpath(name).read_text(encoding="utf-8"))


@cache
def general_rules() -> Practice:
    """Return the general rules of practice, for what no country rules for itself."""
    general = _table("rules.toml")
    gates = tuple(_gate(row, general, {}) for row in general.pop("gate"))
    watering = _table("watering.toml")
    return Practice(
        rules=_rules(general) | _rules(_table("visits.toml")),
        gates=gates,
        cautions={code: _caution(code, row) for code, row in _table("cautions.toml").items()},
        refusals=tuple(
            RefusalRule(code, **{name: tuple(values) for name, values in row.items()})
            for code, row in _table("refusals.toml").items()
        ),
        methods={name: CuringMethod(**row) for name, row in watering["methods"].items()},
        cements=_cements(_table("cements.toml")),
        materials=_table("materials.toml"),
        watering_day=(watering["day"]["opens"], watering["day"]["closes"]),
    )


@cache
def practice(rules: str = "us") -> Practice:
    """Return the package's rules of practice, with those of a country.

    Args:
        rules: Code of a set of `rule_sets`, or `STRICTEST`.
    """
    sets = rule_sets()
    if rules == STRICTEST:
        return _strictest(general_rules(), sets_of_countries())
    chosen = sets[rules]
    return _apply_country(general_rules() if chosen.extends is None else practice(chosen.extends), chosen)


def rules_of(country: str | None) -> Practice:
    """Return the rules of a country by its ISO 3166 code; without its own set, the strictest of all."""
    found = None if country is None else rule_set_of(country)
    return practice(STRICTEST if found is None else found.code)


@cache
def rule_sets() -> dict[str, RuleSet]:
    """Return the rules of every country with a file, by code."""
    folder = files("handover.practice").joinpath("countries")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    sets = [_rule_set(_table(f"countries/{name}")) for name in names]
    return {each.code: each for each in sets}


def sets_of_countries() -> tuple[RuleSet, ...]:
    """Return the sets that apply by the place of a slab; others apply only where a contract names them."""
    return tuple(each for each in rule_sets().values() if each.countries)


def rule_set_of(country: str) -> RuleSet | None:
    """Return the rules of a country by its ISO 3166 code, or None if it has no set."""
    return next((each for each in rule_sets().values() if country.upper() in each.countries), None)


def _apply_country(general: Practice, country: RuleSet) -> Practice:
    """Return the general rules, overridden by a country's."""
    kept = tuple(gate for gate in general.gates if gate.rule not in country.replaces)
    return replace(
        general,
        rules=general.rules | country.rules,
        gates=kept + country.gates,
        durations=general.durations | country.durations,
    )


def _strictest(general: Practice, sets: Iterable[RuleSet]) -> Practice:
    """Return all rules of all sets: the last condition to be met governs, and the strictest limit."""
    rules, gates = dict(general.rules), list(general.gates)
    durations: dict[str, Durations] = {}
    by_set: list[tuple[GateRule, ...]] = []
    for each in sets:
        durations |= each.durations
        gates += each.gates
        by_set.append(_apply_country(general, each).gates)
        for name, rule in each.rules.items():
            rules[name] = _stricter_rule(rules.get(name, rule), rule)
    return replace(general, rules=rules, gates=tuple(gates), durations=durations, gates_by_set=tuple(by_set))


def _stricter_rule(one: Rule, other: Rule) -> Rule:
    if one.value != other.value and other.stricter is None:
        raise ValueError(f"{other.name}: countries differ, and the data do not say which way is the stricter")
    choose = max if other.stricter == "higher" else min
    return choose(one, other, key=lambda rule: rule.value)


def _rule_set(tables: dict[str, Any]) -> RuleSet:
    head = tables.pop("set")
    rows = tables.pop("gate", [])
    tables_of = _table(f"countries/{head['tables_of']}.toml") if "tables_of" in head else {}
    durations = {
        f"{head['code']}.{name}": _durations(f"{head['code']}.{name}", row)
        for name, row in {**tables_of.get("durations", {}), **tables.pop("durations", {})}.items()
    }
    general = general_rules().rules
    own = {
        name: replace(rule, stricter=general[name].stricter if name in general else rule.stricter)
        for name, rule in _rules(tables).items()
    }
    return RuleSet(
        code=head["code"],
        name=head["name"],
        countries=tuple(head["countries"]),
        basis=head["basis"],
        extends=head.get("extends"),
        replaces=tuple(head.get("replaces", ())),
        rules=own,
        gates=tuple(_gate(_in_set(row, head["code"]), tables, durations) for row in rows),
        durations=durations,
    )


def _in_set(row: dict[str, Any], code: str) -> dict[str, Any]:
    """Return a gate's row, with its table by a name that is unique among the sets."""
    return {**row, "table": f"{code}.{row['table']}"} if "table" in row else row


def _durations(name: str, row: dict[str, Any]) -> Durations:
    """Return a table of durations, in hours."""
    hours = _HOURS[row["unit"]]
    bands = tuple(
        DurationBand(
            from_c=float(band["from"]),
            hours=tuple(hours * value for value in band["values"]),
        )
        for band in row["bands"]
    )
    return Durations(
        name, row.get("by", ""), tuple(row.get("at_least", ())), bands, row["source"], row["mark"]
    )


def _rules(tables: dict[str, Any]) -> dict[str, Rule]:
    """Return every table with a value, by its dotted name."""
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
                    row.get("stricter"),
                )
    return found


_ORDER = "Order of the dates: one that needs another is not before it"


def _gate(row: dict[str, Any], rules: dict[str, Any], durations: dict[str, Durations]) -> GateRule:
    """Return a gate; if its threshold is from a rule or a table, so are its source and mark."""
    group, _, name = row.get("per", "").partition(".")
    basis = {**rules[group][name], **row} if group else row
    if "table" in row:
        table = durations[row["table"]]
        basis = {"source": table.source, "mark": table.mark, "unit": "h", **row}
    value = basis.get("value")
    return GateRule(
        milestone=row["milestone"],
        rule=row["rule"],
        measure=row["measure"],
        value=None if value is None else float(value),
        unit=basis.get("unit", "1"),
        source=basis.get("source", _ORDER if "after" in row else "The crew's own record"),
        mark=basis.get("mark", "common practice"),
        per=row.get("per"),
        after=row.get("after"),
        above_c=row.get("above_c"),
        at_c=row.get("at_c"),
        at_most=row.get("at_most"),
        at_most_times=row.get("at_most_times"),
        uses=tuple(row.get("uses", ())),
        when=_applicability(row.get("when", {})),
        table=row.get("table"),
        times=row.get("times", 1.0),
        working_time=row.get("working_time"),
    )


def _applicability(row: dict[str, Any]) -> Applicability:
    lists = {key: tuple(row.get(key, ())) for key in ("cements", "joints")}
    return Applicability(**{**row, **lists})


def _caution(code: str, row: dict[str, Any]) -> CautionRule:
    return CautionRule(code, row["source"], row["mark"])


def _cements(tables: dict[str, Any]) -> dict[str, CementRule]:
    """Return the cements, each with the phases of its composition."""
    compositions = tables["compositions"]
    shared = {name: value for name, value in compositions.items() if isinstance(value, float)}
    found = {}
    for name, row in tables["cements"].items():
        curves = tuple(
            CurveRule(each["form"], {key: float(value) for key, value in each.items() if key != "form"})
            for each in row["curves"]
        )
        phases = {**shared, **compositions[row["composition"]]}
        found[name] = CementRule(phases, curves, row.get("no_faster_than"), row["source"], row["mark"])
    return found
