"""The work done on one untrusted file, inside the limited process: everything that touches its pixels."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np

from registry.errors import CleanstopError, TooLarge
from registry.frames import refusals
from registry.frames.decode import WHOLE_READERS, check_file
from registry.frames.exif import ExifFacts
from registry.frames.jpeg import jpeg_light, jpeg_picture, open_jpeg
from registry.frames.kept import quantised, write_kept
from registry.frames.limits import FrameLimits
from registry.frames.pictures import picture_of_codes, picture_of_light, write_pictures
from registry.frames.residual import residual_of
from registry.optics.linear_image import LinearImage

REPORT_NAME, PIXELS_NAME = "report.json", "pixels.npy"
PICTURE_NAME, THUMBNAIL_NAME = "picture.jpg", "thumbnail.jpg"
KEPT_NAMES = {True: "kept.jpg", False: "kept.tif"}


def do_job(job: dict[str, Any]) -> None:
    """Take in job["path"] into the folder job["folder"] and leave a report there, be it a refusal.

    job["limits"]: FrameLimits.to_dict().
    """
    folder = Path(job["folder"])
    try:
        with refusals.decoder_errors():
            report = _take(Path(job["path"]), folder, FrameLimits(**job["limits"]))
    except CleanstopError as error:
        report = {"refusal": dataclasses.asdict(error.first), "too_large": isinstance(error, TooLarge)}
    (folder / REPORT_NAME).write_text(json.dumps(report))


def _take(path: Path, folder: Path, limits: FrameLimits) -> dict[str, Any]:
    kind = check_file(path, limits)
    with path.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    take = _take_jpeg if kind == "jpeg" else _take_whole
    image, facts, codes, kept_name = take(kind, path, folder, limits)
    picture_size = write_pictures(codes, folder / PICTURE_NAME, folder / THUMBNAIL_NAME)
    np.save(folder / PIXELS_NAME, image.pixels, allow_pickle=False)
    plain = {entry.name: getattr(image, entry.name) for entry in dataclasses.fields(image)}
    del plain["pixels"]
    return {
        "kind": kind,
        "sha256": sha256,
        "exif": facts.kept.to_dict(),
        "image": plain,
        "kept_name": kept_name,
        "picture_size": picture_size,
        "residual": residual_of(codes).hex(),
    }


def _take_jpeg(
    _kind: str, path: Path, folder: Path, limits: FrameLimits
) -> tuple[LinearImage, ExifFacts, np.ndarray, str]:
    frame = open_jpeg(path, limits)
    image = jpeg_light(frame).to_linear_image()
    (folder / KEPT_NAMES[True]).write_bytes(frame.data)
    return image, frame.exif, picture_of_codes(*jpeg_picture(frame)), KEPT_NAMES[True]


def _take_whole(
    kind: str, path: Path, folder: Path, limits: FrameLimits
) -> tuple[LinearImage, ExifFacts, np.ndarray, str]:
    grid, facts = WHOLE_READERS[kind](path, limits)
    grid = quantised(grid)
    write_kept(grid, folder / KEPT_NAMES[False])
    return grid.to_linear_image(), facts, picture_of_light(grid), KEPT_NAMES[False]
