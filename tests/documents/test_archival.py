"""The sheets as files that last: PDF/A-3a and PDF/UA-1, and what a screen reader makes of them.

An independent validator judges each file as a whole; those of every sample in `tests/golden`. Apart from it,
the clauses of ISO 19005-3:2012 that our documents touch are checked one by one, each by its number; what it
refers to in ISO 32000-1:2008 beside it. What they forbid and our engine has no way to write (PostScript, 3D,
movies, XFA) is covered by the lists of what may be there.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import os
import re
import subprocess
import sys
import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import pikepdf
import pydyf
import pytest
from fontTools.ttLib import TTFont
from page import ValidationProfile, validate_pdf_bytes
from PIL import Image

from handover.documents import pdf as pdf_engine
from handover.documents.calendars import owner_calendar
from handover.documents.pages import (
    care_sheet_html,
    crew_sheet_html,
    data_sheet_html,
    embedded_files,
    sheet_pdf,
)
from handover.documents.pdf import Attachment, render_pdf
from handover.documents.pdf_structure import end_streams_clearly
from handover.documents.schedule_json import schedule_json
from handover.documents.wording import Wording
from handover.errors import RenderingFailed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

RECORD = ("job.toml", b'id = "2026-07-14-alder-garage"\n')
NS = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "pdfaid": "http://www.aiim.org/pdfa/ns/id/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "pdf": "http://ns.adobe.com/pdf/1.3/",
    "pdfuaid": "http://www.aiim.org/pdfua/ns/id/",
    "pdfaExtension": "http://www.aiim.org/pdfa/ns/extension/",
    "pdfaSchema": "http://www.aiim.org/pdfa/ns/schema#",
    "pdfaProperty": "http://www.aiim.org/pdfa/ns/property#",
}
# ISO 32000-1, 14.8.4: the standard structure types, as far as our documents use them.
STANDARD = {
    *("Document", "Part", "Sect", "Div", "NonStruct", "P", "H1", "H2", "H3", "L", "LI", "Lbl", "LBody"),
    *("Table", "THead", "TBody", "TFoot", "TR", "TH", "TD", "Caption", "Span", "Link", "Figure"),
}


def logo(mode: str) -> bytes:
    out = io.BytesIO()
    Image.new(mode, (300, 90), (136, 68, 34, 128)[: len(mode)]).save(out, "PNG")
    return out.getvalue()


def sheets(plain: JobRecord, schedule: CureSchedule) -> dict[str, bytes]:
    """Return both sheets of a job that has a see-through logo and a photo."""
    door = plain.walkthrough[0].model_copy(update={"photo": "door.png"})
    contractor = plain.contractor.model_copy(update={"logo": "logo.png"})
    job = plain.model_copy(update={"contractor": contractor, "walkthrough": (door, *plain.walkthrough[1:])})
    words = Wording(job, schedule)
    inside = embedded_files(
        words,
        schedule=schedule_json(schedule),
        calendar=owner_calendar(words),
        record=RECORD,
    )
    pictures = {"logo.png": logo("RGBA"), "door.png": logo("RGB")}
    return {
        "care": sheet_pdf(care_sheet_html(words, pictures=pictures), inside),
        "crew": sheet_pdf(crew_sheet_html(words)),
        "data": sheet_pdf(data_sheet_html(words), inside),
    }


@pytest.fixture(scope="module")
def both(module_inputs: tuple[JobRecord, CureSchedule], once: Callable[..., Path]) -> dict[str, bytes]:
    """Both sheets, rendered once for all workers."""

    def fill(folder: Path) -> None:
        for name, content in sheets(*module_inputs).items():
            (folder / name).write_bytes(content)

    folder = once("archival", fill)
    return {name: (folder / name).read_bytes() for name in ("care", "crew", "data")}


@pytest.fixture(params=["care", "data"])
def content(request: pytest.FixtureRequest, both: dict[str, bytes]) -> bytes:
    return both[request.param]


@pytest.fixture
def pdf(content: bytes) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(content)) as opened:
        yield opened


def things(pdf: pikepdf.Pdf, **looks: str) -> list[Any]:
    """Return the dictionaries and streams of a file that look so."""
    held = [each for each in pdf.objects if isinstance(each, (pikepdf.Dictionary, pikepdf.Stream))]
    return [
        each
        for each in held
        if all(str(each.get(f"/{key}", "")) == f"/{value}" for key, value in looks.items())
    ]


def everything(node: Any, seen: set[tuple[int, int]]) -> Iterator[Any]:
    """Give every dictionary that can be reached, direct ones too."""
    if isinstance(node, (pikepdf.Dictionary, pikepdf.Stream, pikepdf.Array)):
        if node.is_indirect:
            if node.objgen in seen:
                return
            seen.add(node.objgen)
        if not isinstance(node, pikepdf.Array):
            yield node
        for child in node if isinstance(node, pikepdf.Array) else [node[key] for key in node.keys()]:  # noqa: SIM118 - no plain mapping
            yield from everything(child, seen)


def metadata(pdf: pikepdf.Pdf) -> ET.Element:
    return ET.fromstring(pdf.Root.Metadata.read_bytes())  # noqa: S314 - our own file


# ---- the validator's word


def findings(content: bytes) -> set[str]:
    """Return the rules of PDF/A-3a and PDF/UA-1 that a file breaks."""
    reports = [
        validate_pdf_bytes(content, profile=each)
        for each in (ValidationProfile.PDF_A_3A, ValidationProfile.PDF_UA_1)
    ]
    return {each.rule_id for report in reports for each in report.failures}


def test_the_validator_finds_nothing(content: bytes) -> None:
    assert findings(content) == set()


def test_the_validator_finds_nothing_in_the_crew_sheet(both: dict[str, bytes]) -> None:
    assert findings(both["crew"]) == set()


def test_the_validator_sees_what_the_engine_leaves_undone(
    module_inputs: tuple[JobRecord, CureSchedule], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf_engine, "complete", lambda *_: None)
    found = findings(sheet_pdf(care_sheet_html(Wording(*module_inputs))))
    assert {"PDFUA1-ID-PART-001", "PDFA3A-METADATA-FILTER-001"} <= found


# ---- 6.1 the file


def test_6_1_2_header(content: bytes) -> None:
    assert re.match(rb"%PDF-1\.[0-7]\n%[\x80-\xff]{4}", content)


def test_6_1_3_trailer(pdf: pikepdf.Pdf) -> None:
    assert len(pdf.trailer.ID) == 2
    assert "/Encrypt" not in pdf.trailer


def test_6_1_3_nothing_after_the_end(content: bytes) -> None:
    assert content.rstrip().endswith(b"%%EOF")
    assert content.count(b"%%EOF") == 1


def test_6_1_7_streams(pdf: pikepdf.Pdf) -> None:
    allowed = {"/FlateDecode", "/DCTDecode"}  # of the standard filters; LZW and Crypt are forbidden
    for stream in (each for each in pdf.objects if isinstance(each, pikepdf.Stream)):
        assert not {"/F", "/FFilter", "/FDecodeParms"} & set(stream.keys())
        filters = stream.get("/Filter", pikepdf.Array())
        named = filters if isinstance(filters, pikepdf.Array) else [filters]
        assert {str(each) for each in named} <= allowed


def test_6_1_7_1_the_length_of_a_stream_is_clear_from_its_end(content: bytes) -> None:
    """A carriage return and a line feed before "endstream" are one end of a line, and not of the data."""
    seen = 0
    for start in re.finditer(rb"/Length (\d+)>>\nstream\n", content):
        data, end, _ = content[start.end() :].partition(b"endstream")
        assert end
        assert len(re.sub(rb"(\r\n|\r|\n)\Z", b"", data)) == int(start[1])
        seen += 1
    assert seen > 10


def test_6_1_7_1_a_stream_that_ends_with_a_carriage_return() -> None:
    blanks = (b"\n" * number for number in range(1, 256))
    content = next(each for each in blanks if zlib.compress(each).endswith(b"\r"))
    engine, stream = pydyf.PDF(), pydyf.Stream([content], compress=True)
    engine.add_object(stream)
    page = {"Type": "/Page", "Parent": engine.pages.reference, "MediaBox": pydyf.Array([0, 0, 9, 9])}
    held = {"Contents": stream.reference, "Resources": pydyf.Dictionary()}
    engine.add_page(pydyf.Dictionary(page | held))
    out = io.BytesIO()
    engine.write(out)
    written = end_streams_clearly(out.getvalue())
    assert b"\r\r\nendstream" in written
    assert len(written) == len(out.getvalue())
    with pikepdf.open(io.BytesIO(written)) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert pdf.pages[0].Contents.read_bytes() == content


def test_6_1_13_limits(pdf: pikepdf.Pdf) -> None:
    assert len(pdf.objects) <= 8_388_607
    for page in pdf.pages:
        deep = deepest = 0
        for step in pikepdf.parse_content_stream(page):
            deep += {"q": 1, "Q": -1}.get(str(step.operator), 0)
            deepest = max(deepest, deep)
        assert deep == 0
        assert deepest <= 28
        left, bottom, right, top = (float(each) for each in page.mediabox)
        assert 3 <= right - left <= 14400
        assert 3 <= top - bottom <= 14400


def test_the_file_is_sound(pdf: pikepdf.Pdf) -> None:
    """ISO 32000-1, 7.5: what an independent reader says of cross references and streams."""
    assert pdf.check_pdf_syntax() == []


# ---- 6.2 graphics


def test_6_2_3_output_intent(pdf: pikepdf.Pdf) -> None:
    intents = list(pdf.Root.OutputIntents)
    assert [str(each.S) for each in intents] == ["/GTS_PDFA1"]
    profile = intents[0].DestOutputProfile
    icc = profile.read_bytes()
    assert int(profile.N) == 3
    # ICC.1:2010, 7.2: signature at 36, class at 12, colour space at 16; 6.2.3 asks for "mntr" or "prtr".
    assert (icc[36:40], icc[12:16], icc[16:20]) == (b"acsp", b"mntr", b"RGB ")
    assert int.from_bytes(icc[:4], "big") == len(icc)


def test_6_2_4_colours_fit_the_output_intent(pdf: pikepdf.Pdf) -> None:
    """6.2.4.3: DeviceRGB and DeviceGray are allowed where the output intent is RGB; DeviceCMYK may not."""
    for page in pdf.pages:
        used = {str(step.operator) for step in pikepdf.parse_content_stream(page)}
        assert not used & {"k", "K"}
    spaces = {str(each.ColorSpace) for each in things(pdf, Subtype="Image")}
    assert spaces <= {"/DeviceRGB", "/DeviceGray"}


def test_6_2_5_graphics_state(pdf: pikepdf.Pdf) -> None:
    seen: set[tuple[int, int]] = set()
    for each in everything(pdf.Root, seen):
        assert not {"/TR", "/HTP"} & set(each.keys())
        assert str(each.get("/BM", "/Normal")) == "/Normal"


def test_6_2_8_images(both: dict[str, bytes]) -> None:
    with pikepdf.open(io.BytesIO(both["care"])) as pdf:
        images = things(pdf, Subtype="Image")
        assert len(images) == 3  # logo, how see-through it is, photo
        for each in images:
            assert not {"/Alternates", "/OPI"} & set(each.keys())
            assert not each.get("/Interpolate", False)
            assert int(each.BitsPerComponent) in {1, 2, 4, 8}


def test_6_2_9_form_xobjects(pdf: pikepdf.Pdf) -> None:
    for each in things(pdf, Subtype="Form"):
        assert not {"/OPI", "/PS", "/Subtype2", "/Ref"} & set(each.keys())


def test_6_2_10_transparency(pdf: pikepdf.Pdf) -> None:
    """An output intent is there (6.2.3); a group that names a colour space names one that it fits."""
    for each in everything(pdf.Root, set()):
        if str(each.get("/S", "")) == "/Transparency" and "/CS" in each:
            space = each.CS
            assert str(space[0]) == "/ICCBased"
            assert int(space[1].N) == 3


def fonts(pdf: pikepdf.Pdf) -> list[Any]:
    return things(pdf, Type="Font", Subtype="Type0")


def test_6_2_11_fonts_are_composite_and_embedded(pdf: pikepdf.Pdf) -> None:
    assert len(fonts(pdf)) == 2
    assert {str(each.Subtype) for each in things(pdf, Type="Font")} == {"/Type0", "/CIDFontType2"}
    for font in fonts(pdf):
        (below,) = font.DescendantFonts
        assert str(font.Encoding) == "/Identity-H"  # 6.2.11.3.3
        assert str(below.CIDToGIDMap) == "/Identity"  # 6.2.11.3.2
        assert "/FontFile2" in below.FontDescriptor  # 6.2.11.4.1
        assert re.match(r"/[A-Z]{6}\+", str(font.BaseFont))  # a subset: ISO 32000-1, 9.6.4


def shown(pdf: pikepdf.Pdf) -> dict[str, set[int]]:
    """Return the glyphs that each font shows, by its name in the resources."""
    glyphs: dict[str, set[int]] = {}

    def read(stream: Any) -> None:
        current = ""
        for step in pikepdf.parse_content_stream(stream):
            if str(step.operator) == "Tf":
                current = str(step.operands[0])
            for part in step.operands[0] if str(step.operator) == "TJ" else ():
                if isinstance(part, pikepdf.String):
                    raw = bytes(part)
                    codes = {int.from_bytes(raw[at : at + 2], "big") for at in range(0, len(raw), 2)}
                    glyphs.setdefault(current, set()).update(codes)

    for page in pdf.pages:
        read(page)
    for form in things(pdf, Subtype="Form"):
        read(form)
    return glyphs


def test_6_2_11_5_widths_agree_and_6_2_11_8_no_notdef(pdf: pikepdf.Pdf) -> None:
    used = shown(pdf)
    by_name = pdf.pages[0].Resources.Font
    assert set(used) <= set(by_name.keys())
    for name, glyphs in used.items():
        below = by_name[name].DescendantFonts[0]
        program = TTFont(io.BytesIO(below.FontDescriptor.FontFile2.read_bytes()))
        order, scale = program.getGlyphOrder(), 1000 / program["head"].unitsPerEm
        printed = widths(below.W)
        assert 0 not in glyphs
        for glyph in glyphs:
            width = program["hmtx"][order[glyph]][0] * scale
            assert printed[glyph] == pytest.approx(width, abs=1)  # the clause: differ by 1/1000 em at most


def widths(listed: Any) -> dict[int, float]:
    """ISO 32000-1, 9.7.4.3: "first [widths]" in turns."""
    found: dict[int, float] = {}
    for first, row in zip(listed[::2], listed[1::2], strict=True):
        found.update({int(first) + step: float(width) for step, width in enumerate(row)})
    return found


def test_6_2_11_7_2_every_glyph_says_its_letter(pdf: pikepdf.Pdf) -> None:
    used = shown(pdf)
    for name, glyphs in used.items():
        table = pdf.pages[0].Resources.Font[name].ToUnicode.read_bytes().decode("ascii")
        pairs = dict(re.findall(r"<([0-9a-f]{4})> <([0-9a-f]+)>", table, re.IGNORECASE))
        letters = {int(code, 16): bytes.fromhex(text).decode("utf-16-be") for code, text in pairs.items()}
        assert glyphs <= set(letters)
        assert not {"\0", "\ufeff", "\ufffe"} & set("".join(letters.values()))


# ---- 6.3 to 6.5 annotations, actions


def test_6_3_annotations(pdf: pikepdf.Pdf) -> None:
    for page in pdf.pages:
        for each in page.get("/Annots", []):
            assert str(each.Subtype) == "/Link"
            assert int(each.F) & 0b111 == 0b100  # 6.3.2: printed, not hidden


def test_6_5_no_actions(pdf: pikepdf.Pdf) -> None:
    seen: set[tuple[int, int]] = set()
    assert not {"/OpenAction", "/AA", "/AcroForm", "/Requirements"} & set(pdf.Root.keys())
    for each in everything(pdf.Root, seen):
        assert "/AA" not in each
        assert "/JS" not in each
        assert "/JavaScript" not in each


# ---- 6.6 metadata


def test_6_6_4_the_file_says_what_it_is(pdf: pikepdf.Pdf) -> None:
    described = metadata(pdf).findall(".//rdf:Description", NS)
    (mark,) = (each for each in described if f"{{{NS['pdfaid']}}}part" in each.attrib)
    assert mark.attrib[f"{{{NS['pdfaid']}}}part"] == "3"
    assert mark.attrib[f"{{{NS['pdfaid']}}}conformance"] == "A"


def test_6_6_2_1_packet(pdf: pikepdf.Pdf) -> None:
    packet = pdf.Root.Metadata.read_bytes()
    assert (str(pdf.Root.Metadata.Type), str(pdf.Root.Metadata.Subtype)) == ("/Metadata", "/XML")
    assert packet.startswith(b'<?xpacket begin="')
    assert b"bytes=" not in packet.partition(b"?>")[0]
    assert b"encoding=" not in packet.partition(b"?>")[0]


def test_6_6_2_3_only_properties_that_are_known(pdf: pikepdf.Pdf) -> None:
    known = set(NS.values())
    for described in metadata(pdf).findall(".//rdf:Description", NS):
        names = [*described.attrib, *(each.tag for each in described)]
        assert {name.partition("}")[0].removeprefix("{") for name in names} <= known


def test_6_6_2_3_3_a_property_that_pdf_a_does_not_know_is_described(pdf: pikepdf.Pdf) -> None:
    """The mark of PDF/UA-1 (ISO 14289-1, clause 5) is one, and the only one."""
    printed = metadata(pdf)
    marks = [each.get(f"{{{NS['pdfuaid']}}}part") for each in printed.findall(".//rdf:Description", NS)]
    assert [each for each in marks if each] == ["1"]
    (schema,) = printed.findall(".//pdfaExtension:schemas/rdf:Bag/rdf:li", NS)
    assert schema.findtext("pdfaSchema:namespaceURI", "", NS) == NS["pdfuaid"]
    (described,) = schema.findall("pdfaSchema:property/rdf:Seq/rdf:li", NS)
    assert described.findtext("pdfaProperty:name", "", NS) == "part"
    assert described.findtext("pdfaProperty:valueType", "", NS) == "Integer"


def test_metadata_can_be_read_without_decoding(content: bytes) -> None:
    """For programs that look for the packet and know no PDF."""
    assert content.count(b"<x:xmpmeta") == content.count(b"pdfuaid:part") == 1


def test_metadata_and_information_agree(pdf: pikepdf.Pdf) -> None:
    printed = metadata(pdf)

    def text(path: str) -> str:
        return str(printed.findtext(path, "", NS))

    info = pdf.docinfo
    assert text(".//dc:title//rdf:li") == str(info.Title)
    assert text(".//dc:creator//rdf:li") == str(info.Author) == "Three Rivers Flatwork"
    for name, path in (("/CreationDate", ".//xmp:CreateDate"), ("/ModDate", ".//xmp:ModifyDate")):
        moment = datetime.fromisoformat(text(path))
        assert moment == datetime(2026, 7, 14, 16, 30, tzinfo=UTC)
        assert str(info[name]).startswith(f"D:{moment:%Y%m%d%H%M%S}")
    assert set(info.keys()) <= {"/Title", "/Author", "/Producer", "/CreationDate", "/ModDate"}


# ---- 6.7 logical structure


def kids(element: Any) -> list[Any]:
    children = element.get("/K", [])
    listed = children if isinstance(children, pikepdf.Array) else [children]
    return [each for each in listed if isinstance(each, pikepdf.Dictionary) and "/S" in each]


def walked(element: Any) -> Iterator[Any]:
    """Give structure elements in the order in which they are read aloud."""
    for child in kids(element):
        yield child
        yield from walked(child)


def kind(element: Any) -> str:
    return str(element.S).removeprefix("/")


def test_6_7_2_tagged(pdf: pikepdf.Pdf) -> None:
    assert bool(pdf.Root.MarkInfo.Marked)
    (top,) = kids(pdf.Root.StructTreeRoot)
    assert kind(top) == "Document"
    assert all("/StructParents" in page for page in pdf.pages)


def test_6_7_2_all_that_is_shown_is_tagged_or_ornament(pdf: pikepdf.Pdf) -> None:
    """ISO 32000-1, 14.8.2.2: real content is in marked content; the rest is marked as an artifact."""
    for page in pdf.pages:
        open_marks = 0
        for step in pikepdf.parse_content_stream(page):
            name = str(step.operator)
            open_marks += {"BDC": 1, "BMC": 1, "EMC": -1}.get(name, 0)
            if name in {"TJ", "Tj", "Do", "f", "S", "B", "f*", "B*", "sh"}:
                assert open_marks > 0, f"{name} stands outside of any mark"
        assert open_marks == 0


def artifacts(page: Any) -> list[str]:
    """Return the text of each artifact of a page that has some."""
    letters = {name: unicode_of(font) for name, font in page.Resources.Font.items()}
    texts: list[str] = []
    marks: list[bool] = []
    font = ""
    for step in pikepdf.parse_content_stream(page):
        name = str(step.operator)
        if name in {"BDC", "BMC"}:
            marks.append(str(step.operands[0]) == "/Artifact")
            texts.append("")
        elif name == "EMC":
            marks.pop()
        elif name == "Tf":
            font = str(step.operands[0])
        elif name == "TJ" and any(marks):
            texts[-1] += said(step.operands[0], letters[font])
    return [each for each in texts if each]


def test_6_7_3_running_text_is_an_artifact_and_nothing_else_is(both: dict[str, bytes]) -> None:
    """ISO 14289-1, 7.8, and ISO 32000-1, 14.8.2.2.2."""
    feet = dict.fromkeys(both, "2026-07-14-alder-garage") | {"care": "Alder Lane garage · Call 336-555-0117"}
    for name, content in both.items():
        with pikepdf.open(io.BytesIO(content)) as pdf:
            for number, page in enumerate(pdf.pages, 1):
                assert artifacts(page) == [feet[name], f"Page {number} of {len(pdf.pages)}"]


def test_marks_and_elements_know_one_another(pdf: pikepdf.Pdf) -> None:
    """ISO 32000-1, 14.7.4.4: the parent tree leads from each number on a page to its element, and back."""
    parents = list(pdf.Root.StructTreeRoot.ParentTree.Nums)
    for page in pdf.pages:
        listed = parents[parents.index(int(page.StructParents)) + 1]
        led = {number: each.objgen for number, each in enumerate(listed) if each is not None}
        back = {
            number: each.objgen
            for each in walked(pdf.Root.StructTreeRoot)
            for number in each.get("/K", pikepdf.Array())
            if isinstance(number, int) and each.Pg.objgen == page.objgen
        }
        assert led == back
        assert set(back) == {
            int(step.operands[1].MCID)
            for step in pikepdf.parse_content_stream(page)
            if str(step.operator) == "BDC" and "/MCID" in step.operands[1]
        }


def test_no_element_is_empty_but_cells_that_keep_their_place(pdf: pikepdf.Pdf) -> None:
    empty = [each for each in walked(pdf.Root.StructTreeRoot) if not len(each.get("/K", pikepdf.Array()))]
    assert {kind(each) for each in empty} <= {"TD"}


def test_6_7_3_4_only_standard_types(pdf: pikepdf.Pdf) -> None:
    found = {kind(each) for each in walked(pdf.Root.StructTreeRoot)}
    assert found <= STANDARD


def test_6_7_4_language(pdf: pikepdf.Pdf) -> None:
    assert str(pdf.Root.Lang) == "en"


def test_identifiers_have_their_tree(pdf: pikepdf.Pdf) -> None:
    """ISO 32000-1, 14.7.2, table 322: IDTree, sorted (7.9.6), leads from each identifier to its element."""
    names = list(pdf.Root.StructTreeRoot.IDTree.Names)
    listed = {str(name): element for name, element in zip(names[::2], names[1::2], strict=True)}
    assert list(listed) == sorted(listed)
    carrying = {str(each.ID) for each in things(pdf, Type="StructElem") if "/ID" in each}
    assert set(listed) == carrying
    assert all(str(element.ID) == name for name, element in listed.items())


# ---- 6.8 files inside


def test_6_8_files_inside(pdf: pikepdf.Pdf) -> None:
    listed = list(pdf.Root.AF)
    names = list(pdf.Root.Names.EmbeddedFiles.Names)
    assert [str(each.UF) for each in listed] == ["job-record.toml", "owner.ics", "schedule.json"]
    assert [str(each) for each in names[::2]] == sorted(str(each.F) for each in listed)
    relations = [str(each.AFRelationship) for each in listed]
    assert relations == ["/Source", "/Supplement", "/Data"]
    kinds = [str(each.EF.F.Subtype) for each in listed]
    assert kinds == ["/application/toml", "/text/calendar", "/application/json"]
    for each in listed:
        stream = each.EF.F
        assert str(stream.Type) == "/EmbeddedFile"
        assert str(stream.Params.ModDate) == "D:20260714163000Z"
        assert int(stream.Params.Size) == len(stream.read_bytes())
        # ISO 32000-1, 7.11.4, table 46: the checksum is MD5, for finding faults, not for trust.
        assert bytes(stream.Params.CheckSum) == hashlib.md5(stream.read_bytes()).digest()  # noqa: S324
        assert str(each.Desc)


def test_the_files_inside_are_those_given(
    pdf: pikepdf.Pdf, module_inputs: tuple[JobRecord, CureSchedule]
) -> None:
    held = {name: file.get_file().read_bytes() for name, file in pdf.attachments.items()}
    assert held["job-record.toml"] == RECORD[1]
    assert held["schedule.json"] == schedule_json(module_inputs[1])
    assert held["owner.ics"].startswith(b"BEGIN:VCALENDAR")


@pytest.mark.parametrize(
    ("name", "laid_as", "media_type"),
    [
        ("alder.TOML", "job-record.toml", "application/toml"),
        ("schedule.json", "job-record.json", "application/json"),
        ("../../etc/passwd", "job-record.txt", "text/plain"),
    ],
)
def test_a_record_of_any_name(
    name: str, laid_as: str, media_type: str, module_inputs: tuple[JobRecord, CureSchedule]
) -> None:
    files = embedded_files(Wording(*module_inputs), schedule=b"{}", calendar=b"x", record=(name, b"y"))
    assert (files[-1].name, files[-1].media_type) == (laid_as, media_type)


def test_files_that_are_alike_are_refused() -> None:
    dated = datetime(2026, 7, 14, tzinfo=UTC)
    two = [Attachment(name, b"x", "text/plain", "d", "Data", dated) for name in ("a.txt", "b.txt")]
    with pytest.raises(RenderingFailed, match="are equal"):
        render_pdf('<html lang="en"><title>x</title><p>x</p></html>', two)


# ---- what a screen reader makes of it


def read_aloud(pdf: pikepdf.Pdf) -> list[tuple[str, str]]:
    """Return kind and text of every element that holds text, in the order of the tree."""
    texts = [marked(page) for page in pdf.pages]
    number = {page.objgen: index for index, page in enumerate(pdf.pages)}
    heard: list[tuple[str, str]] = []

    def hear(element: Any, kinds: tuple[str, ...]) -> None:
        here = (*kinds, kind(element))
        children = element.get("/K", [])
        for child in children if isinstance(children, pikepdf.Array) else [children]:
            if isinstance(child, pikepdf.Dictionary):
                if "/S" in child:
                    hear(child, here)
            else:
                said = texts[number[element.Pg.objgen]].get(int(child), "")
                heard.append((next((each for each in reversed(here) if each in TOLD), ""), said))

    hear(kids(pdf.Root.StructTreeRoot)[0], ())
    return heard


TOLD = {"H1", "H2", "H3", "P", "TH", "TD", "LBody", "Figure", "Caption"}


def marked(page: Any) -> dict[int, str]:
    """Return the text of each marked content of a page."""
    letters = {name: unicode_of(font) for name, font in page.Resources.Font.items()}
    found: dict[int, str] = {}
    marks: list[int | None] = []
    font = ""
    for step in pikepdf.parse_content_stream(page):
        name = str(step.operator)
        if name in {"BDC", "BMC"}:
            printed = step.operands[1] if name == "BDC" else {}
            marks.append(int(printed["/MCID"]) if "/MCID" in printed else None)
        elif name == "EMC":
            marks.pop()
        elif name == "Tf":
            font = str(step.operands[0])
        elif name == "TJ" and marks and marks[-1] is not None:
            found[marks[-1]] = found.get(marks[-1], "") + said(step.operands[0], letters[font])
    return found


def said(shown: Any, letters: dict[int, str]) -> str:
    """Return the text of one operator TJ."""
    parts = [bytes(each) for each in shown if isinstance(each, pikepdf.String)]
    codes = [int.from_bytes(raw[at : at + 2], "big") for raw in parts for at in range(0, len(raw), 2)]
    return "".join(letters[code] for code in codes)


def unicode_of(font: Any) -> dict[int, str]:
    table = font.ToUnicode.read_bytes().decode("ascii")
    pairs = re.findall(r"<([0-9a-f]{4})> <([0-9a-f]+)>", table, re.IGNORECASE)
    return {int(code, 16): bytes.fromhex(text).decode("utf-16-be") for code, text in pairs}


@pytest.fixture(scope="module")
def heard(both: dict[str, bytes]) -> list[tuple[str, str]]:
    with pikepdf.open(io.BytesIO(both["care"])) as pdf:
        return read_aloud(pdf)


def place(heard: list[tuple[str, str]], said: str) -> int:
    return next(at for at, (_, text) in enumerate(heard) if said in text)


def test_the_sheet_is_heard_in_the_order_it_is_needed(heard: list[tuple[str, str]]) -> None:
    order = [
        "Your new garage floor",
        "First job",
        "Start watering",
        "336-555-0117",
        "What may happen when",
        "Walk on it",
        "Park a car on it",
        "The crew comes back",
        "What else stays off",
        "Watering, day by day",
        "Wednesday, July 15",
        "How to do it",
        "This is normal",
        "Call us if you see this",
        "What hurts people",
        "What was placed",
        "How far to trust this sheet",
        "What we looked at together",
        "Handed over",
    ]
    at = 0
    for said in order:
        at += place(heard[at:], said)


def test_headings_go_down_one_step_at_a_time(heard: list[tuple[str, str]]) -> None:
    levels = [int(kind[1]) for kind, _ in heard if re.fullmatch(r"H\d", kind)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_every_table_has_headers_that_its_cells_name(pdf: pikepdf.Pdf) -> None:
    tables = [each for each in walked(pdf.Root.StructTreeRoot) if kind(each) == "Table"]
    assert tables
    for table in tables:
        cells = [each for each in walked(table) if kind(each) in {"TH", "TD"}]
        heads = {str(each.ID): str(each.A.Scope) for each in cells if kind(each) == "TH"}
        assert set(heads.values()) <= {"/Row", "/Column"}
        assert heads
        for cell in (each for each in cells if kind(each) == "TD"):
            assert {str(each) for each in cell.A.get("/Headers", [])} <= set(heads)


def test_every_row_of_the_watering_table_names_its_day(both: dict[str, bytes]) -> None:
    with pikepdf.open(io.BytesIO(both["care"])) as pdf:
        tables = [each for each in walked(pdf.Root.StructTreeRoot) if kind(each) == "Table"]
        bodies = [row for table in tables for row in walked(table) if kind(row) == "TR"]
        for row in bodies:
            first, *others = [each for each in kids(row) if kind(each) in {"TH", "TD"}]
            if others and kind(first) == "TH" and str(first.A.Scope) == "/Row":
                assert all(str(first.ID) in map(str, each.A.Headers) for each in others if kind(each) == "TD")


def test_every_picture_says_what_it_shows(pdf: pikepdf.Pdf) -> None:
    figures = [each for each in walked(pdf.Root.StructTreeRoot) if kind(each) == "Figure"]
    assert figures
    for each in figures:
        assert len(str(each.Alt)) > 10


def test_the_time_line_says_its_dates(both: dict[str, bytes]) -> None:
    with pikepdf.open(io.BytesIO(both["care"])) as pdf:
        printed = " ".join(str(each.get("/Alt", "")) for each in walked(pdf.Root.StructTreeRoot))
    assert "Start watering: 2:00 in the afternoon, Tuesday, July 14." in printed
    assert "Logo of Three Rivers Flatwork" in printed
    assert "Photo: Door line checked with a straightedge" in printed


def test_bookmarks_are_the_headings(both: dict[str, bytes], heard: list[tuple[str, str]]) -> None:
    with pikepdf.open(io.BytesIO(both["care"])) as pdf, pdf.open_outline() as outline:

        def titles(items: Any) -> Iterator[str]:
            for each in items:
                yield str(each.title)
                yield from titles(each.children)

        listed = list(titles(outline.root))
    headings = [text for kind, text in heard if re.fullmatch(r"H\d", kind)]
    assert listed[0] == "Your new garage floor"
    assert [each for each in listed if each in headings] == listed


PRINT_DIGESTS = """
import hashlib, importlib.util, sys
made, sheets = (importlib.util.spec_from_file_location(name, f"{sys.argv[1]}/{name}.py") for name in
    ("conftest", "test_archival"))
modules = [importlib.util.module_from_spec(each) for each in (made, sheets)]
for spec, module in zip((made, sheets), modules):
    spec.loader.exec_module(module)
schedule = modules[0].in_the_cold(modules[0].make_schedule(cautions=modules[0].ALWAYS))
inputs = (modules[0].make_job(), schedule)
for name, content in modules[1].sheets(*inputs).items():
    print(name, hashlib.sha256(content).hexdigest())
"""


def test_same_inputs_same_bytes_in_another_process(both: dict[str, bytes]) -> None:
    """One without any surroundings; `test_issue` compares whole sets, the care page too."""
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    ran = subprocess.run(
        [sys.executable, "-c", PRINT_DIGESTS, str(Path(__file__).parent)],
        capture_output=True,
        check=False,
        env={"PYTHONHASHSEED": seed, "TZ": "Asia/Kolkata", "PATH": "", "HOME": "/nonexistent"},
    )
    assert ran.returncode == 0, ran.stderr.decode()
    expected = {name: hashlib.sha256(content).hexdigest() for name, content in both.items()}
    assert dict(line.split() for line in ran.stdout.decode().splitlines()) == expected
