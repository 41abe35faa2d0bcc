"""A lens's ladder in other people's pages: a small page for a frame, and the oEmbed answer that describes it."""

from __future__ import annotations

from urllib.parse import urlencode, urlsplit
from xml.etree import ElementTree

from csp.decorators import csp_replace
from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import Resolver404, resolve, reverse
from django.views.decorators.clickjacking import xframe_options_exempt
from django.views.decorators.http import require_safe

from registry.errors import InvalidInput, NotFound, Problem
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.pages.forms.pictures import PictureForm
from registry.pages.kept import kept, name_of, unchanged
from registry.pages.views.lens import GLASS, glass_asked_for
from registry.standings import queries as standings

# A frame fits a column of text; a zoom's ladders stand under each other.
WIDTH = 460
HEIGHT_OF_HEAD, HEIGHT_OF_LADDER = 150, 150
CACHED_SECONDS = 300
OF_THE_LADDER = ("cut_on_nm", "visible_ev", "theme", *GLASS)


@require_safe
@xframe_options_exempt
@csp_replace({"frame-ancestors": ["*"], "script-src": ["'none'"], "form-action": ["'none'"]})
def ladder(request: HttpRequest, slug: str) -> HttpResponse:
    """The ladder alone, with its verdict in words and where it is from. Sets no cookie, runs no script."""
    stamp = standings.lens_stamp(slug)
    form = PictureForm(request.GET)
    options = form.options()
    state = ("embed", slug, stamp, request.GET.urlencode())
    tag = name_of(*state)
    response = unchanged(request, tag) or HttpResponse(
        kept(state, lambda: _ladder(request, slug, form, options))
    )
    response["ETag"] = f'W/"{tag}"'
    response["Cache-Control"] = f"public, max-age={CACHED_SECONDS}"
    return response


def _ladder(request: HttpRequest, slug: str, form: PictureForm, options: dict) -> str:
    answer = _answer(request, slug, form)
    address = f"{settings.PUBLIC_URL}{reverse('lens', args=[slug])}"
    question = {name: request.GET[name] for name in OF_THE_LADDER[:2] if name in request.GET}
    context = {
        "answer": answer,
        "zones": [zone for zone in answer.zones if zone.tested] or answer.zones[:1],
        "address": f"{address}?{urlencode(question)}" if question else address,
        "theme": options["theme"] if "theme" in request.GET else "",
    }
    return render_to_string("pages/embed.html", context)


@require_safe
def oembed(request: HttpRequest) -> HttpResponse:
    """The answer to a consumer of oEmbed 1.0 (the open specification, section 2) for a lens's address here."""
    form_asked = request.GET.get("format", "json")
    if form_asked not in FORMATS:
        return render(request, "pages/error.html", _no_format(form_asked), status=501)
    lens, question = _lens_meant(request.GET.get("url", ""))
    form = PictureForm(question)
    form.options()
    answer = standings.lens_answer(
        lens, cut_on_nm=form.camera().cut_on_nm, visible_ev=form.camera().visible_ev
    )
    shown = max(1, sum(zone.tested for zone in answer.zones))
    width = min(WIDTH, _size(request, "maxwidth"))
    height = min(HEIGHT_OF_HEAD + HEIGHT_OF_LADDER * shown, _size(request, "maxheight"))
    kept_question = {name: question[name] for name in OF_THE_LADDER if name in question}
    source = f"{settings.PUBLIC_URL}{reverse('embed-ladder', args=[lens.slug])}"
    source += f"?{urlencode(kept_question)}" if kept_question else ""
    title = f"{lens} in infrared: {answer.sentence}"
    frame = {"source": source, "width": width, "height": height, "title": title}
    told = {
        "version": "1.0",
        "type": "rich",
        "title": title,
        "provider_name": "Cleanstop",
        "provider_url": settings.PUBLIC_URL,
        "cache_age": CACHED_SECONDS,
        "html": render_to_string("pages/embed_frame.html", frame).strip(),
        "width": width,
        "height": height,
    }
    response = FORMATS[form_asked](told)
    response["Access-Control-Allow-Origin"] = (
        "*"  # oEmbed is read by pages of other sites; nothing here is private
    )
    return response


def _as_xml(told: dict) -> HttpResponse:
    """The same members as elements (the specification, section 2.3.3.2)."""
    root = ElementTree.Element("oembed")
    for name, value in told.items():
        ElementTree.SubElement(root, name).text = str(value)
    head = b'<?xml version="1.0" encoding="utf-8" standalone="yes"?>\n'
    return HttpResponse(
        head + ElementTree.tostring(root, encoding="utf-8"), content_type="text/xml; charset=utf-8"
    )


FORMATS = {"json": JsonResponse, "xml": _as_xml}


def _answer(request: HttpRequest, slug: str, form: PictureForm) -> standings.LensAnswer:
    seen = form.camera()
    return standings.lens_answer(
        gear_by_slug(GearKind.LENS, slug),
        cut_on_nm=seen.cut_on_nm,
        visible_ev=seen.visible_ev,
        **glass_asked_for(request),
    )


def _lens_meant(url: str):
    """The lens at an address of this site, and the question in it."""
    parts = urlsplit(url)
    own = urlsplit(settings.PUBLIC_URL)
    try:
        match = resolve(parts.path) if (parts.hostname, parts.port) == (own.hostname, own.port) else None
    except Resolver404:
        match = None
    if match is None or match.url_name not in ("lens", "embed-ladder"):
        raise NotFound(
            Problem(
                code="not-embeddable",
                field="url",
                value=url[:200],
                says=f"“{url[:200]}” is no address of a lens here.",
                remedy=f"Give a lens’s address, such as {settings.PUBLIC_URL}/lenses/…/, percent-encoded.",
            )
        )
    return gear_by_slug(GearKind.LENS, match.kwargs["slug"]), QueryDict(parts.query)


def _size(request: HttpRequest, name: str) -> int:
    """A consumer's limit in pixels; a large one where it states none."""
    text = request.GET.get(name, "")
    if not text:
        return 10_000
    if not (text.isascii() and text.isdigit() and 0 < len(text) < 6 and int(text) > 0):
        raise InvalidInput(
            Problem(
                code="embed-size",
                field=name,
                value=text[:40],
                says=f"“{text[:40]}” is no number of pixels for {name}.",
                remedy="Give a whole number such as 480, or leave it out.",
            )
        )
    return int(text)


def _no_format(asked: str) -> dict:
    problem = Problem(
        code="embed-format",
        field="format",
        value=asked[:40],
        says=f"This registry answers oEmbed as JSON or XML, not as “{asked[:40]}”.",
        remedy="Ask with format=json or format=xml, or leave the format out.",
    )
    return {"heading": "That format is not served", "problems": [problem], "status": 501}
