"""The slabs of one project for one reader: each with its name, its words and its care sheet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile
from typing import TYPE_CHECKING

from handover.documents.care_sheet import CareSheet
from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from handover.jobs.record import JobRecord

SHORTEST_WORD = 3
"""Letters of a word that names a slab by itself."""

UNNAMED_USE = "other"
"""A use that does not tell one slab from another."""


@dataclass(frozen=True, eq=False)
class ProjectSlab:
    """One slab of a project.

    Attributes:
        name: Its name inside a sentence: "garage floor".
        care: Its care sheet.
    """

    name: str
    care: CareSheet

    @property
    def heading(self) -> str:
        """Return its name at the beginning of a line."""
        return capitalise(self.name)

    @property
    def job(self) -> str:
        """Return the id of its job."""
        return self.care.job.id

    @property
    def words(self) -> Wording:
        """Return the words of its schedule."""
        return self.care.wording


class ProjectSlabs:
    """The slabs of a project, in order of placement.

    Args:
        wordings: The words of each schedule, all with one revision and one time of issue: those of the joined
            papers.
        pictures: Bytes of the pictures of each slab, by their names in its record.
    """

    def __init__(self, wordings: Sequence[Wording], pictures: Sequence[Mapping[str, bytes]]) -> None:
        names = _names(wordings)
        self.slabs = tuple(
            ProjectSlab(name, CareSheet(words, own))
            for name, words, own in zip(names, wordings, pictures, strict=True)
        )
        self.name = wordings[0].job.site.project or wordings[0].job.site.name

    @cached_property
    def words(self) -> Wording:
        """The words of the whole: those of the first slab, with the name of the project as its site."""
        first = self.slabs[0].words
        site = first.job.site.model_copy(update={"name": self.name})
        job = first.job.model_copy(update={"id": project_id(first.job), "site": site})
        return Wording(
            job, first.schedule, language=first.language, units=first.units, templates=first.templates
        )

    def list_names(self, slabs: Iterable[ProjectSlab]) -> str:
        """Return the names of some slabs in a list with an initial capital: "Garage floor and driveway"."""
        return capitalise(self.words.speak.join_list([each.name for each in slabs]))


def project_id(job: JobRecord) -> str:
    """Return the text from which the UIDs of a project are derived: its name and its owner's."""
    return f"project {job.site.project}, {job.owner.name or ''}"


def can_be_told_apart(jobs: Iterable[JobRecord]) -> bool:
    """Return whether the slabs of a project have names of their own, in every language."""
    jobs = tuple(jobs)
    return _have_own_uses(jobs) or len({each.site.name.casefold() for each in jobs}) == len(jobs)


def _names(wordings: Sequence[Wording]) -> list[str]:
    """Return the name of each slab: its use, or the name of its site where two slabs have one use.

    Words with which all names begin, such as those of the street, are left out.
    """
    if _have_own_uses([each.job for each in wordings]):
        return [each.say(f"use.{slug(each.job.slab.use)}") for each in wordings]
    names = [each.job.site.name for each in wordings]
    own = _without_shared_words([each.split() for each in names])
    return own if all(map(_is_a_name, own)) else names


def _without_shared_words(names: Sequence[Sequence[str]]) -> list[str]:
    """Return names, by their words, without the first words that all of them have."""
    shared = sum(1 for _ in takewhile(lambda words: len({*words}) == 1, zip(*names, strict=False)))
    return [" ".join(words[shared:]) for words in names]


def _is_a_name(text: str) -> bool:
    """Return whether what is left of a name tells what the slab is: a word, and no number or letter."""
    return len(text.split(" ", 1)[0]) >= SHORTEST_WORD and text[:1].isalpha()


def _have_own_uses(jobs: Iterable[JobRecord]) -> bool:
    uses = [each.slab.use for each in jobs]
    return len({*uses}) == len(uses) and UNNAMED_USE not in uses
