"""The rows of each table of the open data, read a chunk at a time: however much there is, little is held at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from django.db.models import Q, QuerySet

from registry.gear.models import (
    Adapter,
    Body,
    FactSource,
    Filter,
    GearItem,
    Lens,
    Mount,
    Teleconverter,
)
from registry.publishing.tables import TABLES, Table
from registry.reports.models import Finding, ImageState, Reading, Report, ReportState, SampleImage
from registry.standings.models import Standing
from registry.standings.queries.batches import evidence_of_all, lens_batches
from registry.standings.queries.evidence import Keys, counting_without_readings, keys_by_report
from registry.standings.rules import LightPath

Row = dict[str, Any]
CHUNK = 2_000
# Facts under these licences, or whose source states none, are the registry's own to give: CC0.
OWN_LICENCES = ("", "CC0", "CC0-1.0", "CC0 1.0")
JUDGED = (ImageState.MEASURED, ImageState.UNCERTAIN, ImageState.REJECTED, ImageState.KEPT)


def rows_of(table: Table) -> Iterator[Row]:
    """Every row of a table, values by the names of its fields, in an order that depends on the data alone."""
    return _MAKERS_OF_ROWS[table.name]()


def _lenses(elsewhere: bool = False) -> Iterator[Row]:
    lenses = Lens.objects.select_related("maker").prefetch_related("mounts")
    for lens, provenance in _by_licence(lenses, "lens", elsewhere):
        names = [field.name for field in TABLES["lenses"].fields if field.name not in ("maker", "mounts")]
        row = {name: getattr(lens, name) for name in names} | {"maker": lens.maker.name}
        yield row | {"mounts": " ".join(sorted(mount.slug for mount in lens.mounts.all()))} | provenance


def _bodies(elsewhere: bool = False) -> Iterator[Row]:
    for body, provenance in _by_licence(Body.objects.select_related("maker", "mount"), "body", elsewhere):
        names = ("slug", "name", "sensor_width_mm", "sensor_height_mm", "megapixels", "status")
        row = {name: getattr(body, name) for name in names} | {"maker": body.maker.name}
        yield row | {"mount": body.mount.slug if body.mount else ""} | provenance


def _by_licence(items: QuerySet, kind: str, elsewhere: bool) -> Iterator[tuple[GearItem, Row]]:
    """Gear whose facts are the registry's own, or the rest of it with licence and sources."""
    sources: dict[str, list[tuple[str, str]]] = {}
    foreign = FactSource.objects.filter(gear_kind=kind).exclude(licence__in=OWN_LICENCES)
    for slug, licence, source in foreign.values_list("gear_slug", "licence", "source").distinct():
        sources.setdefault(slug, []).append((licence, source))
    for item in items.order_by("slug").iterator(CHUNK):
        theirs = sorted(sources.get(item.slug, ()))
        if bool(theirs) == elsewhere:
            licences = dict.fromkeys(licence for licence, _ in theirs)
            told = dict.fromkeys(source for _, source in theirs)
            yield item, {"licence": "; ".join(licences), "source": "; ".join(told)} if elsewhere else {}


def _plain(model, **paths: str) -> Callable[[], Iterator[Row]]:
    """Rows that are a model's own fields; paths: field of the table → path on the model, where they differ."""

    def rows() -> Iterator[Row]:
        table = TABLES[
            {Mount: "mounts", Filter: "filters", Teleconverter: "teleconverters"}.get(model, "adapters")
        ]
        taken = {name: paths.get(name, name) for name in table.field_names}
        for values in model.objects.order_by("slug").values(*taken.values()).iterator(CHUNK):
            yield {name: values[path] for name, path in taken.items()}

    return rows


def _fact_sources() -> Iterator[Row]:
    names = ("gear_kind", "fact", "value", "source", "licence", "added_at")
    for values in FactSource.objects.order_by("pk").values("gear_slug", *names).iterator(CHUNK):
        yield {name: values[name] for name in names} | {"gear": values["gear_slug"]}


def _path_fields(path: LightPath) -> Row:
    teleconverter, adapter = path.glass
    return {"lens": path.lens.slug, "teleconverter": teleconverter, "adapter": adapter}


def _light_paths() -> Iterator[Row]:
    for path, entries in evidence_of_all():
        optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
        yield _path_fields(path) | {
            name: getattr(optics, name)
            for name in ("widest", "narrowest", "focal_min", "focal_max", "widest_tele")
        }


def _evidence() -> Iterator[Row]:
    shared = (
        "tester",
        "copy",
        "source",
        "cut_on_nm",
        "cut_on_group",
        "focal_mm",
        "filter_position",
        "body",
        "method",
    )
    for path, entries in evidence_of_all():
        for entry in entries:
            claim = {"claim_says": "", "claim_f_number": None}
            if entry.claim is not None:
                claim = {"claim_says": entry.claim.says, "claim_f_number": entry.claim.f_number}
            row = {name: getattr(entry, name) for name in shared} | claim | _path_fields(path)
            yield row | {"entry": entry.id, "report": _report_of(entry.id)}


def _readings() -> Iterator[Row]:
    own = (
        "f_number",
        "av",
        "excess_ev",
        "excess_se",
        "grade",
        "radius",
        "tint_rg",
        "tint_bg",
        "method_version",
    )
    report, focal = "sweep__report__public_id", "sweep__focal_length_mm"
    readings = Reading.objects.filter(sweep__report__state=ReportState.SUBMITTED)
    # In the order in which evidence holds them: sums of floats depend on it in their last digit.
    ordered = readings.order_by("sweep__report_id", focal, "sweep_id", "av", "pk")
    for values in ordered.values(report, focal, *own).iterator(CHUNK):
        yield {name: values[name] for name in own} | {
            "entry": f"{values[report]}@{values[focal]:g}",
            "report": values[report],
            "focal_length_mm": values[focal],
        }


def _reports() -> Iterator[Row]:
    """Those that count, with the keys that their evidence has; then those that don't, with none but their own."""
    for batch in lens_batches():
        reports = counting_without_readings(*batch)
        keys = keys_by_report(reports)
        for report in sorted(reports, key=lambda report: (report.lens.slug, report.pk)):
            yield _report_row(report, keys[report.pk])
    others = Report.objects.filter(state__in=(ReportState.SET_ASIDE, ReportState.WITHDRAWN)).order_by("pk")
    related = ("author", "lens", "teleconverter", "adapter", "filter", "body")
    for report in others.select_related(*related).iterator(CHUNK):
        yield _report_row(report, None)


def _report_of(entry: str) -> str:
    return entry.partition("@")[0].partition("#")[0]


def _report_row(report: Report, keys: Keys | None) -> Row:
    row = dict.fromkeys(TABLES["reports"].field_names)
    row |= {"id": report.public_id, "state": report.state, "lens": report.lens.slug}
    if report.state == ReportState.WITHDRAWN:
        return row
    names = (
        *("state_reason", "basis", "cut_on_nm", "light_group", "accessories", "target", "light", "notes"),
        *(
            "shot_on",
            "licence",
            "citation_url",
            "citation_title",
            "citation_author",
            "citation_date",
            "citation_archive_url",
        ),
        *("revision", "submitted_at"),
    )
    return (
        row
        | {name: getattr(report, name) for name in names}
        | {
            "teleconverter": report.teleconverter.slug if report.teleconverter else "",
            "adapter": report.adapter.slug if report.adapter and report.adapter.has_glass else "",
            "filter": report.filter.slug if report.filter else "",
            "tester": keys.tester if keys else f"account:{report.author.public_id}",
            "copy": keys and keys.copy,
            "source": keys and keys.source,
            "filter_position": (keys and keys.filter_position) or report.filter_position,
            "body": (keys and keys.body) or (report.body.slug if report.body else ""),
        }
    )


def _findings() -> Iterator[Row]:
    findings = Finding.objects.filter(report__state=ReportState.SUBMITTED).order_by("report_id", "kind")
    paths = {"report": "report__public_id", "lens": "report__lens__slug", "kind": "kind", "grade": "grade"}
    for values in findings.values(*paths.values(), "note").iterator(CHUNK):
        yield {name: values[path] for name, path in paths.items()} | {"note": values["note"]}


def _images() -> Iterator[Row]:
    shown = Q(report__state=ReportState.SUBMITTED, state__in=JUDGED) & ~Q(picture="")
    paths = {
        "id": "public_id",
        "report": "report__public_id",
        "purpose": "purpose",
        "f_number": "f_number",
        "focal_length_mm": "focal_length_mm",
        "width": "width",
        "height": "height",
        "sha256": "content_hash",
    }
    for values in SampleImage.objects.filter(shown).order_by("pk").values(*paths.values()).iterator(CHUNK):
        yield {name: values[path] for name, path in paths.items()} | {"licence": "CC-BY-4.0"}


def standings_resting_on_reports() -> QuerySet[Standing]:
    """In the order in which the tables list them."""
    return (
        Standing.objects.filter(n_reports__gt=0)
        .select_related("lens", "teleconverter", "adapter", "priors")
        .order_by("lens__slug", "teleconverter__slug", "adapter__slug", "cut_on_group", "focal_zone")
    )


def _standings() -> Iterator[Row]:
    own = set(TABLES["standings"].field_names) - {"lens", "teleconverter", "adapter", "priors"}
    for standing in standings_resting_on_reports().iterator(CHUNK):
        path = LightPath(standing.lens, standing.teleconverter, standing.adapter)
        row = {name: getattr(standing, name) for name in own}
        yield row | _path_fields(path) | {"priors": standing.priors.number}


def _stops() -> Iterator[Row]:
    own = ("f_number", "tested", "on_ladder", "p_clean", "low", "high")
    for standing in standings_resting_on_reports().iterator(CHUNK):
        path = LightPath(standing.lens, standing.teleconverter, standing.adapter)
        cell = {"cut_on_group": standing.cut_on_group, "focal_zone": standing.focal_zone} | _path_fields(path)
        for stop in standing.stops:
            yield cell | {name: stop[name] for name in own}


_MAKERS_OF_ROWS: dict[str, Callable[[], Iterator[Row]]] = {
    "lenses": _lenses,
    "lenses_other_licence": lambda: _lenses(elsewhere=True),
    "bodies": _bodies,
    "bodies_other_licence": lambda: _bodies(elsewhere=True),
    "mounts": _plain(Mount),
    "filters": _plain(Filter, maker="maker__name"),
    "teleconverters": _plain(Teleconverter, maker="maker__name"),
    "adapters": _plain(
        Adapter, maker="maker__name", lens_mount="lens_mount__slug", body_mount="body_mount__slug"
    ),
    "fact_sources": _fact_sources,
    "reports": _reports,
    "evidence": _evidence,
    "readings": _readings,
    "findings": _findings,
    "images": _images,
    "light_paths": _light_paths,
    "standings": _standings,
    "standing_stops": _stops,
}
