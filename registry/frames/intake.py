"""The one entry for untrusted frames: bytes in, light and safe derivatives out.

    taken = take_in(path, working_directory=folder)

The file is read in a separate process under hard limits (chamber.py). What comes back over the disk is plain
numbers and new files, checked here before anyone uses them.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from registry.errors import Problem, TooLarge, Unreadable
from registry.frames import handover, refusals
from registry.frames.averaging import MEASURED_LONG_SIDE
from registry.frames.confinement import run_confined
from registry.frames.exif import KeptExif
from registry.frames.limits import DEFAULT_LIMITS, FrameLimits
from registry.frames.sniff import check_file
from registry.optics.linear_image import LinearImage


@dataclass(frozen=True)
class TakenFrame:
    """A frame that was taken in. The paths lie in a new folder inside the working directory.

    kind: "jpeg", "png", "tiff", "raw" or "heic". sha256: of the original bytes, in hexadecimal.
    width, height: of the full frame in pixels, upright.
    exif, image: as read.
    kept_path: for measuring again (decode.read_kept): no metadata. JPEG scan data, or 16-bit linear TIFF.
    picture_path, thumbnail_path: sRGB JPEG for people, long side at most 1600 and 320, no metadata.
    picture_width, picture_height: of the picture, in pixels.
    residual: the frame's grain, by which a copy of it is known (residual.py); may be empty.
    """

    kind: str
    sha256: str
    width: int
    height: int
    exif: KeptExif
    image: LinearImage
    kept_path: Path
    picture_path: Path
    thumbnail_path: Path
    picture_width: int
    picture_height: int
    residual: bytes

    @property
    def folder(self) -> Path:
        """The folder that holds the three files; the taker removes it when they are stored."""
        return self.kept_path.parent

    def discard(self) -> None:
        """Remove the folder and the three files."""
        shutil.rmtree(self.folder, ignore_errors=True)


def take_in(
    path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS, working_directory: str | Path
) -> TakenFrame:
    """Take in one untrusted file; the original is left where it is, for the caller to delete.

    Raises TooLarge (file-too-large, pixel-flood, too-many-scans, too-many-pages) or Unreadable
    (not-an-image, truncated-image, damaged-image, unsupported-format, decoder-gave-up,
    decoder-busy, no-room-left). Nothing is left in the working directory then.
    """
    path = Path(path)
    if not path.is_file():
        raise refusals.refusal(
            "not-an-image", f"There is no file at {path.name}.", "Choose the picture again.", path.name
        )
    check_file(path, limits)
    with refusals.writing_errors():
        folder = Path(tempfile.mkdtemp(prefix="frame-", dir=working_directory))
    try:
        run_confined(path, folder, limits)
        return _taken(folder)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _taken(folder: Path) -> TakenFrame:
    """Read what the limited process left, trusting none of its shapes."""
    try:
        report = json.loads((folder / handover.REPORT).read_text())
        if "refusal" in report:
            kind = TooLarge if report["too_large"] else Unreadable
            raise kind(Problem(**report["refusal"]))
        pixels = np.load(folder / handover.PIXELS, allow_pickle=False)
        frame = _frame(report, pixels, folder)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise refusals.gave_up("the decoder's answer was incomplete") from error
    (folder / handover.REPORT).unlink()
    (folder / handover.PIXELS).unlink()
    return frame


def _frame(report: dict[str, Any], pixels: np.ndarray, folder: Path) -> TakenFrame:
    if pixels.ndim != 3 or pixels.shape[2] != 3 or max(pixels.shape) > MEASURED_LONG_SIDE:
        raise ValueError(f"pixels of shape {pixels.shape}")
    if pixels.dtype != np.float32 or not np.isfinite(pixels).all():
        raise ValueError("pixels that are no finite numbers")
    facts = report["image"] | {name: tuple(report["image"][name]) for name in ("tone_gain", "notes")}
    image = LinearImage(pixels=pixels, **facts)
    width, height = (int(length) for length in report["picture_size"])
    kept_name = report["kept_name"]
    if kept_name not in (handover.KEPT_JPEG, handover.KEPT_TIFF):
        raise ValueError("an unknown kept file")
    return TakenFrame(
        kind=str(report["kind"]),
        sha256=str(report["sha256"]),
        width=image.width,
        height=image.height,
        exif=KeptExif.from_dict(report["exif"]),
        image=image,
        kept_path=folder / kept_name,
        picture_path=folder / handover.PICTURE,
        thumbnail_path=folder / handover.THUMBNAIL,
        picture_width=width,
        picture_height=height,
        residual=bytes.fromhex(report["residual"]),
    )
