"""The record that its owner gets: all that was read, and nothing that was not."""

from __future__ import annotations

import json
import tomllib

import pytest

from handover.jobs.plain_record import plain_record


def test_comments_are_left_out_and_all_values_stay(record_text: str) -> None:
    written = "# do not say this\n" + record_text.replace("\n", "  # nor this\n", 1)
    made = plain_record(("alder.toml", written.encode()))
    assert made is not None
    assert made[0] == "alder.toml"
    assert b"say this" not in made[1]
    assert b"nor this" not in made[1]
    assert tomllib.loads(made[1].decode()) == tomllib.loads(record_text)


def test_json_stays_json() -> None:
    made = plain_record(("a.json", b'{"id": "a", "mix": {"cement": "I"}}'))
    assert made is not None
    assert json.loads(made[1]) == {"id": "a", "mix": {"cement": "I"}}


@pytest.mark.parametrize("data", [b"\xff", b"[", b"id = ", b"# a comment alone ["])
def test_of_what_cannot_be_read_nothing_is_given(data: bytes) -> None:
    made = plain_record(("a.toml", data))
    assert made is None or b"comment" not in made[1]


def test_no_record_is_none() -> None:
    assert plain_record(None) is None
