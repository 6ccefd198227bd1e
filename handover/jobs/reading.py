"""Reads a job record and reports all of its faults at once.

bytes -> text -> tables -> draft -> zone and clock -> checks between fields -> record
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, cast
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from handover.base.text import quoted_text
from handover.errors import Finding, UnusableInput
from handover.jobs.attached_files import AttachedFiles, FolderFiles
from handover.jobs.checks import area_of, check_fields, pictures
from handover.jobs.clock import zone_at
from handover.jobs.country_codes import CountryCode, country_of_zone
from handover.jobs.defaults import apply_defaults
from handover.jobs.fields import (
    AS_WRITTEN,
    FieldParser,
    NumberField,
    nearest_word,
    other_names,
    plain_name,
)
from handover.jobs.location import apply_zone, country_mismatch, offset_mismatches, site_country, site_zone
from handover.jobs.logger import examine_log
from handover.jobs.longitude_sign import missing_minus_sign
from handover.jobs.parse import (
    decode_utf8,
    language_of,
    parse_text,
    read_record_bytes,
    with_mistakes_corrected,
)
from handover.jobs.place_text import spell_place
from handover.jobs.record import (
    AssumedValue,
    Draft,
    JobRecord,
    LogReading,
    RecordTable,
    draft_of,
    fields_of,
    mark_of,
    required_fields,
    tables,
)
from handover.jobs.source_map import Path, SourceMap, find_lines, join_path
from handover.jobs.time_spelling import spell_times
from handover.jobs.unit_system import unit_system

if TYPE_CHECKING:
    from os import PathLike

    from pydantic_core import ErrorDetails

FieldFinding = tuple[Path, Finding]
CompleteTables = Callable[[Mapping[str, Any]], Mapping[str, Any]]

MAX_FINDINGS = 50
"""Findings about the fields of a record that are described; the others are counted."""


@dataclass(frozen=True)
class RecordSource:
    """A record as it was received.

    Attributes:
        name: The name of its file, for findings.
        data: The bytes of the file.
        files: The files that it may name.
        fault: Why its file could not be read.
    """

    name: str
    data: bytes
    files: AttachedFiles
    fault: Finding | None = None


@dataclass(frozen=True)
class ExaminedRecord:
    """The result of reading a record.

    Attributes:
        record: The job, or None where there are faults.
        findings: Faults and cautions, in the order of their lines.
        source: The record as it was received; its data are empty if the file could not be read.
    """

    record: JobRecord | None
    findings: tuple[Finding, ...]
    source: RecordSource

    @property
    def faults(self) -> tuple[Finding, ...]:
        """The findings that make the record unusable."""
        return tuple(finding for finding in self.findings if finding.severity == "fault")


def read_job(path: str | PathLike[str]) -> JobRecord:
    """Return the job that a record describes.

    Raises:
        UnusableInput: There is a fault; carries all findings.
    """
    examined = examine_job(path)
    if examined.record is None:
        raise UnusableInput(examined.findings)
    return examined.record


def examine_job(path: str | PathLike[str]) -> ExaminedRecord:
    """Return the result of reading the file of a record, with all faults and cautions."""
    return examine_source(read_source(path))


def read_source(path: str | PathLike[str]) -> RecordSource:
    """Return the file of a record as received, with the files of its folder, or why it cannot be read."""
    file = FilePath(path)
    data, files = read_record_bytes(file), FolderFiles(file.parent)
    if isinstance(data, Finding):
        return RecordSource(str(path), b"", files, replace(data, file=str(path)))
    return RecordSource(str(path), data, files)


def examine_source(source: RecordSource, complete: CompleteTables | None = None) -> ExaminedRecord:
    """Return the result of reading a record, with all faults and cautions.

    Args:
        source: The record as received.
        complete: Returns the tables of the file with what they need before they can be read.
    """
    if source.fault is not None:
        return ExaminedRecord(None, (source.fault,), source)
    text = decode_utf8(source.data)
    if isinstance(text, Finding):
        return ExaminedRecord(None, (replace(text, file=source.name),), source)
    raw = parse_text(text)
    if isinstance(raw, list):
        return ExaminedRecord(None, tuple(_with_further_findings(raw, text, source, complete)), source)
    record, found = examine_tables(raw if complete is None else complete(raw), source.files)
    lines = find_lines(text, language_of(text))
    return ExaminedRecord(record, tuple(located_findings(found, source.name, lines)), source)


def _with_further_findings(
    faults: list[Finding], text: str, source: RecordSource, complete: CompleteTables | None
) -> list[Finding]:
    """Return the findings about the syntax of a text, with those about its other lines."""
    located = [replace(fault, file=source.name) for fault in faults]
    corrected = with_mistakes_corrected(text, faults)
    tables_read = parse_text(corrected)
    if isinstance(tables_read, list):
        known = {each.line for each in faults}
        located += [replace(each, file=source.name) for each in tables_read if each.line not in known]
        return sorted(located, key=lambda each: each.line or 0)
    _, found = examine_tables(tables_read if complete is None else complete(tables_read), source.files)
    lines = find_lines(corrected, language_of(corrected))
    # A line whose value is still to be written, or is no text, has all its findings.
    done = {each.line for each in faults if not re.search(r'= "(?!\.\.\.)', each.example or "")}
    more = [each for each in located_findings(found, source.name, lines) if each.line not in done]
    return sorted([*located, *more], key=lambda each: each.line or 0)


def examine_tables(
    raw: Mapping[str, Any], files: AttachedFiles
) -> tuple[JobRecord | None, list[FieldFinding]]:
    """Return the record that the tables of a file describe, or None, and the findings by path.

    Args:
        raw: The tables of the TOML or JSON file.
        files: The files that the record may name.
    """
    raw, found = spell_place(_spell_sealer(raw))
    raw, about_times = spell_times(raw, partial(country_as_written, raw))
    found += about_times
    unreadable = {path for path, finding in found if finding.severity == "fault"}
    written, about_fields = _read(raw)
    found += about_fields
    start = written.placement.start if written.placement else None
    zone, about_place = site_zone(written.site, start, {path for path, _ in found})
    draft, about_clock = apply_zone(written, zone)
    found += about_clock + about_place
    at_fault = {path for path, finding in found if finding.severity == "fault"} | unreadable
    if unreadable & {("site", "latitude"), ("site", "longitude")}:
        at_fault |= {("site", "latitude"), ("site", "longitude")}
    found += [
        (path, finding) for path, finding in _missing(raw, draft, JobRecord, ()) if path not in at_fault
    ]
    found += _locate(raw, draft, zone, at_fault)
    found += check_fields(draft, files)
    found += offset_mismatches(written, zone)
    doubts = [*missing_minus_sign(written, raw)]
    if doubts:  # it explains the other cautions about the place
        found = [each for each in found if each[0][:1] != ("site",) or each[1].severity == "fault"]
        if zone is None:  # at sea, so that no record can be made of it
            found = [each for each in found if each[0] != ("site", "timezone")]
            doubts = [(path, replace(each, severity="fault")) for path, each in doubts]
    found += doubts or country_mismatch(draft, zone)
    readings, about_log = _log_readings(draft, zone, files)
    found += about_log
    if zone is None or any(finding.severity == "fault" for _, finding in found):
        return None, found
    return _record(draft, zone, raw, files, readings), found


def _spell_sealer(raw: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the tables with `curing.seals` where the name of the method says so: "cure and seal"."""
    curing = raw.get("curing")
    if not isinstance(curing, Mapping) or "seals" in curing:
        return raw
    method = curing.get("method")
    is_sealer = isinstance(method, str) and plain_name(method) in other_names("curing.seals")
    return {**raw, "curing": {**curing, "seals": True}} if is_sealer else raw


def country_as_written(raw: Mapping[str, Any]) -> str | None:
    """Return the code of the site's country by its code, its place or its time zone, as written."""
    site = raw.get("site")
    if not isinstance(site, Mapping):
        return None
    code = CountryCode().parse(site.get("country"))
    if isinstance(code, str):
        return code
    place = [NumberField(-limit, limit, "", "").parse(site.get(key)) for key, limit in _PLACE.items()]
    numbers = [each for each in place if not isinstance(each, Finding)]
    zone = zone_at(*numbers) if len(numbers) == len(_PLACE) else None
    named = site.get("timezone")
    return country_of_zone(zone or (named if isinstance(named, str) else ""))


_PLACE = {"latitude": 90.0, "longitude": 180.0}
"""The coordinates of a place, and their limits in degrees."""


def zone_of_record(path: str | PathLike[str]) -> str | None:
    """Return the name of the time zone of a record's site, or None where it cannot be found.

    The rest of the record may have faults.
    """
    text = decode_utf8(read_source(path).data)
    raw = parse_text(text) if isinstance(text, str) else []
    if isinstance(raw, list):
        return None
    site, _ = _read({"site": spell_place(raw)[0].get("site", {})})
    zone, _ = site_zone(site.site, None, ())
    return zone


def _log_readings(
    draft: Draft, zone: str | None, files: AttachedFiles
) -> tuple[tuple[LogReading, ...], list[FieldFinding]]:
    """Return the readings of the logger's file beside the record, with findings about it."""
    log = draft.temperature_log
    if log is None or log.file is None or files.problem(log.file):
        return (), []
    placed = draft.placement.start if draft.placement else None
    aware = placed if placed and placed.tzinfo else None
    readings, findings = examine_log(files, log.file, ZoneInfo(zone) if zone else None, aware)
    return readings, [(("temperature_log", "file"), finding) for finding in findings]


def _read(raw: Mapping[str, Any]) -> tuple[Draft, list[FieldFinding]]:
    """Return the values that can be read, with times as written, and findings about the others."""
    model, context = draft_of(JobRecord), {AS_WRITTEN: True}
    readable, found = raw, list[FieldFinding]()
    while True:
        try:
            return model.model_validate(readable, context=context), found
        except ValidationError as error:
            faults = error.errors(include_url=False, include_input=True)
        readable = copy.deepcopy(dict(readable))
        # From the last to the first, so that removing an item of a list moves no later one.
        # That a list is too long may show only when its items can be read.
        for fault in sorted(
            faults, key=lambda each: [str(key).zfill(6) for key in each["loc"]], reverse=True
        ):
            _remove_at(readable, fault["loc"])
        found += _findings_of(faults, MAX_FINDINGS - len(found))


def _findings_of(faults: Sequence[ErrorDetails], most: int) -> Iterator[FieldFinding]:
    """Yield the findings about some faults, unknown keys last; past so many, how many are left out."""
    ordered = sorted(faults, key=lambda each: each["type"] == "extra_forbidden")
    for fault in ordered[: max(most, 0)]:
        yield tuple(fault["loc"]), _finding(fault)
    if more := len(ordered[max(most, 0) :]):
        yield (
            tuple(ordered[-1]["loc"])[:1],
            Finding(f"and {more} more like these", expected="a job record, as `handover new` writes it"),
        )


def _remove_at(tables_or_list: Any, path: Path) -> None:
    *way, last = path
    for key in way:
        tables_or_list = tables_or_list[key]
    if isinstance(last, int) and way[-1] in tables():
        tables_or_list[last] = {}  # keeps the numbers of the other items
    else:
        del tables_or_list[last]


def _finding(fault: ErrorDetails) -> Finding:
    path = tuple(fault["loc"])
    if fault["type"] == "finding":
        return _with_key(path, cast("Finding", fault["ctx"]["finding"]))
    if fault["type"] == "extra_forbidden":
        return _unknown(path)
    if fault["type"] == "too_long":
        most = fault["ctx"]["max_length"]
        return Finding(
            f"has more than {most} items", expected=f"at most {most}", example="the most important ones"
        )
    name = next(str(key) for key in reversed(path) if isinstance(key, str))
    if name not in tables():
        items = (
            [each.strip() for each in str(fault["input"]).split(",")]
            if isinstance(fault["input"], str)
            else []
        )
        texts = [each for each in items if each] or ["...", "..."]
        return Finding(
            f"{quoted_text(fault['input'])} is not a list",
            expected="a list of texts",
            example=f"{name} = [{', '.join(map(quoted_text, texts[:12]))}]",
        )
    if fault["type"] == "tuple_type" or isinstance(path[-1], int):
        listed = f"[[{name}]]"
        return Finding(
            f"{quoted_text(fault['input'])} is not a list of tables",
            expected=f"{listed} once for each",
            example=listed,
        )
    return Finding(
        f"{quoted_text(fault['input'])} is not a table",
        expected=f"a table under [{name}]",
        example=f"[{name}]",
    )


def _with_key(path: Path, finding: Finding) -> Finding:
    """Return a finding whose example is a line to paste: a value with the key of its field before it."""
    value = finding.example or ""
    if not isinstance(path[-1], str) or not re.match(r'["0-9]|true|false', value):
        return finding
    return replace(finding, example=f"{path[-1]} = {value}")


def _unknown(path: Path) -> Finding:
    """Return a finding about an unknown key, with the nearest known key."""
    *way, key = path
    key = str(key)
    here = fields_of(tables()[str(way[0])] if way else JobRecord)
    likely = nearest_word(key, here)
    if likely is None:
        homes = [name for name, table in tables().items() if key in fields_of(table)]
        likely = f"[{homes[0]}] {key}" if homes else None
    return Finding(
        f"{quoted_text(key)} is not a key of this record" + (f"; did you mean {likely}?" if likely else ""),
        expected=f"one of {', '.join(here)}",
        example=likely or next(iter(here)),
    )


def _missing(raw: Any, draft: Draft, table: type[RecordTable], path: Path) -> Iterator[FieldFinding]:
    """Yield a finding for each required key of a table that is missing."""
    for key in required_fields(table):
        if getattr(draft, key) is None:
            here = (*path, key)
            blank = isinstance(raw, Mapping) and isinstance(raw.get(key), str)
            yield here, _missing_finding(here, table, "is empty" if blank else "is missing")
    if table is not JobRecord:
        return
    for key, part in tables().items():
        below = raw.get(key) if isinstance(raw, Mapping) else None
        found = getattr(draft, key)
        if isinstance(found, RecordTable):
            yield from _missing(below, found, part, (key,))
        elif isinstance(found, tuple) and isinstance(below, list):
            for index, item in enumerate(found):
                yield from _missing(below[index], item, part, (key, index))


def _missing_finding(path: Path, table: type[RecordTable], problem: str) -> Finding:
    key = str(path[-1])
    if key in tables():
        keys = ", ".join(required_fields(tables()[key]))
        return Finding(f"{problem}: the table has {keys}", expected=f"the table [{key}]", example=f"[{key}]")
    field = fields_of(table)[key]
    reader = mark_of(field, FieldParser)
    example = reader.schema().get("examples", ["..."])[0] if reader else "..."
    return Finding(problem, expected=_lower_first(field.description or key), example=f'{key} = "{example}"')


def _lower_first(description: str) -> str:
    """Return a field's description as part of a sentence."""
    return description[:1].lower() + description[1:].rstrip(".")


def _locate(
    raw: Mapping[str, Any], draft: Draft, zone: str | None, at_fault: set[Path]
) -> Iterator[FieldFinding]:
    """Yield findings where the slab has no size, or the site has neither place nor time zone."""
    slab = raw.get("slab")
    sizes = {("slab", key) for key in ("area", "length", "width")}
    if isinstance(slab, Mapping) and draft.slab and area_of(draft.slab) is None and not sizes & at_fault:
        yield (
            ("slab",),
            Finding(
                "has no size",
                expected="length and width, or area",
                example='length = "34 ft", width = "26 ft"',
            ),
        )
    missing = {("site", key) for key in ("latitude", "longitude", "timezone")}
    if isinstance(raw.get("site"), Mapping) and zone is None and not missing & at_fault:
        yield (
            ("site", "timezone"),
            Finding(
                "is missing, and there is no place on land to find it from",
                expected="latitude and longitude, or the name of the time zone",
                example='timezone = "America/New_York"',
            ),
        )


def _record(
    draft: Draft,
    zone: str,
    raw: Mapping[str, Any],
    files: AttachedFiles,
    readings: tuple[LogReading, ...],
) -> JobRecord:
    """Return the record with defaults for the fields that it leaves out."""
    cement = raw["mix"].get("cement")
    values, assumed = apply_defaults(draft, cement)
    if readings:
        values["temperature_log"]["readings"] = readings
    for path, name in pictures(draft):
        if not files.exists(name):
            _remove_at(values, path)
    if isinstance(cement, str) and cement.strip():
        values["mix"]["cement_ordered"] = " ".join(cement.split())
    values["written_in"] = unit_system(raw)
    values["slab"]["area"] = area_of(draft.slab)
    if draft.site.country is None and (country := site_country(draft.site, zone)) is not None:
        assumed = (
            AssumedValue("site.country", country, "the country of the place, or of its time zone"),
            *assumed,
        )
        values["site"]["country"] = country
    if draft.site.timezone is None:
        assumed = (AssumedValue("site.timezone", zone, "the time zone of the place"), *assumed)
    values["site"]["timezone"] = zone
    return JobRecord.model_validate({**values, "assumed": assumed})


def located_findings(found: list[FieldFinding], file: str, lines: SourceMap) -> list[Finding]:
    """Return the findings with file, line and field, in order of lines; those without a line first."""
    placed = [
        finding  # in a file beside the record
        if finding.file
        else replace(finding, file=file, line=lines.line_of(path) or 1, field=join_path(path))
        for path, finding in found
    ]
    if lines.language == "json":
        placed = [replace(each, example=_as_json(each.example)) for each in placed]
    return sorted(placed, key=lambda finding: finding.line or 0)


def _as_json(example: str | None) -> str | None:
    """Return the lines of an example as JSON has them."""
    return example and re.sub(r"\b([a-z_]+) = ", r'"\1": ', example)
