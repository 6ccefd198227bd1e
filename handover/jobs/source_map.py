"""The line of each key of a TOML or JSON text, and the keys that are written twice."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from handover.base.text import MAX_SHORT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tree_sitter import Node

Key = str | int
Path = tuple[Key, ...]  # items of a list count from 0 here, and from 1 where people read it
Language = Literal["toml", "json"]

MAX_DEPTH = 12  # the record has four levels; deeper ones are not part of it


def join_path(path: Path) -> str | None:
    """Return a path as people read it: `ticket[2].slump` is the slump of the second ticket.

    A key that is no key may be as long as the record: of it the beginning is enough.
    """
    text = "".join(f"[{key + 1}]" if isinstance(key, int) else f".{key}" for key in path).lstrip(".")
    return (text if len(text) <= MAX_SHORT else f"{text[: MAX_SHORT - 3]}...") or None


@dataclass
class SourceMap:
    """The lines of keys, and the keys written twice with both lines."""

    first: dict[Path, int] = field(default_factory=dict)
    language: Language = "toml"
    duplicates: list[tuple[Path, int, int]] = field(default_factory=list)
    _keys_seen: set[Path] = field(default_factory=set)

    def line_of(self, path: Path) -> int | None:
        """Return the line of a key, or of the nearest table around it in the text."""
        return next(
            (self.first[path[:end]] for end in range(len(path), 0, -1) if path[:end] in self.first), None
        )

    def note(self, path: Path, line: int, *, table: bool = False) -> None:
        """Record a key, and the tables that it creates."""
        if path in self._keys_seen:
            self.duplicates.append((path, self.first[path], line))
        self._keys_seen.add(path)
        for end in range(1, len(path) + 1):
            self.first.setdefault(path[:end], line)
        if table:
            self.first[path] = line


def find_lines(text: str, language: Language) -> SourceMap:
    """Return the lines of the keys of a text. Text with faults gives the lines that can be found."""
    import tree_sitter  # noqa: PLC0415  three libraries that only this function needs
    import tree_sitter_json  # noqa: PLC0415
    import tree_sitter_toml  # noqa: PLC0415

    grammar = tree_sitter_toml if language == "toml" else tree_sitter_json
    root = tree_sitter.Parser(tree_sitter.Language(grammar.language())).parse(text.encode()).root_node
    lines = SourceMap(language=language)
    if language == "toml":
        _toml_document(root, lines)
    else:
        for value in root.named_children:
            _json_value(value, (), lines)
    return lines


def _line(node: Node) -> int:
    return node.start_point[0] + 1


def _text(node: Node) -> str:
    return (node.text or b"").decode()


def _toml_document(root: Node, lines: SourceMap) -> None:
    counted: dict[Path, int] = {}
    for node in root.named_children:
        if node.type == "pair":
            _toml_pair(node, (), lines)
        elif node.type in {"table", "table_array_element"}:
            header, *pairs = [child for child in node.named_children if child.type != "comment"]
            path = _within_arrays(tuple(_toml_keys(header)), counted)
            if node.type == "table_array_element":
                counted[path] = counted.get(path, -1) + 1
                path = (*path, counted[path])
            lines.note(path, _line(node), table=True)
            for pair in pairs:
                _toml_pair(pair, path, lines)


def _within_arrays(keys: Path, counted: dict[Path, int]) -> Path:
    """Return the path of a header, with its item if it is in an array of tables."""
    path: Path = ()
    for key in keys[:-1]:
        path = (*path, key)
        if path in counted:
            path = (*path, counted[path])
    return (*path, *keys[-1:])


def _toml_keys(node: Node) -> Iterator[str]:
    if node.type == "dotted_key":
        for child in node.named_children:
            yield from _toml_keys(child)
    elif node.type == "quoted_key":
        try:
            yield from tomllib.loads(f"{_text(node)} = 0")
        except tomllib.TOMLDecodeError:
            yield _text(node)
    else:
        yield _text(node)


def _toml_pair(node: Node, table: Path, lines: SourceMap) -> None:
    if node.type != "pair" or not node.named_children:
        return
    key, *values = [child for child in node.named_children if child.type != "comment"]
    path = (*table, *_toml_keys(key))
    lines.note(path, _line(node))
    for value in values[:1]:
        _toml_value(value, path, lines)


def _toml_value(node: Node, path: Path, lines: SourceMap) -> None:
    if len(path) > MAX_DEPTH:
        return
    children = [child for child in node.named_children if child.type != "comment"]
    if node.type == "inline_table":
        for pair in children:
            _toml_pair(pair, path, lines)
    elif node.type == "array":
        for index, item in enumerate(children):
            lines.note((*path, index), _line(item))
            _toml_value(item, (*path, index), lines)


def _json_value(node: Node, path: Path, lines: SourceMap) -> None:
    if len(path) > MAX_DEPTH:
        return
    if node.type == "array":
        for index, item in enumerate(node.named_children):
            lines.note((*path, index), _line(item))
            _json_value(item, (*path, index), lines)
    elif node.type == "object":
        for pair in node.named_children:
            key, value = pair.child_by_field_name("key"), pair.child_by_field_name("value")
            if key is None or value is None:
                continue
            try:
                name = str(json.loads(_text(key)))
            except ValueError:
                name = _text(key)
            lines.note((*path, name), _line(pair))
            _json_value(value, (*path, name), lines)
