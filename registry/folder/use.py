"""How often each lens, focal length and aperture was used, from the EXIF of one's own pictures: for the bag.

The summary is a JSON object, written by `python -m registry.folder FOLDER --use FILE` and read by the bag:

    {
      "format": "cleanstop-use/1",
      "frames": 812,                      pictures whose EXIF was counted
      "unnamed": 40,                      of these, how many name no lens (adapted lenses without contacts)
      "lenses": [                         most used first, then by name
        {
          "lens": "Marram 24-70 mm f/2.8-4",    as the camera wrote it, without white space at its ends
          "frames": 612,
          "focal_mm": {"24": 300, "70": 312},   whole millimetres → pictures; shortest first
          "f_number": {"5.6": 210, "8": 402},   f-numbers as the camera wrote them → pictures; widest first
          "together": {"24": {"8": 300}, "70": {"5.6": 210, "8": 102}}    focal length → f-number → pictures
        }
      ]
    }

Counts within a lens may add up to less than its `frames`, where EXIF lacks a value. No file name, date, place,
camera or serial number is in it, and no picture leaves the machine. A later form gets another number behind the
slash; readers refuse a `format` that they do not know.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from registry.folder.contents import frames_in
from registry.frames.exif import KeptExif, facts_from_file

FORMAT = "cleanstop-use/1"
Progress = Callable[[int, int, str], None]


@dataclass
class LensUse:
    """Counts of pictures taken with one lens, by whole focal length in mm, by f-number, and by both."""

    frames: int = 0
    focal_mm: Counter[float] = field(default_factory=Counter)
    f_number: Counter[float] = field(default_factory=Counter)
    together: dict[float, Counter[float]] = field(default_factory=lambda: defaultdict(Counter))

    def count(self, exif: KeptExif) -> None:
        self.frames += 1
        focal = None if exif.focal_length_mm is None else max(1, round(exif.focal_length_mm))
        f_number = None if exif.f_number is None else round(exif.f_number, 1)
        if focal is not None:
            self.focal_mm[focal] += 1
        if f_number is not None:
            self.f_number[f_number] += 1
        if focal is not None and f_number is not None:
            self.together[focal][f_number] += 1


def use_of_folder(folder: str | Path, *, progress: Progress | None = None) -> dict[str, Any]:
    """The summary of a folder and its subfolders, as above.

    progress: called with the number of pictures read, of all, and the name of the last one.
    Raises InvalidInput if there is no such folder or no picture in it.
    """
    files = frames_in(folder)

    def read() -> Iterable[KeptExif]:
        for done, file in enumerate(files, 1):
            yield facts_from_file(file.path).kept
            if progress is not None:
                progress(done, len(files), file.path.name)

    return summary_of(read())


def summary_of(pictures: Iterable[KeptExif]) -> dict[str, Any]:
    """The summary of pictures by their EXIF. Those that say nothing of lens, focal length or aperture don't count."""
    lenses: dict[str, LensUse] = {}
    for exif in pictures:
        name = exif.lens_model.strip()
        if name or exif.focal_length_mm is not None or exif.f_number is not None:
            lenses.setdefault(name, LensUse()).count(exif)
    unnamed = lenses.pop("", LensUse())
    ranked = sorted(lenses.items(), key=lambda item: (-item[1].frames, item[0]))
    return {
        "format": FORMAT,
        "frames": sum(use.frames for _, use in ranked) + unnamed.frames,
        "unnamed": unnamed.frames,
        "lenses": [{"lens": name} | _plain(use) for name, use in ranked],
    }


def write_use(summary: dict[str, Any], target: str | Path) -> None:
    """Write a summary as JSON."""
    Path(target).write_text(json.dumps(summary, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _plain(use: LensUse) -> dict[str, Any]:
    return {
        "frames": use.frames,
        "focal_mm": _in_order(use.focal_mm),
        "f_number": _in_order(use.f_number),
        "together": {f"{focal:g}": _in_order(use.together[focal]) for focal in sorted(use.together)},
    }


def _in_order(counted: Counter[float]) -> dict[str, int]:
    return {f"{value:g}": counted[value] for value in sorted(counted)}
