"""What a record lacks for its readers: a use, a number to call, a language that there are texts in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.templating import languages
from handover.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from handover.jobs.record import JobRecord


def reader_findings(
    job: JobRecord,
    file: str,
    *,
    chosen: tuple[str, ...] | None = None,
    firm: str | None = None,
    templates: Path | None = None,
) -> Iterator[Finding]:
    """Yield what the readers of the documents will miss: the same for a check and for an issue.

    Args:
        job: The record.
        file: The name of its file, for the findings.
        chosen: The languages of the documents; None: that of the owner.
        firm: The language of crew and office; None: by default.
        templates: A contractor's own texts, in which a language may be.
    """
    known = languages(templates)
    readers = [("language", each) for each in chosen or ()] or [("owner.language", job.owner.language)]
    if firm is not None:
        readers.append(("firm_language", firm))
    for field, each in readers:
        if each not in known:
            yield Finding(
                f'there are no texts in the language "{each}"',
                file=file,
                field=field,
                expected=", ".join(known),
                example=f'{field.rpartition(".")[2]} = "{known[0]}"',
            )
    if any(path == "slab.use" for path, *_ in job.assumed):
        yield Finding(
            "is missing: what is the slab for? Without it the sheet has no date for cars and trucks",
            file=file,
            field="slab.use",
            expected="the use of the slab",
            example='use = "driveway"',
            severity="caution",
        )
    if job.contractor.phone is None:
        yield Finding(
            "is missing: no paper can tell the owner which number to call",
            file=file,
            field="contractor.phone",
            expected="the number that the owner calls",
            example='phone = "336-555-0117"',
            severity="caution",
        )
