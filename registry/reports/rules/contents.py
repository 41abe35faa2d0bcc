"""What a report says: readings, claims, findings, and what is said about its pictures. Read and checked."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from registry.accounts.models import Account
from registry.errors import CleanstopError
from registry.gear.models import Lens, Teleconverter
from registry.optics import stops
from registry.reports.models import ClaimSays, FindingKind, ImagePurpose, SampleImage
from registry.reports.rules.inputs import Input
from registry.reports.rules.stops import (
    StopsOfLens,
    check_focal_length,
    sweep_focal_length,
)

EXCESS_EV = (-2.0, 8.0)  # more than eight stops over its surroundings is a lamp, not a hotspot
STANDARD_ERROR_EV = (0.001, 4.0)
FOCAL_LENGTHS_MM = (1.0, 3000.0)
GRADES = (0, 4)
READING_FIELDS = ("f_number", "excess_ev", "excess_se", "grade", "from_exif")
EMPTY = (None, "")


@dataclass(frozen=True)
class SweepContent:
    """Readings sent by hand at one focal length: each a dict of Reading's own field values."""

    focal_length_mm: float
    focus_distance_m: float | None
    readings: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class ImageContent:
    """A picture that belongs to the report, and what its contributor says about it."""

    image: SampleImage
    changes: dict[str, Any]


@dataclass(frozen=True)
class Tested:
    """The lens a content is about, with what stands between it and the body."""

    lens: Lens
    teleconverter: Teleconverter | None = None
    _stops: dict[float | None, StopsOfLens] = field(default_factory=dict, repr=False, compare=False)

    def stops_at(self, focal_length_mm: float | None) -> StopsOfLens:
        if focal_length_mm not in self._stops:
            self._stops[focal_length_mm] = StopsOfLens(self.lens, focal_length_mm, self.teleconverter)
        return self._stops[focal_length_mm]


def read_f_number(
    source: Input, tested: Tested, focal_length_mm: float | None, name: str = "f_number"
) -> float | None:
    """An f-number as typed, or as EXIF gave it when the input says `from_exif`."""
    value, of_lens = source.content.get(name), tested.stops_at(focal_length_mm)
    try:
        if source.content.get("from_exif") is True:
            number = stops.check_f_number(value, name)
            of_lens.check_not_wider(number, name)
            return number
        return of_lens.typed(value, name)
    except CleanstopError as error:
        source.absorb(error, name)
        return None


def read_focal_length(source: Input, tested: Tested, name: str = "focal_length_mm") -> float | None:
    """A focal length the lens has; a prime's own when nothing is sent."""
    low, high = FOCAL_LENGTHS_MM
    stated = source.number(name, low=low, high=high, what="Focal length", unit="mm")
    if stated is None:
        return None if source.content.get(name) not in (None, "") else sweep_focal_length(tested.lens, None)
    try:
        return check_focal_length(tested.lens, stated, name, tested.teleconverter)
    except CleanstopError as error:
        source.absorb(error, name)
        return None


def read_reading(source: Input, tested: Tested, focal_length_mm: float | None) -> dict[str, Any]:
    """One reading sent by hand: an excess with its standard error, or an eye grade, or both."""
    source.known(READING_FIELDS)
    f_number = None
    if source.content.get("f_number") in EMPTY:
        source.missing("f_number", "The reading's f-number", "Give it as marked on the lens, such as 5.6.")
    else:
        f_number = read_f_number(source, tested, focal_length_mm)
    excess = source.number("excess_ev", low=EXCESS_EV[0], high=EXCESS_EV[1], what="Excess", unit="EV")
    low, high = STANDARD_ERROR_EV
    error = source.number("excess_se", low=low, high=high, what="Standard error", unit="EV")
    grade = source.whole("grade", low=GRADES[0], high=GRADES[1], what="Grade")
    _check_judged(source)
    return {"f_number": f_number, "excess_ev": excess, "excess_se": error, "grade": grade}


def _check_judged(source: Input) -> None:
    sent = source.content.get
    has_excess, has_error = sent("excess_ev") not in EMPTY, sent("excess_se") not in EMPTY
    has_grade = sent("grade") not in EMPTY
    if not has_excess and not has_grade:
        source.missing(
            "grade",
            "What was seen at this stop",
            "Give a grade from 0 to 4, or the excess in EV with its standard error.",
        )
    elif has_excess and not has_error:
        source.missing(
            "excess_se", "The excess's standard error", "Give it in EV, or give a grade by eye instead."
        )
    elif has_error and not has_excess:
        source.missing("excess_ev", "The excess that the standard error belongs to", "Give it in EV.")


def read_sweeps(source: Input, tested: Tested, name: str = "sweeps") -> list[SweepContent]:
    """Sweeps sent by hand. One stop twice in a sweep (f/3.5 and f/3.6 are one) is a problem."""
    sweeps, seen = [], {}
    for entry in source.each(name, most=100):
        entry.known(("focal_length_mm", "focus_distance_m", "readings"))
        before = len(entry.problems)
        focal = read_focal_length(entry, tested)
        if focal is None and len(entry.problems) == before:
            entry.refuse(
                "focal-length-missing",
                "focal_length_mm",
                None,
                "The zoom's focal length is missing.",
                "Give it in mm as read off the lens.",
            )
        distance = entry.number("focus_distance_m", low=0.01, high=1e6, what="Focus distance", unit="m")
        readings = _readings(entry, tested, focal)
        if focal is not None and focal in seen:
            entry.refuse(
                "sweep-twice",
                "focal_length_mm",
                focal,
                f"{focal:g} mm was sent already, in {seen[focal]}.",
                "Put all readings of one focal length into one sweep.",
            )
        elif focal is not None:
            seen[focal] = entry.path
            sweeps.append(SweepContent(focal, distance, readings))
    return sweeps


def _readings(sweep: Input, tested: Tested, focal_length_mm: float | None) -> list[dict[str, Any]]:
    readings, seen = [], {}
    entries = sweep.each("readings", most=200)
    if not entries and not sweep.problems:
        sweep.missing("readings", "The sweep's list of readings", "Send at least one reading.")
    for entry in entries:
        reading = read_reading(entry, tested, focal_length_mm)
        readings.append(reading)
        if reading["f_number"] is None:
            continue
        av = round(stops.exact_av(reading["f_number"]), 6)
        if av in seen:
            mark, other = stops.mark_of(reading["f_number"]), stops.mark_of(seen[av])
            entry.refuse(
                "stop-twice",
                "f_number",
                reading["f_number"],
                f"{mark} marks the same stop as {other}, which is here already.",
                "Keep one reading for each stop.",
            )
        seen.setdefault(av, reading["f_number"])
    return readings


def read_claim(source: Input, tested: Tested) -> dict[str, Any]:
    """One coarse statement: Claim's own field values."""
    source.known(("says", "f_number", "focal_length_mm", "from_exif"))
    says = source.choice("says", ClaimSays.values, what="Claim")
    if source.content.get("says") in (None, ""):
        source.missing("says", "What the claim says", f"Use one of: {', '.join(ClaimSays.values)}.")
    low, high = FOCAL_LENGTHS_MM
    focal = None
    if source.number("focal_length_mm", low=low, high=high, what="Focal length", unit="mm") is not None:
        focal = read_focal_length(source, tested)
    about_a_stop = says in (ClaimSays.CLEAN_TO, ClaimSays.HOT_FROM)
    f_number = None
    if source.content.get("f_number") not in (None, ""):
        if says and not about_a_stop:
            source.refuse(
                "claim-needs-no-stop",
                "f_number",
                source.content["f_number"],
                f"“{says}” speaks of every stop.",
                "Leave the f-number out, or use clean_to or hot_from.",
            )
        else:
            f_number = read_f_number(source, tested, focal)
    elif about_a_stop:
        source.missing("f_number", f"The stop of “{says}”", "Give the f-number it speaks of, such as 8.")
    return {"says": says, "f_number": f_number, "focal_length_mm": focal}


def read_finding(source: Input) -> dict[str, Any]:
    """Another infrared trait: Finding's own field values."""
    source.known(("kind", "grade", "note"))
    kind = source.choice("kind", FindingKind.values, what="Finding")
    if source.content.get("kind") in (None, ""):
        source.missing("kind", "The kind of finding", f"Use one of: {', '.join(FindingKind.values)}.")
    grade = source.whole("grade", low=GRADES[0], high=GRADES[1], what="Grade")
    if source.content.get("grade") in (None, ""):
        source.missing("grade", "The finding's grade", "Give a grade from 0 (none) to 4 (dominating).")
    return {"kind": kind, "grade": grade, "note": source.text("note", longest=300, what="Note")}


def read_claims(source: Input, tested: Tested) -> list[dict[str, Any]]:
    return [read_claim(entry, tested) for entry in source.each("claims", most=100)]


def read_findings(source: Input) -> list[dict[str, Any]]:
    findings, seen = [], set()
    for entry in source.each("findings", most=20):
        finding = read_finding(entry)
        if finding["kind"] and finding["kind"] in seen:
            entry.refuse(
                "finding-twice",
                "kind",
                finding["kind"],
                f"“{finding['kind']}” was sent already.",
                "Send each kind of finding once.",
            )
        seen.add(finding["kind"])
        findings.append(finding)
    return findings


IMAGE_CHANGES = ("f_number", "focal_length_mm", "grade", "purpose", "from_exif")


def read_image_changes(
    source: Input, tested: Tested | None, focal_length_mm: float | None = None
) -> dict[str, Any]:
    """What a contributor says about a picture: only the fields that were sent, empty ones as None.

    focal_length_mm: what the picture says so far, at which a new f-number is checked.
    """
    changes: dict[str, Any] = {}
    focal = focal_length_mm
    if "focal_length_mm" in source:
        low, high = FOCAL_LENGTHS_MM
        stated = source.number("focal_length_mm", low=low, high=high, what="Focal length", unit="mm")
        focal = read_focal_length(source, tested) if tested and stated is not None else stated
        changes["focal_length_mm"] = focal
    if "f_number" in source:
        sent = source.content["f_number"]
        if sent in (None, ""):
            changes["f_number"] = None
        elif tested:
            changes["f_number"] = read_f_number(source, tested, focal)
        else:
            changes["f_number"] = _bare_f_number(source)
    if "grade" in source:
        changes["grade"] = source.whole("grade", low=GRADES[0], high=GRADES[1], what="Grade")
    if source.content.get("purpose") not in (None, ""):
        changes["purpose"] = source.choice("purpose", ImagePurpose.values, what="Purpose")
    return changes


def read_images(source: Input, tested: Tested, owner: Account) -> list[ImageContent]:
    """Pictures by public id (uploaded before), each alone or as an object with `image` and what is said of it."""
    contents, seen = [], set()
    sent = source.content.get("images")
    shaped = (
        [{"image": one} if isinstance(one, str) else one for one in sent]
        if isinstance(sent, list | tuple)
        else sent
    )
    for entry in Input({"images": shaped}, source.path, source.problems).each("images", most=1000):
        entry.known(("image", *IMAGE_CHANGES))
        name = str(entry.content.get("image") or "")
        image = SampleImage.objects.filter(public_id=name, owner=owner).first()
        if image is None:
            entry.refuse(
                "unknown-image",
                "image",
                name or None,
                f"You have uploaded no picture “{name}”.",
                "Upload it first, then name it by the id that the upload returned.",
            )
        elif name in seen:
            entry.refuse(
                "image-twice", "image", name, f"Picture “{name}” is in the list twice.", "Name it once."
            )
        changes = read_image_changes(entry, tested)
        seen.add(name)
        if image is not None:
            contents.append(ImageContent(image, changes))
    return contents


def _bare_f_number(source: Input) -> float | None:
    try:
        return stops.check_f_number(source.content["f_number"], "f_number")
    except CleanstopError as error:
        source.absorb(error, "f_number")
        return None
