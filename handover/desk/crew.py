"""The crew's pages: today, the job card, handing over. What is not HTTP is asked of `CrewServices`."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import datetime
from inspect import iscoroutinefunction
from typing import TYPE_CHECKING, Any, Protocol, cast
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from handover.desk.crew_shapes import CardShapes, finding_shapes
from handover.documents.qr import draw_code
from handover.documents.templating import dial_number
from handover.documents.translations import load_translations
from handover.errors import Finding, UnusableInput
from handover.service.desk.card_record import (
    card_source,
    examine_card,
    hour_text,
    job_name,
    zone_of_card,
)
from handover.service.desk.card_store import SIGNATURES
from handover.service.desk.card_suggestions import OFFERED, carried_texts, offered_texts
from handover.service.desk.card_uploads import draw_signature, picture_name, write_picture
from handover.service.desk.job_cards import (
    CARD_KEY,
    CHANGE_KEY,
    CardChange,
    JobCard,
    changed_texts,
    read_entries,
    read_field_name,
)

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping, Sequence
    from datetime import date
    from zoneinfo import ZoneInfo

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from handover.documents.translations import Translations
    from handover.jobs.reading import RecordSource
    from handover.service.desk.card_store import CardStore, StoredCard
    from handover.service.desk.papers_in_brief import PapersInBrief
    from handover.service.office import DueItem

    Endpoint = Callable[[Request], Response] | Callable[[Request], Awaitable[Response]]

MAX_CHANGE_BYTES = 400_000
MAX_UPLOAD_BYTES = 15_000_000
MAX_FORM_FIELDS = 1000
MAX_VISIT_NAME = 200
MAX_FORM_FILES = 40

SAY_KEPT = {"Cache-Control": "no-store"}
"""The crew's pages are kept by the page's own script alone."""


@dataclass(frozen=True)
class CrewMember:
    """Who reads a page: their name, their language, and a name for their session."""

    name: str
    language: str
    session: str


@dataclass(frozen=True)
class PapersState:
    """How far the papers of a card are: "none", "writing", "failed" or "done"; and why they failed."""

    state: str = "none"
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class CrewVisitItem:
    """A visit of the crew: what is due, its name among those of its job, and when it was done."""

    item: DueItem
    name: str
    done_at: datetime | None = None


class CrewServices(Protocol):
    """What the crew's pages ask of the desk."""

    @property
    def cards(self) -> CardStore:
        """The job cards."""

    @property
    def firm(self) -> str:
        """The name of the firm."""

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the firm, for a card without a place."""

    def now(self) -> datetime:
        """Return the time, aware."""

    def draw_key(self) -> str:
        """Return a key that nobody has drawn before."""

    def member(self, request: Request) -> CrewMember:
        """Return who is signed in."""

    def last_records(self) -> Sequence[Mapping[str, Any]]:
        """Return the tables of the last records of the firm, the last first."""

    def visits(self, day: date) -> Sequence[CrewVisitItem]:
        """Return the crew's visits of a day."""

    def tick_visit(self, job: str, visit: str, by: str) -> None:
        """Note that a visit is done."""

    def is_taken(self, job: str) -> bool:
        """Return whether the archive has a job of that id."""

    def owner_url(self, job: str, by: str) -> str:
        """Return the address of the owner's page of a job, which is made with the first question."""

    def ask_for_papers(self, source: RecordSource, files: Mapping[str, bytes], request: str, by: str) -> None:
        """Have the papers of a job written, once for each request."""

    def papers_state(self, request: str) -> PapersState:
        """Return how far the papers are."""

    def papers(self, job: str, language: str) -> PapersInBrief | None:
        """Return the first lines of the papers; None before there are any."""

    def crew_sheet(self, job: str) -> bytes | None:
        """Return the crew sheet as PDF; None before there is one."""

    def page(self, template: str, request: Request, status: int = 200, /, **values: object) -> Response:
        """Return a page from a template of the desk."""

    def worker(self) -> bytes:
        """Return the script that keeps pages for the time without signal."""


def crew_routes(services: CrewServices) -> list[Route]:
    """Return the routes of the crew's pages. Files of the home screen are for anybody."""
    pages = _CrewPages(services)
    card = "/crew/card/{card}"
    own: tuple[tuple[str, Endpoint, str], ...] = (
        ("/crew", pages.today, "GET"),
        ("/crew/new", pages.new_card, "GET"),
        ("/crew/visits", pages.post_visit, "POST"),
        (card, pages.card, "GET"),
        (card, pages.post_card, "POST"),
        (f"{card}/changes", pages.post_changes, "POST"),
        (f"{card}/photos", pages.post_photo, "POST"),
        (f"{card}/photos/{{name}}", pages.photo, "GET"),
        (f"{card}/signature/{{who}}", pages.post_signature, "POST"),
        (f"{card}/handover", pages.handover, "GET"),
        (f"{card}/handover", pages.post_handover, "POST"),
        (f"{card}/crew-sheet.pdf", pages.crew_sheet, "GET"),
        ("/crew/app.webmanifest", pages.manifest, "GET"),
    )
    return [
        *(Route(path, _for_members(services, show), methods=[method]) for path, show, method in own),
        Route("/crew/worker.js", pages.worker),
        Route("/crew/icon-{size:int}.png", pages.icon),
    ]


def _for_members(services: CrewServices, show: Endpoint) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that looks who asks before it reads anything of the request."""

    async def respond(request: Request) -> Response:
        await run_in_threadpool(services.member, request)
        if iscoroutinefunction(show):
            response: Response = await show(request)
            return response
        return cast("Response", await run_in_threadpool(show, request))

    return respond


class _CrewPages:
    """The pages. A method without `async` runs in a thread."""

    def __init__(self, services: CrewServices) -> None:
        self._services = services
        self._cards = services.cards

    # ---- today

    def today(self, request: Request) -> Response:
        """Show today's visits, and the cards."""
        services, words = self._services, self._words(request)
        day = services.now().astimezone(services.zone).date()
        return services.page(
            "crew_today.html",
            request,
            firm=services.firm,
            visits=[_visit(each, words, services.zone) for each in services.visits(day)],
            open_cards=[self._line(each, words) for each in self._cards.open_cards()],
            passed_on=[self._line(each, words) for each in self._cards.passed_on()],
        )

    def _line(self, stored: StoredCard, words: Translations) -> Mapping[str, object]:
        """Return a card in a list."""
        from babel.dates import format_skeleton  # noqa: PLC0415 - heavy

        begun = stored.begun.astimezone(zone_of_card(stored.card, self._services.zone)).date()
        return {
            "key": stored.key,
            "name": job_name(stored.card),
            "begun": format_skeleton("MMMEd", begun, locale=words.locale),
            "missing": examine_card(stored.card, stored.pictures).open_count,
        }

    async def post_visit(self, request: Request) -> Response:
        """Note that a visit is done."""
        async with request.form(max_fields=5, max_files=0) as form:
            job, visit = (str(form.get(each, ""))[:MAX_VISIT_NAME] for each in ("job", "visit"))
        if not job or not visit:
            raise HTTPException(422)
        by = self._services.member(request).name
        await run_in_threadpool(self._services.tick_visit, job, visit, by)
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({})
        return RedirectResponse("/crew", 303)

    # ---- the card

    def new_card(self, request: Request) -> Response:
        """Show an empty card, with what the last job said."""
        return self._show(request, None, self._services.draw_key())

    def card(self, request: Request) -> Response:
        """Show a card; an empty one where no phone has sent any of it yet."""
        key = _card_key(request)
        return self._show(request, self._cards.read(key), key)

    def _show(
        self,
        request: Request,
        stored: StoredCard | None,
        key: str,
        refusals: Sequence[Finding] = (),
    ) -> Response:
        words = self._words(request)
        shape = self._shapes(words).card(stored, key)
        return self._services.page(
            "crew_card.html",
            request,
            422 if refusals else 200,
            card=shape,
            form_key=self._services.draw_key(),
            refusals=finding_shapes(refusals),
        )

    def _shapes(self, words: Translations) -> CardShapes:
        records = self._services.last_records()
        offers = {name: offered_texts(records, name) for name in OFFERED}
        last = records[0] if records else None
        return CardShapes(words, carried_texts(last), offers, _units(offers))

    async def post_card(self, request: Request) -> Response:
        """Take a whole form, from a browser without script."""
        key = _card_key(request)
        limits = {"max_fields": MAX_FORM_FIELDS, "max_files": MAX_FORM_FILES}
        async with request.form(**limits, max_part_size=MAX_UPLOAD_BYTES) as form:
            pictures = [
                (name.removeprefix("photo:"), await each.read())
                for name, each in form.multi_items()
                if isinstance(each, UploadFile) and each.size and name.startswith("photo:")
            ]
            return await run_in_threadpool(self._take_form, request, key, form, pictures)

    def _take_form(
        self, request: Request, key: str, form: FormData, pictures: list[tuple[str, bytes]]
    ) -> Response:
        member, now = self._services.member(request), self._services.now()
        base, form_key = str(form.get("base", "")), str(form.get("key", ""))
        if not base.isdigit() or not CHANGE_KEY.fullmatch(form_key):
            raise HTTPException(422)
        seen = self._cards.read(key, int(base))
        texts = self._texts(form, seen.card if seen else JobCard(), now)
        try:
            entries = read_entries(texts, dict.fromkeys(texts, now))
            change = CardChange(form_key, member.session, int(base), entries)
            self._cards.add_change(key, change, member.name, now)
            for number, (about, content) in enumerate(pictures, 1):
                name, data = picture_name(about), write_picture(content)
                self._cards.add_file(key, f"{form_key}-{number}", name, about, data, member.name, now)
        except UnusableInput as refused:
            return self._show(request, self._cards.read(key), key, refused.findings)
        return RedirectResponse(f"/crew/card/{key}{'/handover' if form.get('next') else ''}", 303)

    def _texts(self, form: FormData, seen: JobCard, now: datetime) -> dict[str, str]:
        """Return the texts of a form that differ from the card that it was made of."""
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        texts = {name: value for name, value in given.items() if read_field_name(name)}
        hour = hour_text(now, zone_of_card(seen, self._services.zone))
        if (button := given.get("now")) and not texts.get(button):
            texts[button] = hour
        changed = changed_texts(seen, texts)
        if "acknowledgement.name" in changed:
            changed["acknowledgement.time"] = hour if changed["acknowledgement.name"].strip() else ""
        chosen = {name.removeprefix("choose:"): text for name, text in given.items() if name[:7] == "choose:"}
        return changed | chosen

    async def post_changes(self, request: Request) -> Response:
        """Take what a phone kept; return what the card is now, with its findings."""
        key, sent = _card_key(request), await _json(request)
        phone, base, texts = sent.get("phone"), sent.get("base"), sent.get("entries")
        at = _moment(sent.get("at"))
        if at is None or not isinstance(base, int) or base < 0 or not isinstance(texts, dict):
            raise HTTPException(422)
        if not isinstance(phone, str) or not re.fullmatch("[a-z0-9]{8,40}", phone):
            raise HTTPException(422)

        def take() -> Response:
            member = self._services.member(request)
            entries = read_entries(texts, dict.fromkeys(texts, at))
            change = CardChange(_sent_key(request), phone, base, entries)
            stored = self._cards.add_change(key, change, member.name, self._services.now())
            return JSONResponse(_card_data(stored), headers=SAY_KEPT)

        return await run_in_threadpool(_or_findings, take)

    # ---- pictures and signatures

    async def post_photo(self, request: Request) -> Response:
        """Take a picture that a phone kept."""
        key, about = _card_key(request), request.query_params.get("about", "")
        content = await _body(request, MAX_UPLOAD_BYTES)

        def take() -> Response:
            name, data = picture_name(about), write_picture(content)
            return self._add_file(request, key, name, about, data)

        return await run_in_threadpool(_or_findings, take)

    async def post_signature(self, request: Request) -> Response:
        """Take a signature that a phone kept."""
        key, who, sent = _card_key(request), request.path_params["who"], await _json(request)
        if who not in SIGNATURES:
            raise HTTPException(404)

        def take() -> Response:
            about = f"signature-{who}"
            drawn = draw_signature(sent.get("strokes"))
            return self._add_file(request, key, f"{about}-{{number}}.svg", about, drawn)

        return await run_in_threadpool(_or_findings, take)

    def _add_file(self, request: Request, key: str, name: str, about: str, data: bytes) -> Response:
        person, now = self._services.member(request).name, self._services.now()
        self._cards.add_file(key, _sent_key(request), name, about, data, person, now)
        return JSONResponse({}, headers=SAY_KEPT)

    def photo(self, request: Request) -> Response:
        """Show a picture of a card."""
        data = self._cards.file(_card_key(request), f"photos/{request.path_params['name']}")
        if data is None:
            raise HTTPException(404)
        return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400"})

    # ---- handing over

    def handover(self, request: Request) -> Response:
        """Show what is needed before handing over, and the ways to hand over."""
        services, words = self._services, self._words(request)
        stored = self._require_card(request)
        found = examine_card(stored.card, stored.pictures)
        member = services.member(request)
        named = stored.job or job_name(stored.card)
        url = services.owner_url(self._job(stored), member.name) if named else ""
        state = services.papers_state(stored.request) if stored.request else PapersState()
        papers = services.papers(stored.job, words.language) if stored.job and state.state == "done" else None
        at_fields = [
            {"name": name, "label": _label(words, name), "text": each.text, "severity": each.severity}
            for name, some in (*found.at_fields.items(), ("", found.others))
            for each in finding_shapes(some)
        ]
        return services.page(
            "crew_handover.html",
            request,
            key=stored.key,
            name=job_name(stored.card),
            form_key=services.draw_key(),
            missing=[{"name": name, "label": _label(words, name)} for name in found.missing],
            faults=[each for each in at_fields if each["severity"] == "fault"],
            cautions=[each for each in at_fields if each["severity"] != "fault"],
            state=state.state,
            failures=finding_shapes(state.findings),
            papers=papers,
            link=_link(words, stored.card, url) if url else None,
        )

    async def post_handover(self, request: Request) -> Response:
        """Have the papers written."""
        form_key = str((await request.form(max_fields=5, max_files=0)).get("key", ""))
        if not CHANGE_KEY.fullmatch(form_key):
            raise HTTPException(422)
        return await run_in_threadpool(self._ask_for_papers, request, form_key)

    def _ask_for_papers(self, request: Request, form_key: str) -> Response:
        stored = self._require_card(request)
        if examine_card(stored.card, stored.pictures).is_complete:
            job, files = self._job(stored), self._cards.files(stored.key)
            source = card_source(stored.card, job, stored.pictures, files)
            self._services.ask_for_papers(source, files, form_key, self._services.member(request).name)
            self._cards.note_request(stored.key, form_key)
        return RedirectResponse(f"/crew/card/{stored.key}/handover", 303)

    def crew_sheet(self, request: Request) -> Response:
        """Return the crew sheet."""
        stored = self._require_card(request)
        sheet = self._services.crew_sheet(stored.job) if stored.job else None
        if sheet is None:
            raise HTTPException(404)
        return Response(sheet, media_type="application/pdf", headers=SAY_KEPT)

    # ---- the app on the home screen

    def worker(self, _: Request) -> Response:
        """Return the script of the worker, which may keep all pages of the crew."""
        headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/crew"}
        return Response(self._services.worker(), media_type="text/javascript", headers=headers)

    def manifest(self, request: Request) -> Response:
        """Return what the home screen shows."""
        say = self._words(request).say
        icons = [
            {"src": f"/crew/icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png"}
            for size in ICONS
        ]
        shown = {"name": f"{say('crew-desk.app-name')} {self._services.firm}".strip(), "icons": icons}
        where = {"start_url": "/crew", "scope": "/crew", "display": "standalone", "id": "/crew"}
        look = {
            "short_name": say("crew-desk.app-name"),
            "background_color": "#ffffff",
            "theme_color": "#16262e",
        }
        return JSONResponse({**shown, **where, **look}, media_type="application/manifest+json")

    def icon(self, request: Request) -> Response:
        """Return the icon of the home screen."""
        if request.path_params["size"] not in ICONS:
            raise HTTPException(404)
        headers = {"Cache-Control": "public, max-age=86400"}
        return Response(_icon(request.path_params["size"]), media_type="image/png", headers=headers)

    # ---- shared

    def _words(self, request: Request) -> Translations:
        return load_translations(self._services.member(request).language)

    def _require_card(self, request: Request) -> StoredCard:
        stored = self._cards.read(_card_key(request))
        if stored is None:
            raise HTTPException(404)
        return stored

    def _job(self, stored: StoredCard) -> str:
        """Return the id of the job of a card: by the day of the pour, else of the card."""
        zone = zone_of_card(stored.card, self._services.zone)
        day = stored.card.text("placement.start")[:10] or hour_text(stored.begun, zone)[:10]
        return self._cards.name_job(
            stored.key, day if re.fullmatch(r"[0-9]{4}(-[0-9]{2}){2}", day) else "job"
        )


ICONS = (180, 192, 512)
"""Sides of the icons, in pixels: what phones ask for."""


def _icon(size: int) -> bytes:
    """Return the icon: a slab, and water on it."""
    from io import BytesIO  # noqa: PLC0415

    from PIL import Image, ImageDraw  # noqa: PLC0415 - heavy

    picture = Image.new("RGB", (size, size), "#16262e")
    draw, unit = ImageDraw.Draw(picture), size / 10
    draw.polygon([(unit * x, unit * y) for x, y in ((1.5, 6), (5, 4.4), (8.5, 6), (5, 7.6))], fill="#d2d2cc")
    draw.polygon([(unit * x, unit * y) for x, y in ((1.5, 6), (5, 7.6), (5, 8.6), (1.5, 7))], fill="#9aa19f")
    draw.polygon([(unit * x, unit * y) for x, y in ((8.5, 6), (5, 7.6), (5, 8.6), (8.5, 7))], fill="#b9bdb8")
    for x in (3.4, 5, 6.6):
        draw.ellipse([unit * (x - 0.32), unit * 2, unit * (x + 0.32), unit * 3.2], fill="#8fd0e8")
    out = BytesIO()
    picture.save(out, "PNG", optimize=True)
    return out.getvalue()


def _visit(visit: CrewVisitItem, words: Translations, zone: ZoneInfo) -> Mapping[str, object]:
    """Return a visit of the crew, with the address of a map."""
    from babel.dates import format_time  # noqa: PLC0415 - heavy

    item, where, done = visit.item, quote(visit.item.street), visit.done_at
    here = item.start.tzinfo if item.start else zone
    return {
        "job": item.job,
        "name": visit.name,
        "hours": item.hours,
        "what": item.what,
        "where": item.street,
        "owner": item.owner,
        "phone": item.phone,
        "map": f"https://www.openstreetmap.org/search?query={where}" if where else "",
        "done": done and format_time(done.astimezone(here), "short", locale=words.locale),
    }


def _link(words: Translations, card: JobCard, url: str) -> Mapping[str, object]:
    """Return the ways to hand a link over."""
    owner = load_translations("es" if card.text("owner.language").startswith("es") else "en")
    text = owner.say("crew-desk.message", url=url)
    subject = owner.say("crew-desk.subject", name=job_name(card))
    phone, mail = dial_number(card.text("owner.phone")), card.text("owner.email")
    return {
        "url": url,
        "subject": subject,
        "code": draw_code(url, words.say("crew-desk.qr-alt")),
        # "?&" serves both families of phones
        "sms": f"sms:{phone}?&body={quote(text)}" if phone else "",
        "mail": f"mailto:{quote(mail)}?subject={quote(subject)}&body={quote(text)}",
    }


def _label(words: Translations, name: str) -> str:
    """Return a field in words; "" for none."""
    parts = read_field_name(name)
    if parts is None:
        return ""
    key = f"crew-field.{parts.table}.{parts.key}"
    label = words.say(key) if words.has(key) else parts.key
    return f"{words.say('crew-desk.truck', number=parts.row)}, {label}" if parts.table == "ticket" else label


def _units(offers: Mapping[str, tuple[str, ...]]) -> str:
    """Return the units of the firm, by the thickness of its last slab."""
    last = next(iter(offers.get("slab.thickness", ())), "")
    return "si" if re.search(r"[0-9]\s*(mm|cm|m)\b", last) else "us"


def _card_data(stored: StoredCard) -> dict[str, Any]:
    """Return a card as its script reads it."""
    found = examine_card(stored.card, stored.pictures)
    return {
        "number": stored.card.number,
        "name": job_name(stored.card),
        "findings": {
            name: [{"text": each.text, "severity": each.severity} for each in finding_shapes(some)]
            for name, some in found.at_fields.items()
        },
        "missing": list(found.missing),
        "conflicts": {name: [each.text for each in some] for name, some in stored.card.conflicts.items()},
    }


def _or_findings(take: Callable[[], Response]) -> Response:
    """Return a response, or the findings about what was sent."""
    try:
        return take()
    except UnusableInput as refused:
        found = [{"text": each.text, "severity": each.severity} for each in finding_shapes(refused.findings)]
        return JSONResponse({"findings": found}, 422)


def _card_key(request: Request) -> str:
    key: str = request.path_params["card"]
    if not CARD_KEY.fullmatch(key):
        raise HTTPException(404)
    return key


def _sent_key(request: Request) -> str:
    return request.headers.get("Idempotency-Key", "")


def _moment(text: object) -> datetime | None:
    """Return an aware time of a text in ISO 8601, or None."""
    try:
        moment = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return moment if moment is not None and moment.tzinfo else None


async def _body(request: Request, most: int) -> bytes:
    """Return the body of a request; one that is too large is not read to its end."""
    content = bytearray()
    async for part in request.stream():
        content += part
        if len(content) > most:
            raise HTTPException(413)
    return bytes(content)


async def _json(request: Request) -> dict[str, Any]:
    try:
        sent = json.loads(await _body(request, MAX_CHANGE_BYTES))
    except (ValueError, RecursionError):
        raise HTTPException(422) from None
    if not isinstance(sent, dict):
        raise HTTPException(422)
    return sent
