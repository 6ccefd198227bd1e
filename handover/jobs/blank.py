"""The record to fill in."""

from __future__ import annotations

from importlib.resources import files


def blank_record() -> str:
    """Return a commented job record in TOML, every field in it, with blanks for what must be told."""
    return files("handover.jobs").joinpath("blank.toml").read_text(encoding="utf-8")
