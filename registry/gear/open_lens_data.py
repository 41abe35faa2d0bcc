"""Reading an open lens-correction data set (XML, format version 1) from where the user has it.

Only names and optics are read: mounts, camera models, lenses. The corrections are none of the registry's business.
The set is CC BY-SA 3.0; every entry keeps the file it came from, so that each stored fact can name both.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import parse

from registry.errors import Problem, Unreadable
from registry.gear.designations import Designation, read_designation

LICENCE = "CC BY-SA 3.0"
LARGEST_FILE_BYTES = 50_000_000
FORMATS_READ = {None, "1"}  # the format's version; a file without one is of the first
FISHEYES = {"fisheye", "equisolid", "stereographic", "orthographic", "thoby"}
FULL_FRAME_MM = (36.0, 24.0)


@dataclass
class CameraEntry:
    maker: str
    name: str
    exif_model: str
    mount: str
    crop_factor: float | None
    file: str


@dataclass
class LensEntry:
    """widest_f and focal lengths are None where neither an element nor the name states them."""

    maker: str
    name: str
    written: set[str]
    mounts: set[str]
    optics: Designation
    is_fisheye: bool
    file: str


@dataclass
class OpenLensData:
    """mounts: names of mounts that lenses are changed on; a fixed lens's "mount" is not among them."""

    mounts: list[str] = field(default_factory=list)
    cameras: list[CameraEntry] = field(default_factory=list)
    lenses: list[LensEntry] = field(default_factory=list)
    files: int = 0


def read_open_lens_data(path: Path | str) -> OpenLensData:
    """Everything that a file, or every .xml file of a folder, tells; entries of one lens are joined.

    Raises Unreadable for a path without such files, XML that is broken or declares entities, another format.
    """
    data = OpenLensData()
    lenses: dict[tuple[str, str], LensEntry] = {}
    for file in _files(Path(path)):
        data.files += 1
        for element in _root(file):
            if element.tag == "mount" and (name := _text(element, "name")):
                data.mounts.append(name)
            elif element.tag == "camera":
                data.cameras += _cameras(element, file.name)
            elif element.tag == "lens":
                for entry in _lenses(element, file.name):
                    _join(lenses, entry)
    data.mounts = sorted(set(data.mounts))
    data.lenses = list(lenses.values())
    return data


def sensor_of(crop_factor: float | None) -> tuple[float, float]:
    """Width and height in mm of a 3:2 sensor with that crop factor; the set states no sensor sizes."""
    if not crop_factor or not math.isfinite(crop_factor) or not 0.1 <= crop_factor <= 30:
        return FULL_FRAME_MM
    return tuple(round(side / crop_factor, 1) for side in FULL_FRAME_MM)


def _files(path: Path) -> list[Path]:
    files = sorted(path.glob("*.xml")) if path.is_dir() else [path] if path.is_file() else []
    if not files:
        raise Unreadable(
            Problem(
                code="no-lens-data-here",
                field="path",
                value=str(path),
                says=f"“{path}” is neither an XML file nor a folder with XML files.",
                remedy="Give the folder in which the open lens-correction data set keeps its .xml files.",
            )
        )
    return files


def _root(file: Path) -> Element:
    try:
        if file.stat().st_size > LARGEST_FILE_BYTES:
            raise _unreadable(file, f"it has more than {LARGEST_FILE_BYTES // 1_000_000} MB")
        root = parse(file, forbid_dtd=False, forbid_entities=True, forbid_external=True).getroot()
    except ParseError as failure:
        raise _unreadable(file, f"it is broken XML: {failure}") from failure
    except DefusedXmlException as failure:
        raise _unreadable(file, "it declares entities, which lens data has no need of") from failure
    except OSError as failure:
        raise _unreadable(file, str(failure.strerror)) from failure
    if root.tag != "lensdatabase":
        raise _unreadable(file, f"its outermost element is <{root.tag}>, not <lensdatabase>")
    if root.get("version") not in FORMATS_READ:
        raise _unreadable(file, f"it is of format version {root.get('version')}; version 1 is read")
    return root


def _unreadable(file: Path, why: str) -> Unreadable:
    return Unreadable(
        Problem(
            code="not-lens-data",
            field="path",
            value=file.name,
            says=f"{file.name} can't be read as lens data: {why}.",
            remedy="Take that file out of the folder, or point at an unchanged copy of the data set.",
        )
    )


def _cameras(element: Element, file: str) -> Iterator[CameraEntry]:
    maker, exif_model = _english(element, "maker"), _text(element, "model")
    if maker and exif_model:
        crop = _numbers(element.find("cropfactor"), None)
        name = _without_maker(_english(element, "model"), maker, _text(element, "maker"))
        yield CameraEntry(maker, name, exif_model, _text(element, "mount"), crop[0] if crop else None, file)


def _lenses(element: Element, file: str) -> Iterator[LensEntry]:
    maker, written = _english(element, "maker"), _text(element, "model")
    if not (maker and written):
        return
    name = _without_maker(_english(element, "model"), maker, _text(element, "maker"))
    mounts = {mount.text.strip() for mount in element.findall("mount") if mount.text}
    fisheye = _text(element, "type") in FISHEYES
    yield LensEntry(maker, name, {written}, mounts, _optics(element, name, written), fisheye, file)


def _optics(element: Element, *names: str) -> Designation:
    """Elements before names: a name rounds, an element was written for programs."""
    told = [read_designation(name) for name in names]
    focal = _range(element.find("focal"))
    widest = _numbers(element.find("aperture"), "value", "min")
    by_name = next((told_ for told_ in told if told_.widest_f), Designation())
    if widest and (by_name.widest_f is None or abs(by_name.widest_f - widest[0]) > 0.05):
        by_name = Designation(None, None, widest[0], widest[0])
    by_focal = next((told_ for told_ in told if told_.focal_min_mm), Designation())
    focal = focal or (by_focal.focal_min_mm, by_focal.focal_max_mm)
    return Designation(*focal, by_name.widest_f, by_name.widest_f_tele)


def _range(element: Element | None) -> tuple[float, float] | None:
    one = _numbers(element, "value")
    both = _numbers(element, "min") + _numbers(element, "max")
    if one:
        return one[0], one[0]
    return (both[0], both[1]) if len(both) == 2 and both[0] <= both[1] else None


def _numbers(element: Element | None, *attributes: str | None) -> list[float]:
    """Finite positive numbers of an element's attributes (None: its text)."""
    if element is None:
        return []
    found = []
    for attribute in attributes:
        text = element.text if attribute is None else element.get(attribute)
        try:
            number = float(text) if text else math.nan
        except ValueError:
            number = math.nan
        if math.isfinite(number) and number > 0:
            found.append(number)
    return found


def _join(lenses: dict[tuple[str, str], LensEntry], entry: LensEntry) -> None:
    """The set has an entry for each size of sensor on which a lens was corrected: one lens all the same."""
    key = (entry.maker.casefold(), entry.name.casefold())
    known = lenses.setdefault(key, entry)
    if known is not entry:
        known.written |= entry.written
        known.mounts |= entry.mounts
        known.is_fisheye |= entry.is_fisheye
        if None in (known.optics.focal_min_mm, known.optics.widest_f):
            known.optics = entry.optics


def _text(element: Element, tag: str) -> str:
    found = next((child for child in element.findall(tag) if not child.get("lang")), element.find(tag))
    return " ".join((found.text or "").split()) if found is not None else ""


def _english(element: Element, tag: str) -> str:
    """The name for people, where the set has one beside what cameras write."""
    found = next((child for child in element.findall(tag) if child.get("lang") == "en"), None)
    return " ".join(found.text.split()) if found is not None and found.text else _text(element, tag)


def _without_maker(name: str, *makers: str) -> str:
    for maker in makers:
        if maker and name.casefold().startswith(maker.casefold() + " "):
            return name[len(maker) :].strip()
    return name
