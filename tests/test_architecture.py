"""The storeys of the house hold, and the front door opens at once."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import grimp
import pytest
from importlinter.cli import lint_imports

import handover

ROOT = Path(__file__).parents[1]

HEAVY = (
    "alembic", "distributed", "filelock", "httpx2", "icalendar", "jinja2", "markdown", "numpy", "pandas",
    "pint", "pvlib", "pydantic", "rich", "scipy", "sqlalchemy", "tree_sitter", "tzfpy", "weasyprint",
)  # fmt: skip


def python(code: str, *arguments: str) -> str:
    """Run code in a fresh interpreter; return what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return done.stdout


def loaded_after(statement: str) -> set[str]:
    """Return the modules that are loaded once a statement has run in a fresh interpreter."""
    code = f"import sys, contextlib, io\nwith contextlib.redirect_stdout(io.StringIO()):\n    {statement}\n"
    return set(python(code + "print(*sys.modules)").split())


def test_each_layer_imports_only_from_those_below() -> None:
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


def test_no_modules_import_each_other_in_a_circle() -> None:
    graph = grimp.build_graph("handover", cache_dir=None)
    assert _circles({each: graph.find_modules_directly_imported_by(each) for each in graph.modules}) == []


def test_circles_are_found() -> None:
    imports = {"a": {"b"}, "b": {"c"}, "c": {"b", "d"}, "d": set()}
    assert _circles(imports) == [["b", "c"]]


def _circles(imports: dict[str, set[str]]) -> list[list[str]]:
    """Return the modules that import each other, imports for type checkers included.

    They are what is left when modules that import nothing of the rest, or are imported by none of it, are
    taken away.
    """
    left = dict(imports)
    while True:
        used = {each for name in left for each in left[name] & left.keys() if each != name}
        ends = [name for name in left if name not in used or not (left[name] - {name}) & left.keys()]
        if not ends:
            return [sorted(left)] if left else []
        for name in ends:
            del left[name]


@pytest.mark.parametrize("command", ["--help", "issue --help", "plan --help"])
def test_help_loads_nothing_heavy(command: str) -> None:
    arguments = command.split()
    loaded = loaded_after(f"from handover.cli import main; main({arguments!r})")
    assert "handover.cli" in loaded
    assert not loaded.intersection(HEAVY)


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert not loaded_after("import handover").intersection(HEAVY)


def test_the_package_offers_its_four_functions() -> None:
    for name in handover.__all__:
        assert callable(getattr(handover, name)), name
    with pytest.raises(AttributeError, match="soffits"):
        _ = handover.soffits


def test_nothing_below_the_command_line_reads_the_clock_or_draws_by_chance() -> None:
    forbidden = {"now", "today", "utcnow", "time", "time_ns", "uuid1", "uuid4", "urandom", "random"}
    for file in sorted((ROOT / "handover").rglob("*.py")):
        called = {
            node.func.attr
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id in {"clock", "date", "datetime", "os", "random", "time", "uuid"}
        }
        found = called & forbidden
        assert found == ({"now"} if file.parts[-2:] == ("cli", "option_values.py") else set()), file
