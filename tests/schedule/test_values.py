"""A simulation is a value: what is computed from it is returned, and nothing is written to an argument."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

MODULES = sorted((Path(__file__).parents[2] / "handover" / "schedule").glob("*.py"))


def writes_to_arguments(source: str) -> list[str]:
    """Return each assignment of a function to an attribute or an item of one of its arguments."""
    found = []
    for function in ast.walk(ast.parse(source)):
        if not isinstance(function, ast.FunctionDef):
            continue
        arguments = {
            each.arg for each in (*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs)
        }
        for node in ast.walk(function):
            if not isinstance(node, ast.Attribute | ast.Subscript) or isinstance(node.ctx, ast.Load):
                continue
            base: ast.expr = node
            while isinstance(base, ast.Attribute | ast.Subscript):
                base = base.value
            if isinstance(base, ast.Name) and base.id in arguments:
                found.append(f"{function.name}:{node.lineno} {ast.unparse(node)}")
    return found


def test_a_write_to_an_argument_is_found() -> None:
    assert writes_to_arguments("def f(a, b):\n    a.x = b[1] = 3\n    c = {}\n    c['y'] = 4\n") == [
        "f:2 a.x",
        "f:2 b[1]",
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda each: each.stem)
def test_no_function_writes_to_its_arguments(module: Path) -> None:
    assert writes_to_arguments(module.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("module", MODULES, ids=lambda each: each.stem)
def test_every_dataclass_is_frozen(module: Path) -> None:
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef):
            for decorator in map(ast.unparse, node.decorator_list):
                assert not decorator.startswith("dataclass") or "frozen=True" in decorator, node.name
