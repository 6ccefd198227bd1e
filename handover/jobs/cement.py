"""Names of cements: ASTM C150 types, EN 197 strength classes, and other names for them.

The names of other standards are data of practice (`practice/cement_names.toml`). A cement of the Mexican
standard has the rule of an ASTM type: R, of high early strength, that of type I, any other class, or one that
resists sulfates or has low heat, that of type II, the slowest.

Source:
    NMX-C-414-ONNCCE, table of the strength classes: 20 N/mm2 at 3 days for 30R and 30 for 40R, nothing for
    20, 30 and 40; table of the compositions, as summaries of the standard quote them. The type of each:
    common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.fields import FieldParser, Schema
from handover.practice.cement_names import BlendName, blend_names, cement_names

_TYPES = ("I", "II", "III", "V")
_BY_NUMBER = {"1": "I", "2": "II", "3": "III", "5": "V"}
_CLASSES = tuple(f"{strength} {speed}" for strength in ("32.5", "42.5", "52.5") for speed in "NR")
_EXPECTED = (
    f"ASTM C150 type {', '.join(_TYPES)} or EN 197 class {', '.join(_CLASSES)}, "
    "or the name of a cement of CSA A3001, AS 3972, IS 269 or NMX-C-414"
)

_STANDARD = re.compile(
    r"^(?:ASTM )?(?:(?:C ?(?:150|595|1157)M?|CSA(?: A ?300[01])?|AS ?3972|NZS ?3122|"
    r"(?:BIS )?IS ?(?:269|8112|12269|1489|455|16415|8041)|(?:BS |DIN )?EN ?197)(?: ?1)?(?: \d{4})?\s+)+"
)
_FILLERS = re.compile(r"\b(?:TYPE|TIPO|CSA|CEMENT|CEMENTO|GRADE|NF)\b")
_EUROPEAN = re.compile(
    r"(?:OPC )?(?:(?P<kind>CEM (?:III|II|IV|I|VI|V)(?: [ABC])?)\b[^0-9]*|CEM )?"
    r"(?P<strength>[345]2)\.5 ?(?P<speed>[NRL]?)\b(?P<more>.*)"
)
_PLAIN_KINDS = re.compile(r"CEM II?(?: [AB])?")
_STATED = re.compile(r"(?P<kind>I[SPT]) ?(?P<shares>\(.+\))")
_SHARES = {"S": "slag", "P": "fly_ash"}

_MEXICAN = re.compile(
    r"(?P<kind>CP[OCSP]|CPEG|CEG)(?: ?(?P<strength>[234]0) ?(?P<early>R?)(?P<more>(?: ?(?:RS|BRA|BCH|B))*))?"
)
_MEXICAN_BLENDS = {
    "CPP": ("pozzolan", "fly_ash = 0.25"),
    "CPEG": ("slag", "slag = 0.35"),
    "CEG": ("slag", "slag = 0.70"),
}


def mexican_cement(text: str) -> tuple[str, str] | None:
    """Return the ASTM type for a cement of NMX-C-414 such as "CPC 30R", and why; None for any other text."""
    found = _MEXICAN.fullmatch(_mexican_words(text))
    if found is None or found["strength"] is None or found["kind"] in _MEXICAN_BLENDS:
        return None
    name = f"class {found['strength']}{found['early']} of NMX-C-414"
    if found["early"] and not re.search("RS|BCH", found["more"]):
        return "I", f"{name} has at 3 days what a type I has; a cautious rule for it (common practice)"
    return (
        "II",
        f"{name} has no strength to reach at 3 days or hardens slowly; the slowest rule (common practice)",
    )


def _mexican_words(text: str) -> str:
    words = " ".join(re.sub("[-/,]", " ", text.upper()).split())
    return re.sub(
        r"^(?:NMX C 414(?: ONNCCE)?(?: [0-9]{4})?[ ,]*)?(?:(?:TIPO|TYPE|CEMENTO|CEMENT) )*", "", words
    )


def _plain_words(text: str) -> str:
    """Return a name in capitals, without standard, punctuation and the words that every name may have."""
    words = re.sub(r"(?<=\d),(?=\d)", ".", text.upper())
    words = " ".join(re.sub(r"[-_/,:]", " ", words).replace("(", " (").split())
    return " ".join(_FILLERS.sub(" ", _STANDARD.sub("", words)).split())


def known_cement(text: str) -> tuple[str, str | None] | None:
    """Return the type or class by whose rule a cement goes, and why if its name is another; None: not known.

    An American cement that states its share of limestone, as "IL(10)", is the one without it.
    """
    words = _plain_words(text)
    words = re.sub(r"^IL ?\(.+\)$", "IL", words)
    for word in (words, re.sub(r"^PORTLAND | PORTLAND$", "", words)):
        if (found := _canonical(word)) is not None:
            return found, None
        if (name := cement_names().get(word)) is not None:
            return name.rule, f"{name.why} ({name.mark})"
    return mexican_cement(text)


def _canonical(word: str) -> str | None:
    """Return a type, by its number too, or a class of EN 197, without its letters for sulfate and heat."""
    if word in _TYPES:
        return word
    if word in _BY_NUMBER:
        return _BY_NUMBER[word]
    found = _EUROPEAN.fullmatch(word)
    if found is None or found["speed"] not in ("N", "R"):
        return None
    is_plain = found["kind"] is None or _PLAIN_KINDS.fullmatch(found["kind"])
    return f"{found['strength']}.5 {found['speed']}" if is_plain else None


def _open_blend(word: str) -> BlendName | None:
    """Return what a name that leaves shares of slag or ash open stands for, or None."""
    if (stated := _STATED.fullmatch(word)) is not None and stated["kind"] in blend_names():
        known = blend_names()[stated["kind"]]
        return BlendName(known.what, _stated_line(stated["kind"], stated["shares"]) or known.line, known.mark)
    european = _EUROPEAN.fullmatch(word)
    name = european["kind"] if european is not None else word
    return blend_names().get(name or "") or blend_names().get(re.sub(r"^([A-Z]+)\b.*", r"\1", word))


def _stated_line(kind: str, shares: str) -> str | None:
    """Return the line for shares in brackets, as "(40)" or "(S25)(P10)"; None where they are not clear."""
    found = re.findall(r"\(([SP]?) ?(\d{1,2})\)", shares)
    parts = [
        f"{_SHARES[letter or kind[1]]} = 0.{share:0>2}" for letter, share in found if letter or kind != "IT"
    ]
    return f'"I", and below it {" and ".join(parts)}' if parts else None


@dataclass(frozen=True)
class CementName(FieldParser):
    """An ASTM C150 type or an EN 197 strength class."""

    def parse(self, raw: object) -> str | Finding:
        """Return "I", "II", "III", "V" or a class such as "42.5 N", or a finding with the line to write."""
        if not isinstance(raw, str):
            return self._fault(f"{quoted_text(raw)} is not text")
        if (known := known_cement(raw)) is not None:
            return known[0]
        if found := _MEXICAN.fullmatch(_mexican_words(raw)):
            return self._mexican_fault(raw, found)
        word = _plain_words(raw)
        if (blend := _open_blend(word)) is not None:
            return Finding(
                f"{quoted_text(raw)} is {blend.what}; its name does not say enough of how much slag or ash "
                "it has: write its base cement, and the shares as slag and fly_ash",
                expected="the base cement here, and the shares from the data sheet of the cement",
                example=blend.line,
            )
        if (european := _EUROPEAN.fullmatch(word)) is not None or _PLAIN_KINDS.match(word):
            return self._class_fault(raw, "42" if european is None else european["strength"])
        return self._fault(f"{quoted_text(raw)} is not a known cement")

    def _fault(self, problem: str) -> Finding:
        return Finding(problem, expected=_EXPECTED, example='"I" or "42.5 N" or "CPC 30R"')

    def _class_fault(self, raw: str, strength: str) -> Finding:
        """Return the finding about a cement of EN 197 without its strength class, or without N or R."""
        return Finding(
            f"{quoted_text(raw)} does not say its whole class: N is ordinary, R has high early strength",
            expected=f"a class of EN 197, {', '.join(_CLASSES)}, as on the ticket or the bag",
            example=f'"{strength}.5 N" or "{strength}.5 R"',
        )

    def _mexican_fault(self, raw: str, found: re.Match[str]) -> Finding:
        """Return the finding about a cement of NMX-C-414 whose name does not say enough."""
        if found["kind"] not in _MEXICAN_BLENDS:
            return Finding(
                f"{quoted_text(raw)} is a cement of NMX-C-414 without its strength class",
                expected="its class too: 20, 30, 30R, 40 or 40R",
                example=f'"{found["kind"]} 30R"',
            )
        what, share = _MEXICAN_BLENDS[found["kind"]]
        base = "I" if found["early"] else "II"
        return Finding(
            f"{quoted_text(raw)} is a cement of NMX-C-414 with {what}, and its name does not say how much; "
            "write its base cement, and the share as slag or fly_ash",
            expected="the base cement here, and the share from the data sheet of the cement",
            example=f'"{base}", and below it {share}',
        )

    def schema(self) -> Schema:
        """Return the types and classes; the reader takes some other spellings too."""
        return {"type": "string", "examples": ["I", "II", "III", "V", "42.5 N"], "maxLength": 40}
