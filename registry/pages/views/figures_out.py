"""Pictures and tables to publish: a lens's ladder and measured excess, a mount's whole table."""

from __future__ import annotations

import csv
from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.errors import NotFound, Problem
from registry.gear import queries as gear
from registry.gear.models import GearKind
from registry.pages.drawing_limit import SVG_COSTS, WINDOW_SECONDS, may_draw
from registry.pages.editions import edition_of, live_edition
from registry.pages.excess_plot import excess_picture
from registry.pages.forms.pictures import PictureForm
from registry.pages.kept import kept, name_of, unchanged
from registry.pages.sheets import LadderShown, TableGroup, ladder_sheet, png_of, table_sheet
from registry.pages.themes import theme
from registry.pages.views.lens import glass_asked_for
from registry.pages.views.lens_parts import reports_through
from registry.pages.views.mounts import heading_of
from registry.publishing.measured import released_excess
from registry.publishing.queries import release_by_version, released_answer, released_leads
from registry.standings import queries as standings

TYPES = {"svg": "image/svg+xml", "png": "image/png"}
# An SVG opened by itself may style itself and do nothing else.
ONLY_A_PICTURE = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


@require_safe
def lens_picture(request: HttpRequest, slug: str, name: str, kind: str) -> HttpResponse:
    """A lens's aperture ladder or measured excess at the cut-on that the address names."""
    draw = {"ladder": _ladder, "excess": _excess}.get(name)
    stamp = standings.lens_stamp(slug)
    if draw is None or kind not in TYPES:
        raise Http404(f"There is no picture “{name}.{kind}”.")
    form = PictureForm(request.GET)
    options = form.options()

    def drawn() -> bytes:
        return draw(_answer(request, slug, form, options), options, kind)

    return _picture(request, ("lens", slug, name, stamp), options, kind, drawn)


def _answer(request: HttpRequest, slug: str, form: PictureForm, options: dict) -> standings.LensAnswer:
    """What is known today, or what the release that the address names froze."""
    lens, seen, glass = gear.gear_by_slug(GearKind.LENS, slug), form.camera(), glass_asked_for(request)
    if options["release"]:
        release = release_by_version(options["release"])
        return released_answer(release, lens, cut_on_nm=seen.cut_on_nm, **glass)
    return standings.lens_answer(lens, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev, **glass)


def _edition(answer: standings.LensAnswer, options: dict) -> str:
    if options["release"]:
        return _released(options["release"], answer.method_version)
    return edition_of(answer)


def _released(version: str, method_version: str) -> str:
    return f"release {version}, method {method_version}"


@require_safe
def mount_picture(request: HttpRequest, slug: str, kind: str) -> HttpResponse:
    """Every lens that a mount takes, with its ladder: as known today, or as a release froze it."""
    if kind not in TYPES:
        raise Http404(f"There is no picture “table.{kind}”.")
    form = PictureForm(request.GET)
    options, seen = form.options(), form.camera()
    mount = gear.mount_by_slug(slug)

    def drawn() -> bytes:
        edition, leads = live_edition(None), None
        if options["release"]:
            release = release_by_version(options["release"])
            edition = _released(release.version, release.method_version)
            leads = released_leads(release, cut_on_nm=seen.cut_on_nm)
        svg = table_sheet(
            title=f"{mount} mount at {seen.cut_on_nm:g} nm",
            words="Chance of a frame without an infrared hotspot, a step per full stop; dotted steps nobody tested.",
            groups=[
                TableGroup(heading_of(group), [_row_shown(row) for row in group.rows])
                for group in standings.mount_table(mount, cut_on_nm=seen.cut_on_nm, leads=leads)
            ],
            edition=edition,
            theme=theme(options["theme"]),
        )
        return _as_kind(svg, kind, options["width"])

    return _picture(request, ("mount", slug, standings.catalogue_stamp()), options, kind, drawn)


@require_safe
def ladder_table(request: HttpRequest, slug: str) -> HttpResponse:
    """The ladder's figures as CSV: one line per focal zone and stop."""
    form = PictureForm(request.GET)
    options, seen = form.options(), form.camera()
    answer = _answer(request, slug, form, options)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{slug}-ladder.csv"'
    table = csv.writer(response)
    table.writerow(
        ["lens", "cut_on_nm", "focal_zone_mm", "f_number", "chance_clean", "low_90", "high_90", "verdict",
         "confidence", "independent_reports", "edition"]
    )  # fmt: skip
    for zone in answer.zones:
        for stop in zone.stops:
            table.writerow(
                [slug, f"{seen.cut_on_nm:g}", zone.zone, f"{stop.f_number:g}", _figure(stop.p_clean),
                 _figure(stop.low), _figure(stop.high), zone.words, zone.confidence, zone.n_independent,
                 _edition(answer, options)]
            )  # fmt: skip
    return response


def _figure(share: float | None) -> str:
    return "" if share is None else f"{share:.4f}"


def _picture(
    request: HttpRequest, of: tuple, options: dict, kind: str, drawn: Callable[[], bytes]
) -> HttpResponse:
    """The answer that carries a picture, drawn once for one state of what it shows."""
    state = (*of, request.GET.urlencode(), kind)
    tag = name_of(*state)
    response = unchanged(request, tag)
    if response is None:
        megapixels = SVG_COSTS if kind == "svg" else options["width"] ** 2 / 1e6
        content = kept(state, lambda: drawn() if may_draw(request, megapixels) else None)
        if content is None:
            return _too_often(request)
        response = HttpResponse(content, content_type=TYPES[kind])
    response["ETag"] = f'W/"{tag}"'
    response["Cache-Control"] = "public, max-age=300"
    response["Content-Security-Policy"] = ONLY_A_PICTURE
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _too_often(request: HttpRequest) -> HttpResponse:
    problem = Problem(
        code="drawing-too-often",
        says="So many pictures were drawn for your address in this minute that the next has to wait.",
        remedy="Ask again in a minute; a picture asked for before comes at once.",
    )
    context = {"heading": "That is too much at once", "problems": [problem], "status": 429}
    response = render(request, "pages/error.html", context, status=429)
    response["Retry-After"] = str(WINDOW_SECONDS)
    return response


def _ladder(answer: standings.LensAnswer, options: dict, kind: str) -> bytes:
    svg = ladder_sheet(
        title=f"{answer.path} at {answer.cut_on_nm:g} nm",
        sentence=_sentence(answer),
        ladders=[
            LadderShown(zone.label, zone.words, zone.stops, zone.verdict, zone.f_number)
            for zone in answer.zones
            if options["zone"] in ("", zone.zone)
        ],
        edition=_edition(answer, options),
        theme=theme(options["theme"]),
    )
    return _as_kind(svg, kind, options["width"])


def _sentence(answer: standings.LensAnswer) -> str:
    sure = f" ({answer.worst.confidence}, {answer.worst.n_independent} independent)" if answer.worst else ""
    words = answer.sentence[:1].upper() + answer.sentence[1:]
    return f"{words}{sure}. Each step: the chance of a frame without a hotspot, with its 90 % interval."


def _excess(answer: standings.LensAnswer, options: dict, kind: str) -> bytes:
    release = release_by_version(options["release"]) if options["release"] else None
    zones = (
        released_excess(release, answer)
        if release
        else standings.excess_of(answer, reports_through(answer.path))
    )
    zone = next((one for one in zones if options["zone"] in ("", one.zone)), None)
    if zone is None:
        raise NotFound(
            Problem(
                code="nothing-measured",
                field="zone",
                value=options["zone"],
                says=f"Nobody has measured {answer.lens} there.",
                remedy="Ask for one of: "
                + (", ".join(one.zone for one in zones) or "another lens or cut-on")
                + ".",
            )
        )
    words = {} if options["plain"] else {
        "title": f"{answer.path}, {zone.label}, {answer.here.label}",
        "edition": f"Cleanstop, {_edition(answer, options)}. CC BY 4.0",
    }  # fmt: skip
    width = options["width"] if kind == "png" else None
    return excess_picture(
        zone, visible_ev=answer.visible_ev, theme=theme(options["theme"]), kind=kind, width=width, **words
    )


def _row_shown(row: standings.MountRow) -> LadderShown:
    said = row.row
    sure = f" ({said.confidence}, {said.n_independent} independent)" if said.confidence else ""
    label = f"{said.lens} with {row.glass}" if row.glass else str(said.lens)
    return LadderShown(
        label, said.brief[:1].upper() + said.brief[1:] + sure, said.ladder, said.verdict, said.f_number
    )


def _as_kind(svg: str, kind: str, width: int) -> bytes:
    return svg.encode() if kind == "svg" else png_of(svg, width)
