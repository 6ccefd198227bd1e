"""Completes what the PDF engine leaves out: structure, metadata and streams of a file before it is written.

Sources: ISO 32000-1:2008 (PDF 1.7), ISO 19005-3:2012 (PDF/A-3), ISO 14289-1:2014 (PDF/UA-1). A PDF here is
the engine's object (pydyf): a list of objects, each with a reference such as b"12 0 R".
"""

from __future__ import annotations

import re
import zlib
from typing import TYPE_CHECKING, Any

from handover.errors import RenderingFailed

if TYPE_CHECKING:
    from collections.abc import Iterator

CELLS = {"/TH", "/TD"}
STREAM = re.compile(rb"/Length (?P<length>\d+)>>\nstream\n")

ACCESSIBLE = b"""\
<rdf:Description xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" rdf:about="" pdfuaid:part="1"/>
<rdf:Description xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#" rdf:about="">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 that the file conforms to</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
"""The mark of PDF/UA-1 (its clause 5), described as PDF/A-3 requires for extension properties (6.6.2.3.3)."""


def complete(_: object, pdf: Any) -> None:
    """Complete a PDF before it is written; the arguments are those of the engine's finisher.

    Raises:
        RenderingFailed: The engine's metadata have an unexpected form.
    """
    _make_running_text_artifacts(pdf)
    _remove_empty_elements(pdf)
    _add_scopes(pdf)
    _add_identifier_tree(pdf)
    _list_files_once(pdf)
    _declare_accessible(pdf)
    _compress(pdf)


# ---- structure


def _make_running_text_artifacts(pdf: Any) -> None:
    """Mark running text and page numbers, which the engine tags but leaves out of the structure.

    PDF/UA-1, 7.8: running headers and footers are pagination artifacts (ISO 32000-1, 14.8.2.2.2).
    """
    inside = _reachable(pdf)
    outside = [each for each in _elements(pdf) if each.reference not in inside]
    for element in outside:
        page = _at(pdf, element["Pg"])
        for content in element["K"]:
            if isinstance(content, int):
                _make_artifact(_at(pdf, page["Contents"]).stream, content)
    _forget_parents(pdf, {each.reference for each in outside})
    for element in outside:
        element.clear()


def _make_artifact(stream: list[Any], number: int) -> None:
    """Change a numbered marked content of a page to an artifact."""
    from pydyf import Dictionary  # noqa: PLC0415 - heavy

    at = next(at for at, each in enumerate(stream) if isinstance(each, dict) and each.get("MCID") == number)
    stream[at - 1 : at + 1] = ["/Artifact", Dictionary({"Type": "/Pagination"})]


def _forget_parents(pdf: Any, elements: set[bytes]) -> None:
    """Remove elements from the tree that leads from marked contents to their elements."""
    numbers = _at(pdf, _root(pdf)["ParentTree"])["Nums"]
    for parents in numbers[1::2]:
        if isinstance(parents, list):  # entry of a page; a link has one parent
            parents[:] = ["null" if each in elements else each for each in parents]


def _reachable(pdf: Any) -> set[bytes]:
    """Return the references of the structure tree."""
    found: set[bytes] = set()
    waiting = list(_root(pdf)["K"])
    while waiting:
        reference = waiting.pop()
        found.add(reference)
        waiting.extend(each for each in _at(pdf, reference).get("K", ()) if isinstance(each, bytes))
    return found


def _remove_empty_elements(pdf: Any) -> None:
    """Remove empty elements, such as icons: a list may have only items (PDF/UA-1, 7.6)."""
    for document in _root(pdf)["K"]:
        _keep(pdf, document)


def _keep(pdf: Any, reference: bytes) -> bool:
    """Return whether an element is not empty, after removing the empty elements in it; a cell is kept."""
    from pydyf import Array  # noqa: PLC0415 - heavy

    element = _at(pdf, reference)
    if element["Type"] != "/StructElem":  # a reference to a link
        return True
    element["K"] = Array(each for each in element["K"] if not isinstance(each, bytes) or _keep(pdf, each))
    if element["K"] or element["S"] in CELLS:
        return True
    element.clear()
    return False


def _add_scopes(pdf: Any) -> None:
    """Mark each header cell as that of a row or of a column (PDF/UA-1, 7.5)."""
    for cell in _elements(pdf):
        if cell["S"] == "/TH":
            row = _at(pdf, cell["P"])
            cell["A"]["Scope"] = "/Column" if _at(pdf, row["P"])["S"] == "/THead" else "/Row"


def _add_identifier_tree(pdf: Any) -> None:
    """ISO 32000-1, 14.7.2: elements with identifiers require a tree of these, in order."""
    from pydyf import Array, Dictionary, String  # noqa: PLC0415 - heavy

    named = sorted((each["ID"].string, each.reference) for each in _elements(pdf) if "ID" in each)
    if named:
        pairs = ((String(name), reference) for name, reference in named)
        by_name = Dictionary({"Names": Array(part for pair in pairs for part in pair)})
        pdf.add_object(by_name)
        _root(pdf)["IDTree"] = by_name.reference


# ---- files and metadata


def _list_files_once(pdf: Any) -> None:
    """List each embedded file once; the engine lists it twice."""
    from pydyf import Array  # noqa: PLC0415 - heavy

    if "AF" in pdf.catalog:
        pdf.catalog["AF"] = Array(dict.fromkeys(pdf.catalog["AF"]))


def _declare_accessible(pdf: Any) -> None:
    """Add the mark of PDF/UA-1 to the metadata, and leave them uncompressed for other programs."""
    metadata = _at(pdf, pdf.catalog["Metadata"])
    before, end, after = _content(metadata).rpartition(b"</rdf:RDF>")
    if not end:
        raise RenderingFailed("the metadata of the PDF have no end")
    metadata.stream = [before + b"\n" + ACCESSIBLE + end + after]
    metadata.compress = False


# ---- streams


def _compress(pdf: Any) -> None:
    """Compress every stream. The engine would compress twice, in three times the time, for one percent."""
    from pydyf import Stream  # noqa: PLC0415 - heavy

    for each in pdf.objects:
        if isinstance(each, Stream) and each.compress:
            each.stream = [zlib.compress(_content(each))]
            each.extra["Filter"] = "/FlateDecode"
            each.compress = False


def end_streams_clearly(content: bytes) -> bytes:
    """Return a file in which the length of each stream is clear from its end as well.

    The engine ends the data of a stream with a line feed. If their last byte is a carriage return, the two
    look like one end of a line, and Length seems one too large (PDF/A-3, 6.1.7.1). There the line ends with
    both; an unneeded blank of the dictionary is removed, so that nothing else moves.

    Args:
        content: A file from the engine: Length is the last entry of the dictionary of a stream.
    """
    parts, at = [], 0
    while start := STREAM.search(content, at):
        end = start.end() + int(start["length"])
        before, data = content[at : start.end()], content[start.end() : end]
        if data.endswith(b"\r") and b"/Filter /" in before:
            head, _, tail = before.rpartition(b"/Filter /")
            before, data = head + b"/Filter/" + tail, data + b"\r"
        parts += [before, data]
        at = end
    return b"".join([*parts, content[at:]])


def _content(stream: Any) -> bytes:
    """Return the bytes of a stream before the engine compresses them."""
    from pydyf import Stream  # noqa: PLC0415 - heavy

    return bytes(Stream(stream.stream).data.partition(b"\nstream\n")[2].removesuffix(b"\nendstream"))


# ---- navigation


def _elements(pdf: Any) -> Iterator[Any]:
    """Yield every structure element."""
    return (each for each in pdf.objects if isinstance(each, dict) and each.get("Type") == "/StructElem")


def _root(pdf: Any) -> Any:
    """Return the root of the structure."""
    return _at(pdf, pdf.catalog["StructTreeRoot"])


def _at(pdf: Any, reference: bytes) -> Any:
    """Return the object of a reference."""
    return pdf.objects[int(reference.split()[0])]
