"""Every fact once: rule data that nobody reads is dead, a number of practice outside of it is a second copy.

How the first half works. Nothing is run: the modules of the package are parsed, and what they name is
compared with what the TOML files under handover/practice hold.

- A rule ("cover.laid") is read where its dotted name is a string of a module, or fits an f-string whose fixed
  beginning is its group ("forecast.{name}-most"), or is the ``per`` of a gate, or has ``called``, by which
  the names of admixtures find it.
- A table with rows of one shape is read where each of its keys is an attribute that the code takes or a
  string of it (the field of a loader's class alone is not enough), and where the name of each row is one that
  the model of a record can have, a string of a module, or in a list of the data itself.
- Each file is opened by a loader: its name is a string of `handover.practice`.

How the second half tells. A constant of a module or class, or the default of an argument, is a suspect where
its value holds a number, and where its name has a unit or a word of practice (`_UNIT_NAME`) or its comment or
docstring a unit of time, length, temperature, strength or rate (`_UNIT_WORD`). A call of ``timedelta`` or
``time`` with a number is one anywhere, except for one day or one hour inside a function, which are steps of
the calendar. Conversions, equations with their source, limits of a file or a service, and tolerances of
computing are no practice: they are in `NOT_PRACTICE`, by the reason, each by module and name. An entry that
fits nothing fails as well. Comparisons with a number inside a function are left to ruff's PLR2004.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import pytest

import handover
from handover.jobs.record import Base, Exposure, Method, SlabUse
from handover.practice.rules import STRICTEST, practice, rule_sets

if TYPE_CHECKING:
    from collections.abc import Iterator

PACKAGE = Path(handover.__file__).parent
DATA = PACKAGE / "practice"
FILES = sorted(DATA.rglob("*.toml"))
METADATA = {"source", "mark", "unit", "stricter"}
"""How sure we are of a value, not values themselves; other tests look at them."""


# ---- every value is read


@cache
def modules() -> dict[str, ast.Module]:
    """Return the modules of the package by their path in it, the migrations of a database left out."""
    return {
        path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for path in sorted(PACKAGE.rglob("*.py"))
    }


def without_docstrings(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield every node but texts as statements: docstrings, and those after a constant or a field."""
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            yield node
            yield from without_docstrings(node)


@cache
def names_in_code() -> tuple[frozenset[str], tuple[re.Pattern[str], ...]]:
    """Return each string and attribute that the code names, and the f-strings as patterns."""
    names, patterns = set(), []
    for tree in modules().values():
        for node in without_docstrings(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                names.add(node.value)
            elif isinstance(node, ast.Attribute):
                names.add(node.attr)
            elif isinstance(node, ast.JoinedStr):
                patterns.append(re.compile("".join(map(_pattern, node.values))))
    return frozenset(names), tuple(patterns)


def _pattern(part: ast.expr) -> str:
    return re.escape(str(part.value)) if isinstance(part, ast.Constant) else "[a-z_]+"


def is_rule_read(name: str) -> bool:
    group = re.escape(name.partition(".")[0] + ".")
    names, patterns = names_in_code()
    rule = practice(STRICTEST).rules[name]
    return (
        name in names
        or bool(rule.aliases)
        or name in {gate.per for gate in practice(STRICTEST).gates}
        or any(each.pattern.startswith(group) and each.fullmatch(name) for each in patterns)
    )


def test_every_rule_is_read() -> None:
    every = set(practice(STRICTEST).rules).union(*(each.rules for each in rule_sets().values()))
    assert not sorted(name for name in every if not is_rule_read(name))


def test_a_rule_that_nobody_reads_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The scan itself: a name that no module has is dead, though other rules of its group are read."""
    rules = practice(STRICTEST).rules
    monkeypatch.setitem(rules, "cover.unheard-of", rules["cover.laid"])
    assert is_rule_read("cover.laid")
    assert not is_rule_read("cover.unheard-of")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(DATA).as_posix())
def test_every_file_is_loaded(path: Path) -> None:
    in_loaders = {
        node.value
        for name, tree in modules().items()
        if name.startswith("practice/")
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
    }
    assert path.name in in_loaders or path.parent.name in in_loaders


def row_names() -> set[str]:
    """Return the names of rows that a job can choose, and those that the data itself chooses."""
    materials, cements = (load(name) for name in ("materials.toml", "cements.toml"))
    chosen = {name for names in materials["under"].values() for name in names}
    compositions = {row["composition"] for row in cements["cements"].values()}
    choices = {*get_args(SlabUse), *get_args(Base), *get_args(Exposure), *get_args(Method)}
    return chosen | compositions | choices | set(practice().cements)


def load(name: str) -> dict[str, Any]:
    return tomllib.loads((DATA / name).read_text(encoding="utf-8"))


def keys_of(value: Any) -> Iterator[str]:
    """Yield the keys of tables at every depth. What is a rule is left to its own test."""
    if isinstance(value, dict) and "value" not in value:
        for key, inner in value.items():
            yield key
            yield from keys_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner)


@pytest.mark.parametrize(
    "path",
    [each for each in FILES if each.name not in {"rules.toml", "visits.toml"}],
    ids=lambda path: path.relative_to(DATA).as_posix(),
)
def test_every_key_of_a_table_is_read(path: Path) -> None:
    tables = tomllib.loads(path.read_text(encoding="utf-8"))
    names, _ = names_in_code()
    paths_of_fields = {each for each in tables if "." in each}  # of a record: another test compares them
    codes = set(practice().cautions) | {each.code for each in practice().refusals}
    rules = set(practice(STRICTEST).rules)
    tables_of_durations = {name.partition(".")[2] for name in practice(STRICTEST).durations}
    groups = {name.partition(".")[0] for name in rules} | {name.partition(".")[2] for name in rules}
    known = names | row_names() | METADATA | paths_of_fields | codes | groups | tables_of_durations
    assert not sorted({key for key in keys_of(tables) if key not in known})


def test_defaults_are_those_of_fields_of_a_record() -> None:
    names, _ = names_in_code()
    for name in ("defaults.toml", "derived_defaults.toml"):
        for path in load(name):
            assert path in names, path


def test_codes_of_cautions_and_refusals_are_in_the_code() -> None:
    names, _ = names_in_code()
    assert set(practice().cautions) <= names
    assert not [each.milestones for each in practice().refusals if not each.milestones]


# ---- no number of practice elsewhere

_UNIT_NAME = re.compile(
    r"_(?:h|s|c|k|k_h|mm|m|m2|km|deg|mpa|ms|wm2|mm_h)$"
    r"|(?:^|_)(?:hours?|days?|weeks?|months?|years?|age|lead|length|period|lasts?|time|share|rate|level)(?:_|$)"
)
"""Of the name of a constant, in small letters: a unit, or a word for what has one."""

_UNIT_WORD = re.compile(
    r"\b(?:h|hours?|days?|weeks?|months?|years?|minutes?|seconds?|degC|degF|K|MPa|psi|mm|m|km|kg|metres?"
    r"|kelvins?|share|[Cc]ommon practice)\b"
)
"""Of its comment or docstring."""

_CALENDAR_STEPS = {"timedelta(days=1)", "timedelta(hours=1)"}

NOT_PRACTICE: dict[str, tuple[str, ...]] = {
    "a conversion": (
        "base/arrays.py: HOUR_S",
        "concrete/strength_fit.py: _DAY",
        "schedule/cylinders.py: _DAY",
        "jobs/missing_date.py: _WEEK",
        "service/joining.py: METRES_PER_KM",
        "weather/daylight.py: _DAY_S",
        "weather/daylight.py: _J2000_S",
        "schedule/gate_evaluators.py: _DAY",
        "schedule/ground.py: _DAY",
        "schedule/mix.py: _DAY",
        "schedule/protection_period.py: _DAY",
        "jobs/time_windows.py: _DAY_MIN",
        "jobs/time_windows.py: HALF_HOUR_MIN",
        "schedule/slab_simulation.py: _DAY_S",
        "schedule/surroundings.py: _DAY",
        "weather/extrapolate.py: _DAY",
        "weather/climate.py: _YEAR_S",
        "weather/met_norway.py: _HOUR",
        "weather/nws.py: _HOUR",
        "weather/open_meteo.py: _DAY_S",
        "weather/open_meteo_members.py: _HOUR_S",
        "jobs/logger.py: _MINUTE_S",
        "schedule/salt_season.py: _HALF_A_YEAR",
        "documents/quantity_format.py: INCH_M",
        "units.py: SIZES",
        "weather/fit_check.py: _M_PER_KM",
    ),
    "a constant of physics": (
        "concrete/constants.py: DENSITY_OF_WATER",
        "concrete/constants.py: GAS_CONSTANT",
        "base/arrays.py: ZERO_CELSIUS_K",
        "concrete/freezing.py: HEAT_OF_FUSION",
        "concrete/heat.py: LATENT_HEAT",
        "air/psychrometrics.py: TRIPLE_POINT_C",
        "weather/location.py: EARTH_RADIUS_KM",
        "weather/sunshine.py: _SOLAR_CONSTANT_WM2",
    ),
    "of a published equation, with its source": (
        "concrete/evaporation.py: _STILL_AIR",
        "concrete/evaporation.py: _PER_WIND",
        "concrete/evaporation.py: WIND_HEIGHT_M",
        "concrete/heat.py: _FAST_WIND_MS",
        "concrete/heat.py: reference_c",
        "concrete/hydration.py: REFERENCE_C",
        "schedule/durations.py: _STANDARD_C",
        "schedule/durations.py: _EARLY_DAYS",
        "schedule/durations.py: _LATE_DAYS",
        "weather/sunshine.py: CLEAR_SKY_SHARE",
    ),
    "the layout of a file of data": ("weather/climate.py: _STEP_DEG", "weather/nasa_power.py: _NEEDED"),
    "the range of a published equation": (
        "air/psychrometrics.py: LOWEST_C",
        "air/psychrometrics.py: HIGHEST_C",
    ),
    "the height at which weather services give their wind": (
        "concrete/evaporation.py: wind_at(measured_at_m)",
    ),
    "a method of computing: steps, bounds and reach of the numbers": (
        "schedule/crews_sheet.py: _DAYS",
        "schedule/simulation.py: _BARE_H",
        "concrete/hydration.py: _YOUNGEST_H",
        "concrete/curves.py: _MIDDLE_DAYS",
        "concrete/curves.py: _OLDEST_DAYS",
        "concrete/curves.py: _YOUNGEST_DAYS",
        "concrete/strength.py: _YOUNGEST_DAYS",
        "concrete/strength_fit.py: _OFFSET_SHARE",
        "concrete/strength_fit.py: _STEEPEST",
        "schedule/ensemble.py: _FIRST_SHARE",
        "schedule/later_weeks.py: _EVERY_H",
        "schedule/later_weeks.py: _APART_K",
        "schedule/later_weeks.py: _WEEK_H",
        "schedule/frost_protection.py: _HOURS",
        "schedule/service_uncertainty.py: _CALM_MS",
        "schedule/simulation.py: simulate: timedelta(days=days, hours=1)",
        "schedule/reasons.py: _on_one_axis: timedelta(days=DAYS, hours=1)",
        "service/inputs.py: _BEFORE_THE_POUR",
        "schedule/slab_simulation.py: DAYS",
        "schedule/start_hours.py: _HOURS",
        "schedule/risks.py: STEP_S",
        "schedule/surface_task.py: STEP_H",
        "schedule/start_hours.py: compare_starts: timedelta(days=DAYS, hours=1)",
        "schedule/start_hours.py: full_hours: timedelta(minutes=15)",
        "schedule/slab_simulation.py: _CELL",
        "schedule/slab_simulation.py: _GROUND",
        "schedule/slab_simulation.py: _FINE",
        "schedule/slab_simulation.py: _MIDDLING",
        "weather/past_years.py: _LAST_MONTH",
        "weather/past_years.py: _SLACK_H",
        "weather/resample.py: _ENOUGH",
        "weather/sunshine.py: _PARTS",
        "weather/sunshine.py: _DIM_WM2",
        "schedule/json_types.py: _to_text: timedelta(seconds=0.5)",
        "service/start_hours.py: MAX_STARTS",
        "service/start_hours.py: _starts_of: timedelta(seconds=1)",
    ),
    "how a value is printed": (
        "documents/charts/timeline.py: GAP",
        "cli/starts.py: LEAST_CELL",
        "documents/words/starts.py: NOON",
        "documents/words/starts.py: _nearest: timedelta(minutes=15)",
        "documents/data_sheet.py: DAILY_UNTIL_DAY",
        "documents/live_page.py: NEXT_HOUR",
        "schedule/printed_times.py: HALF_HOUR_S",
        "schedule/printed_times.py: _MIDDLE_OF_MONTH",
        "documents/words/watering.py: COLUMN_HOURS",
        "service/office.py: PAGE_LENGTH",
        "documents/change_sentences.py: _FEW_DAYS",
    ),
    "what can be believed of a file or a single field": (
        "base/local_time.py: _EARLIEST",
        "base/local_time.py: _LATEST",
        "jobs/logger.py: MAX_LOG_BYTES",
        "weather/assemble.py: LONGEST_HOURS",
        "weather/assemble.py: _GROUND_M",
        "weather/nws.py: _LONGEST",
        "weather/nws.py: MAX_HOURS",
        "weather/open_meteo.py: _LATEST_UNIX",
        "weather/raw_weather.py: _YEARS",
        "weather/reading.py: MAX_WEATHER_BYTES",
        "weather/typical_year.py: _YEARS",
        "weather/typical_year.py: _MAX_ZONE_H",
        "weather/typical_year.py: _MAX_ELEVATION_M",
        "weather/typical_year.py: _LEAP_DAY",
    ),
    "a property of a weather service": (
        "service/forecasts.py: CELL_DEG",
        "service/forecasts.py: LONG_AGO",
        "weather/download.py: _FORECAST_DAYS",
        "weather/download.py: _MOST_PAST_DAYS",
        "weather/download.py: _DEFAULT_CACHE_AGE",
        "weather/download.py: _MAX_CACHE_AGE",
        "weather/download.py: _CELL_EAST_DEG",
        "weather/download.py: _CELL_NORTH_DEG",
        "weather/download.py: _UNITED_STATES_DEG",
        "weather/uncertainty.py: _LONGEST_GAP",
    ),
    "a limit of waiting for a machine": (
        "archive/catalog/engine.py: LOCK_TIMEOUT_MS",
        "archive/store.py: LOCK_TIMEOUT_S",
        "service/sending.py: SMTP_TIMEOUT_S",
        "service/worker_pool.py: STOP_TIMEOUT_S",
        "service/workers.py: CONNECT_TIMEOUT_S",
        "desk/api.py: POLL_S",
        "desk/api.py: WAIT_S",
        "desk/server.py: SHUTDOWN_S",
        "service/desk/database.py: ARCHIVE_TIMEOUT_S",
        "service/desk/work.py: STOP_S",
        "weather/download.py: timeout_s",
        "weather/download.py: deadline_s",
        "weather/download.py: longest_pause_s",
    ),
    "a limit of who is let in, or of what a page reads": (
        "service/desk/firm_jobs.py: LAST_JOBS",
        "service/desk/people.py: INVITATION_LENGTH",
        "service/desk/people.py: SESSION_LENGTH",
    ),
    "a number of a file format or of the system": (
        "base/atomic.py: _RENAME_EXCHANGE",
        "base/atomic.py: _AT_FDCWD",
        "archive/catalog/tables.py: NEVER",
        "archive/catalog/tables.py: _INSTANT",
        "archive/catalog/tables.py: _CHANCE",
    ),
    "how people write a year": (
        "base/time_text.py: _CENTURY",
        "jobs/missing_date.py: _NEAR",
        "jobs/logger.py: _CLOCK_YEARS",
    ),
    "noon, by which a date without a time is sorted": (
        "service/office.py: DUE_HOUR",
        "documents/words/watering.py: timer_off: time(12)",
    ),
}
"""Numbers that are none of practice, by the reason."""


def suspects() -> Iterator[str]:
    """Yield "module: name" of each number that may be one of practice."""
    for module in modules():
        if not module.startswith("practice/"):
            yield from (f"{module}: {name}" for name in suspects_in((PACKAGE / module).read_text("utf-8")))


def suspects_in(source: str) -> Iterator[str]:
    """Yield the names of a module's constants and arguments that may be numbers of practice."""
    tree, lines = ast.parse(source), comments_of(source)
    for owner in ast.walk(tree):
        if isinstance(owner, ast.Module | ast.ClassDef):
            yield from _constants(owner, lines)
        elif isinstance(owner, ast.FunctionDef):
            yield from _arguments(owner, lines)
            yield from _moments(owner)


def comments_of(source: str) -> dict[int, str]:
    """Return the comments of a module by their line."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return {each.start[0]: each.string for each in tokens if each.type == tokenize.COMMENT}


def _constants(owner: ast.Module | ast.ClassDef, comments: dict[int, str]) -> Iterator[str]:
    for at, node in enumerate(owner.body):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        after = owner.body[at + 1] if at + 1 < len(owner.body) else None
        text = _text(after) + "".join(comments.get(line, "") for line in (node.lineno, node.end_lineno or 0))
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = [each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)]
        for name in names:
            if _is_moment(node.value) or (_is_number(node.value) and _has_unit(name, text)):
                yield name


def _arguments(function: ast.FunctionDef, comments: dict[int, str]) -> Iterator[str]:
    arguments = function.args
    positional = [*arguments.posonlyargs, *arguments.args]
    with_default = zip(
        positional[len(positional) - len(arguments.defaults) :], arguments.defaults, strict=True
    )
    for argument, default in (*with_default, *zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True)):
        if default is not None and _is_number(default):
            described = re.search(
                rf"^ *{argument.arg}: (.*)", ast.get_docstring(function) or "", re.MULTILINE
            )
            text = described[1] if described else ""
            if _has_unit(argument.arg, text + comments.get(default.lineno, "")):
                yield f"{function.name}({argument.arg})"


def _moments(function: ast.FunctionDef) -> Iterator[str]:
    """Yield a duration or an hour of the day that is written inside a function."""
    for node in ast.walk(function):
        if _is_moment(node) and ast.unparse(node) not in _CALENDAR_STEPS:
            yield f"{function.name}: {ast.unparse(node)}"


def _text(node: ast.stmt | None) -> str:
    """Return the docstring that follows a constant."""
    alone = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    return (
        str(node.value.value)
        if alone and isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        else ""
    )


def _has_unit(name: str, text: str) -> bool:
    return bool(_UNIT_NAME.search(name.lower()) or _UNIT_WORD.search(text))


def _is_number(node: ast.expr) -> bool:
    """Tell whether a number is written in it, alone, in a sum or in a collection; 0 and 1 count as none."""
    if isinstance(node, ast.Constant):
        return type(node.value) in {int, float} and node.value not in {0, 1}
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        return _is_number(node.left) or _is_number(node.right)
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return any(map(_is_number, node.elts))
    if isinstance(node, ast.Dict):
        return any(map(_is_number, node.values))
    return _is_moment(node)


def _is_moment(node: ast.AST) -> bool:
    """Tell whether it is a call of ``timedelta`` or ``time`` with a number, or holds one."""
    if isinstance(node, ast.Dict):
        return any(map(_is_moment, node.values))
    if isinstance(node, ast.Tuple):
        return any(map(_is_moment, node.elts))
    if not (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in {"timedelta", "time"}
    ):
        return False
    given = (*node.args, *(key.value for key in node.keywords))
    return any(isinstance(each, ast.Constant) and each.value != 0 for each in given)


def test_no_number_of_practice_is_outside_of_the_rule_data() -> None:
    allowed = {name for names in NOT_PRACTICE.values() for name in names}
    found = set(suspects())
    assert sorted(found - allowed) == [], (
        "move it to handover/practice, or say in NOT_PRACTICE why it is none"
    )
    assert sorted(allowed - found) == [], "no longer there"


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("LONGEST = 14.0  # hours", ["LONGEST"]),
        ('LEAD = 3\n"""Days ahead."""', ["LEAD"]),
        ("DUSK = time(17)", ["DUSK"]),
        ("A, B_MPA = 2.0, 3.5", ["B_MPA"]),
        ("LEADS = {1: timedelta(days=1)}", ["LEADS"]),
        ("class A:\n    wait_h: float = 2.5", ["wait_h"]),
        ("def cover(wait_h=2.5): ...", ["cover(wait_h)"]),
        ("def cover(*, at_c: float = -2.0): ...", ["cover(at_c)"]),
        ("def cover(when):\n    return when - timedelta(hours=2)", ["cover: timedelta(hours=2)"]),
        ("def tomorrow(day):\n    return day + timedelta(days=1)", []),
        ('COLUMNS = 3\n"""Of the table."""', []),
        ('WAIT = general_rules().duration("visit.sawing")  # hours', []),
    ],
)
def test_a_number_of_practice_is_found(source: str, expected: list[str]) -> None:
    """The scan itself: what it takes for a number of practice, and what not."""
    assert list(suspects_in(source)) == expected
