"""The usual items of a walk-through with the owner of a new slab."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

JOINTS = "joints"
"""Code of the joints, which a slab without joints leaves out."""


@cache
def walkthrough_items(use: str, *, jointed: bool = True) -> tuple[str, ...]:
    """Return the codes of the usual items for a use of the slab, in the order of the walk.

    Args:
        use: What the slab is for.
        jointed: Whether the slab has joints.

    Raises:
        KeyError: No slab has such a use.
    """
    return tuple(code for code in _items()[use] if jointed or code != JOINTS)


@cache
def all_items() -> tuple[str, ...]:
    """Return the codes of the usual items of every use, each once."""
    return tuple(dict.fromkeys(code for codes in _items().values() for code in codes))


@cache
def _items() -> dict[str, list[str]]:
    text = files("handover.practice").joinpath("walkthrough.toml").read_text(encoding="utf-8")
    items: dict[str, list[str]] = tomllib.loads(text)["items"]
    return items
