"""The tables of the open data, field by field: names, types, units, meanings. Pure; the rows are made in rows.py.

Types are those of the Table Schema specification (Frictionless Data): string, number, integer, boolean, date,
datetime; "object" and "array" are JSON in one cell.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Field:
    """unit: as in the International System or the trade; empty where a value has none."""

    name: str
    type: str
    says: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """key: the fields that together are unique. other_licence: of rows whose facts came under another licence."""

    name: str
    says: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    other_licence: bool = False

    @property
    def field_names(self) -> list[str]:
        return [field.name for field in self.fields]


def _text(name: str, says: str) -> Field:
    return Field(name, "string", says)


def _number(name: str, says: str, unit: str = "") -> Field:
    return Field(name, "number", says, unit)


def _count(name: str, says: str) -> Field:
    return Field(name, "integer", says)


_GLASS = (
    _text("teleconverter", "slug of the teleconverter behind the lens; empty without"),
    _text("adapter", "slug of an adapter with glass between lens and body; empty without"),
)
_PATH = (_text("lens", "slug of the lens"), *_GLASS)
_STATUS = _text("status", "“listed”, or “proposed” until a moderator has looked it over")
_LENS_FIELDS = (
    _text("slug", "permanent address of the lens"),
    _text("maker", "name of the maker"),
    _text("name", "name without the maker"),
    _text("optical_revision", "which optical design, where one name had several"),
    _text("mounts", "slugs of the mounts it is made for, parted by spaces"),
    _number("focal_min_mm", "shortest focal length as engraved", "mm"),
    _number("focal_max_mm", "longest focal length as engraved; equal for a prime", "mm"),
    _number("widest_f", "widest f-number as marked, at the short end"),
    _number("widest_f_tele", "widest f-number as marked, at the long end"),
    _number("narrowest_f", "narrowest f-number as marked; empty where nobody stated it"),
    _text("projection", "rectilinear, fisheye or circular-fisheye"),
    _number("filter_thread_mm", "diameter of the front filter thread; empty without or unknown", "mm"),
    _text("filter_seat", "where a filter can sit"),
    _number("image_circle_mm", "diameter of the image circle", "mm"),
    _number("mass_g", "mass", "g"),
    _number("length_mm", "length", "mm"),
    _count("year", "first year of sale"),
    _STATUS,
)
_BODY_FIELDS = (
    _text("slug", "permanent address of the body"),
    _text("maker", "name of the maker"),
    _text("name", "name without the maker"),
    _text("mount", "slug of its lens mount"),
    _number("sensor_width_mm", "width of the sensor", "mm"),
    _number("sensor_height_mm", "height of the sensor", "mm"),
    _number("megapixels", "pixels", "10⁶"),
    _STATUS,
)
_PROVENANCE = (
    _text("licence", "licence of the row’s facts"),
    _text("source", "where its facts are from"),
)

LENSES = Table("lenses", "Lenses of the catalogue.", _LENS_FIELDS, ("slug",))
BODIES = Table("bodies", "Camera bodies of the catalogue.", _BODY_FIELDS, ("slug",))
LENSES_ELSEWHERE = Table(
    "lenses_other_licence",
    "Lenses whose facts came from a data set under another licence, which holds for these rows.",
    (*_LENS_FIELDS, *_PROVENANCE),
    ("slug",),
    other_licence=True,
)
BODIES_ELSEWHERE = Table(
    "bodies_other_licence",
    "Bodies whose facts came from a data set under another licence, which holds for these rows.",
    (*_BODY_FIELDS, *_PROVENANCE),
    ("slug",),
    other_licence=True,
)
MOUNTS = Table(
    "mounts",
    "Lens mounts.",
    (
        _text("slug", "permanent address"),
        _text("name", "name"),
        _number("flange_distance_mm", "from the mount’s flange to the sensor", "mm"),
    ),
    ("slug",),
)
FILTERS = Table(
    "filters",
    "Filter models.",
    (
        _text("slug", "permanent address"),
        _text("maker", "name of the maker"),
        _text("name", "name without the maker"),
        _text("passes", "long-pass, band-pass or dual-band"),
        _number("cut_on_nm", "wavelength of half its peak transmittance on the short side", "nm"),
        _number("cut_off_nm", "the same on the long side; empty for a long-pass", "nm"),
        _STATUS,
    ),
    ("slug",),
)
TELECONVERTERS = Table(
    "teleconverters",
    "Teleconverters.",
    (
        _text("slug", "permanent address"),
        _text("maker", "name of the maker"),
        _text("name", "name without the maker"),
        _number("magnification", "factor on the focal length"),
        _STATUS,
    ),
    ("slug",),
)
ADAPTERS = Table(
    "adapters",
    "Adapters between mounts.",
    (
        _text("slug", "permanent address"),
        _text("maker", "name of the maker"),
        _text("name", "name without the maker"),
        _text("lens_mount", "slug of the lens’s mount"),
        _text("body_mount", "slug of the body’s mount"),
        Field("has_glass", "boolean", "whether there is glass in it"),
        _number("magnification", "factor on the focal length"),
        _STATUS,
    ),
    ("slug",),
)
FACT_SOURCES = Table(
    "fact_sources",
    "Where single facts about gear are from; a fact may have several.",
    (
        _text("gear_kind", "lens, body, filter, teleconverter or adapter"),
        _text("gear", "slug of the piece of gear"),
        _text("fact", "name of the fact"),
        _text("value", "value as the source states it"),
        _text("source", "the source"),
        _text("licence", "its licence, where it has one of its own"),
        Field("added_at", "datetime", "when it was noted"),
    ),
    (),
)
REPORTS = Table(
    "reports",
    "Reports that count, and those set aside, with the reason. Withdrawn ones leave their address only.",
    (
        _text("id", "permanent address of the report"),
        _text("state", "submitted, set-aside or withdrawn"),
        _text("state_reason", "why it was set aside"),
        _text("basis", "measured from frames, graded by eye, or relayed from a published source"),
        *_PATH,
        _text(
            "tester", "key of the independent voice: an account’s public id, or the person or source cited"
        ),
        _text("copy", "key of the physical example of the lens"),
        _text("source", "key of the publication that a relay passes on"),
        _number("cut_on_nm", "effective cut-on of conversion and filter", "nm"),
        _text("light_group", "where there is no single cut-on: full-spectrum, band-pass or dual-band"),
        _text("filter", "slug of the filter"),
        _text("filter_position", "front, rear, clip-in or sensor"),
        _text("body", "slug of the body"),
        _text("accessories", "other things in the light path, in the contributor’s words"),
        _text("target", "what was photographed, in the contributor’s words"),
        _text("light", "the light, in the contributor’s words"),
        _text("notes", "the contributor’s notes"),
        Field("shot_on", "date", "day of the test"),
        _text("licence", "licence of the record"),
        _text("citation_url", "address of the publication that a relay passes on"),
        _text("citation_title", "its title"),
        _text("citation_author", "its author"),
        Field("citation_date", "date", "its day"),
        _text("citation_archive_url", "an archived copy of it"),
        _count("revision", "which revision of the report this is"),
        Field("submitted_at", "datetime", "when it was first submitted"),
    ),
    ("id",),
)
EVIDENCE = Table(
    "evidence",
    "What standings are computed from: one row per focal length of a report, and one per claim.",
    (
        _text("entry", "key of the row: report@focal length, or report#number of the claim"),
        _text("report", "id of the report"),
        *_PATH,
        _text("tester", "key of the independent voice"),
        _text("copy", "key of the physical example of the lens; one example is one voice"),
        _text("source", "key of the publication; one source is one voice"),
        _number("cut_on_nm", "effective cut-on", "nm"),
        _text("cut_on_group", "where there is no single cut-on"),
        _number("focal_mm", "focal length through all glass", "mm"),
        _text("filter_position", "front, rear, clip-in or sensor"),
        _text("body", "slug of the body"),
        _text("method", "measured, visual or claim"),
        _text("claim_says", "what a claim says"),
        _number("claim_f_number", "the f-number that a claim speaks of, as marked"),
    ),
    ("entry",),
)
READINGS = Table(
    "readings",
    "One row per frame or graded stop of a report that counts.",
    (
        _text("entry", "key of the evidence row it belongs to"),
        _text("report", "id of the report"),
        _number("focal_length_mm", "focal length", "mm"),
        _number("f_number", "f-number as marked"),
        _number("av", "exact aperture value, 2·log2 of the f-number"),
        _number("excess_ev", "measured hotspot excess at the patch’s centre", "EV"),
        _number("excess_se", "its standard error", "EV"),
        _count("grade", "eye grade 0 (none) to 4 (dominating)"),
        _number("radius", "radius of the patch at half its peak", "half-diagonals of the frame"),
        _number("tint_rg", "log2 of red over green in the patch against around it", "EV"),
        _number("tint_bg", "log2 of blue over green in the patch against around it", "EV"),
        _text("method_version", "version of the measurement"),
    ),
    (),
)
FINDINGS = Table(
    "findings",
    "Other infrared traits seen by reports that count.",
    (
        _text("report", "id of the report"),
        _text("lens", "slug of the lens"),
        _text("kind", "corner softness, focus shift, flare or cast"),
        _count("grade", "0 (none) to 4 (dominating)"),
        _text("note", "the contributor’s note"),
    ),
    ("report", "kind"),
)
IMAGES = Table(
    "images",
    "Pictures behind the readings: listed, not included. They are under CC BY 4.0.",
    (
        _text("id", "permanent address of the picture"),
        _text("report", "id of the report"),
        _text("purpose", "target, control or proof"),
        _number("f_number", "f-number as marked"),
        _number("focal_length_mm", "focal length", "mm"),
        _count("width", "pixels across"),
        _count("height", "pixels down"),
        _text("sha256", "SHA-256 of the file as it was sent"),
        _text("licence", "licence of the picture"),
    ),
    ("id",),
)
LIGHT_PATHS = Table(
    "light_paths",
    "The optics that evidence was weighed with: a lens, and what stands behind it.",
    (
        *_PATH,
        _number("widest", "widest f-number as marked, at the short end"),
        _number("narrowest", "narrowest f-number as marked, or the usual one where unknown"),
        _number("focal_min", "shortest focal length through all glass", "mm"),
        _number("focal_max", "longest focal length through all glass", "mm"),
        _number("widest_tele", "widest f-number as marked, at the long end"),
    ),
    ("lens", "teleconverter", "adapter"),
)
_CELL = (
    *_PATH,
    _text("cut_on_group", "cut-on band"),
    _text("focal_zone", "half-octave of focal lengths, in mm"),
)
_CELL_KEY = ("lens", "teleconverter", "adapter", "cut_on_group", "focal_zone")
STANDINGS = Table(
    "standings",
    "What the registry says of each lens, by cut-on band and focal zone.",
    (
        *_CELL,
        _text("verdict", "code of the verdict"),
        _number("f_number", "the stop that it states"),
        _text("words", "the verdict in words"),
        _number("clean_to_av", "Av up to which it says clean"),
        Field("leads", "boolean", "whether the lens’s sentence at this cut-on is about this zone"),
        _text("sentence", "that sentence, on the row that leads"),
        _text("confidence", "firm, fair or tentative"),
        _count("n_reports", "reports it rests on"),
        _count("n_independent", "independent voices among them"),
        Field(
            "limit", "object", "clean limit in Av: low, median, high of the 90 % interval, and whether open"
        ),
        Field("causes", "array", "what may separate the reports, with probabilities"),
        Field("suspects", "array", "reports that the rest makes improbable"),
        Field("agreement", "object", "descriptive statistics beside the model"),
        Field("detail", "object", "spread between testers and other details"),
        _number("expected_information", "expected drop in entropy by one more report", "bit"),
        _text("method_version", "version of the method"),
        _count("priors", "number of the edition of the priors, in priors.json"),
    ),
    _CELL_KEY,
)
STOPS = Table(
    "standing_stops",
    "The chance of a clean frame at each full stop of each standing.",
    (
        *_CELL,
        _number("f_number", "f-number as marked"),
        Field("tested", "boolean", "whether anyone tested it"),
        Field(
            "on_ladder",
            "boolean",
            "whether it is a step of the ladder, or a stop between two that somebody tested",
        ),
        _number("p_clean", "chance that a frame is clean"),
        _number("low", "lower end of its 90 % interval"),
        _number("high", "upper end of its 90 % interval"),
    ),
    (*_CELL_KEY, "f_number"),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        LENSES, LENSES_ELSEWHERE, BODIES, BODIES_ELSEWHERE, MOUNTS, FILTERS, TELECONVERTERS, ADAPTERS, FACT_SOURCES,
        REPORTS, EVIDENCE, READINGS, FINDINGS, IMAGES, LIGHT_PATHS, STANDINGS, STOPS,
    )
}  # fmt: skip
