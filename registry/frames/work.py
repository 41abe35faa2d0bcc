"""The work done on one untrusted file, inside the limited process: everything that touches its pixels."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np

from registry.errors import CleanstopError, TooLarge
from registry.frames import handover, refusals
from registry.frames.decode import WHOLE_READERS
from registry.frames.exif import ExifFacts
from registry.frames.frame import LightGrid
from registry.frames.jpeg import jpeg_light, jpeg_picture, open_jpeg
from registry.frames.kept import quantised, write_kept
from registry.frames.limits import FrameLimits
from registry.frames.pictures import picture_of_codes, picture_of_light, write_pictures
from registry.frames.residual import residual_of
from registry.frames.sniff import check_file
from registry.optics.linear_image import LinearImage


@dataclasses.dataclass(frozen=True)
class _Decoded:
    """What one decoding yields. kept: a sanitised JPEG's bytes, or the grid to keep; codes: for pictures."""

    image: LinearImage
    facts: ExifFacts
    codes: np.ndarray
    kept: bytes | LightGrid


def do_job(job: dict[str, Any]) -> None:
    """Take in job["path"] into the folder job["folder"] and leave a report there, be it a refusal.

    job["limits"]: FrameLimits.to_dict().
    """
    path, folder = Path(job["path"]), Path(job["folder"])
    try:
        report = _take(path, folder, FrameLimits(**job["limits"]))
    except CleanstopError as error:
        report = {"refusal": dataclasses.asdict(error.first), "too_large": isinstance(error, TooLarge)}
    (folder / handover.REPORT).write_text(json.dumps(report))


def _take(path: Path, folder: Path, limits: FrameLimits) -> dict[str, Any]:
    with refusals.decoder_errors():
        kind = check_file(path, limits)
        with path.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        decoded = _decode_jpeg(path, limits) if kind == "jpeg" else _decode_whole(kind, path, limits)
        residual = residual_of(decoded.codes)
    with refusals.writing_errors():
        kept_name = _keep(decoded.kept, folder)
        picture_size = write_pictures(decoded.codes, folder / handover.PICTURE, folder / handover.THUMBNAIL)
        np.save(folder / handover.PIXELS, decoded.image.pixels, allow_pickle=False)
    plain = {entry.name: getattr(decoded.image, entry.name) for entry in dataclasses.fields(decoded.image)}
    del plain["pixels"]
    return {
        "kind": kind,
        "sha256": sha256,
        "exif": decoded.facts.kept.to_dict(),
        "image": plain,
        "kept_name": kept_name,
        "picture_size": picture_size,
        "residual": residual.hex(),
    }


def _decode_jpeg(path: Path, limits: FrameLimits) -> _Decoded:
    frame = open_jpeg(path, limits)
    image = jpeg_light(frame).to_linear_image()
    return _Decoded(image, frame.exif, picture_of_codes(*jpeg_picture(frame)), frame.data)


def _decode_whole(kind: str, path: Path, limits: FrameLimits) -> _Decoded:
    grid, facts = WHOLE_READERS[kind](path, limits)
    grid = quantised(grid)
    return _Decoded(grid.to_linear_image(), facts, picture_of_light(grid), grid)


def _keep(kept: bytes | LightGrid, folder: Path) -> str:
    """Write what is kept for measuring again; returns its name."""
    if isinstance(kept, bytes):
        (folder / handover.KEPT_JPEG).write_bytes(kept)
        return handover.KEPT_JPEG
    write_kept(kept, folder / handover.KEPT_TIFF)
    return handover.KEPT_TIFF
