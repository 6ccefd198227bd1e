"""The record to fill in, with the walk-through that is usual for such a slab."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any, get_args

import pytest

from handover.documents.translations import load_translations
from handover.errors import UnusableInput
from handover.jobs.record import SlabUse
from handover.jobs.record_template import record_template
from handover.practice.walkthrough import walkthrough_items
from handover.service.record_template import record_to_fill_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def put_to_use(text: str) -> str:
    return re.sub(r"^# (?=\[\[walkthrough|item = )", "", text, flags=re.MULTILINE)


@pytest.mark.parametrize("use", get_args(SlabUse))
def test_it_offers_what_is_looked_at_on_such_a_slab(use: str) -> None:
    text = record_to_fill_in(use)
    result = tomllib.loads(put_to_use(text))
    assert result["slab"]["use"] == use
    _, *items = (each["item"] for each in result["walkthrough"])  # the first shows how it is done
    assert items == [load_translations("en").say(f"look-at.{code}") for code in walkthrough_items(use)]
    assert not any("ok" in each for each in result["walkthrough"])  # nobody has looked yet


def test_it_holds_all_that_the_blank_record_holds() -> None:
    assert set(record_template().splitlines()) < set(record_to_fill_in().splitlines())
    assert "walkthrough" not in tomllib.loads(record_to_fill_in())


def test_a_use_that_no_slab_has_is_reported_with_the_nearest() -> None:
    with pytest.raises(UnusableInput) as refused:
        record_to_fill_in("garag floor")
    [finding] = refused.value.findings
    assert finding.example == '"garage floor"'


def test_what_an_owner_of_such_a_slab_cares_for_is_on_its_list() -> None:
    # Common practice, no source: doors need a straight line, floods a drain, machines leave marks indoors.
    for use in ("garage floor", "shop floor"):
        assert {"machine-marks", "door-line", "drains", "anchors"} <= set(walkthrough_items(use))
    assert "slope" in walkthrough_items("driveway")
    for use in get_args(SlabUse):
        assert "edges" in walkthrough_items(use)
        assert len(set(walkthrough_items(use))) == len(walkthrough_items(use))


def test_the_command_writes_it(run: Callable[..., Any], tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    assert run("new", file, "--use", "driveway").status == 0
    assert file.read_text(encoding="utf-8") == record_to_fill_in("driveway")
    result = run("new", tmp_path / "other.toml", "--use", "roof")
    assert result.status == 2
    assert "--use" in result.err
    assert not (tmp_path / "other.toml").exists()
