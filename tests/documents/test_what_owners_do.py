"""What an owner does with letter, calendar and cover: whoever reads one of them alone does the same."""

from __future__ import annotations

import pytest

from handover.documents.translations import load_translations

LANGUAGES = ("en", "es")


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_takes_the_dark_of_a_wet_top_for_the_night(language: str) -> None:
    """What becomes dark is the top, and water makes it so: "until it is dark" is nightfall."""
    text = load_translations(language).say("missed.text").lower()
    assert {"en": "whole top is dark and wet", "es": "oscura y mojada"}[language] in text
