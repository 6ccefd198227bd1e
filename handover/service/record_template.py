"""The record to fill in, with the usual items for such a slab."""

from __future__ import annotations

from typing import get_args

from handover.documents.translations import load_translations
from handover.errors import Finding, UnusableInput
from handover.jobs.fields import nearest_word
from handover.jobs.record import SlabUse
from handover.jobs.record_template import record_template
from handover.practice.walkthrough import walkthrough_items


def record_to_fill_in(use: str | None = None) -> str:
    """Return a commented job record that offers the walk-through of such a slab.

    Args:
        use: What the slab is for, such as "driveway"; None if not known yet.

    Raises:
        UnusableInput: No slab has such a use.
    """
    uses = get_args(SlabUse)
    if use is not None and use not in uses:
        finding = Finding(
            f'"{use}" is not known',
            field="--use",
            expected="one of " + ", ".join(f'"{each}"' for each in uses),
            example=f'"{nearest_word(use, uses) or uses[0]}"',
        )
        raise UnusableInput([finding])
    words = load_translations("en")  # as all of the record
    return record_template(use, [words.say(f"look-at.{code}") for code in walkthrough_items(use or "other")])
