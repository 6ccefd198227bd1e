"""The record to fill in, with what is usual for such a slab."""

from __future__ import annotations

from typing import get_args

from handover.documents.translations import catalog
from handover.errors import Finding, UnusableInput
from handover.jobs.fields import nearest
from handover.jobs.record import SlabUse
from handover.jobs.record_template import blank_record
from handover.practice.walkthrough import looked_at


def record_to_fill_in(use: str | None = None) -> str:
    """Return a commented job record that offers the walk-through of such a slab.

    Args:
        use: What the slab is for, such as "driveway"; None where it is not told yet.

    Raises:
        UnusableInput: No slab has such a use.
    """
    uses = get_args(SlabUse)
    if use is not None and use not in uses:
        finding = Finding(
            f'"{use}" is not known',
            field="--use",
            expected="one of " + ", ".join(f'"{each}"' for each in uses),
            example=f'"{nearest(use, uses) or uses[0]}"',
        )
        raise UnusableInput([finding])
    words = catalog("en")  # as all of the record
    return blank_record(use, [words.say(f"look-at.{code}") for code in looked_at(use or "other")])
