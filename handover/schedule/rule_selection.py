"""The rules of which country apply to a job, and the properties of its slab that select among them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput
from handover.jobs.country_codes import country_of_site
from handover.practice.rules import STRICTEST, practice, rule_set_of, rule_sets, rules_of, sets_of_countries
from handover.schedule.model import Assumption

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice, RuleSet


def rules_for(job: JobRecord, code: str | None = None) -> tuple[Practice, Assumption]:
    """Return the rules for a job, and the note about them for the data sheet.

    For a country without its own set, the strictest rule of all countries governs each date: no date is
    earlier than by the rules of one of them. A set that a contract names does not count. One exception:
    blankets that stay on longer keep the slab warmer, and what waits for its strength is sooner by hours.

    Args:
        job: The record.
        code: Code of a set ("de"), of a country of a set ("AT"), or "strictest"; None: by the site.

    Raises:
        UnusableInput: There is no such set.
    """
    if code is not None:
        return _rules_by_code(code)
    country = country_of_site(job.site.country, job.site.timezone)
    found = None if country is None else rule_set_of(country)
    if found is not None:
        return _by(found, f"the rules of the site's country, {country}")
    where = "the site's country is not known" if country is None else f"no rules for {country}"
    return rules_of(country), Assumption(
        "rules",
        f"the strictest of {', '.join(each.name for each in sets_of_countries())}",
        f"{where}: the strictest rule of all countries governs. Ask for the rules of the place",
    )


def _rules_by_code(code: str) -> tuple[Practice, Assumption]:
    if code.lower() == STRICTEST:
        chosen = Assumption("rules", "the strictest of all countries", "chosen at this issue")
        return practice(STRICTEST), chosen
    found = rule_sets().get(code.lower()) or rule_set_of(code)
    if found is None:
        raise UnusableInput(
            [
                Finding(
                    f'"{code}" is not the name of a set of rules',
                    field="rules",
                    expected=f"one of {', '.join([*rule_sets(), STRICTEST])}, or a country that has one",
                    example="us",
                )
            ]
        )
    return _by(found, "chosen at this issue")


def _by(found: RuleSet, why: str) -> tuple[Practice, Assumption]:
    return practice(found.code), Assumption("rules", f"{found.name}: {found.basis}", why)
