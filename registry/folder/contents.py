"""What lies in a folder of frames: which files are frames, which of them belong together, what each is called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from registry.errors import CleanstopError, InvalidInput, Problem
from registry.frames.sniff import sniff

TARGET, CONTROL, PROOF = "target", "control", "proof"
# Files with these endings are frames even if they turn out to be unreadable; others only if their content is one.
FRAME_ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".dng", ".heic", ".heif"})


@dataclass(frozen=True)
class FrameFile:
    """A file to measure. set_up: its folder below the one given, "" for that itself. key: its name in results.
    purpose: "target", "control" or "proof"."""

    path: Path
    set_up: str
    key: str
    purpose: str = TARGET


def frames_in(folder: str | Path, purposes: Mapping[str, str] | None = None) -> list[FrameFile]:
    """The frames of a folder and its subfolders, in order of their paths; each folder is a set-up of its own.

    purposes: by a subfolder's path below the folder, what its frames are for ("control", "proof"); they belong to the
    set-up of the folder around them. Raises InvalidInput for one that is no subfolder.

    A frame's key is its file's stem. Where two files share one, it is as much more of the path below the folder as
    tells them apart: the name with its ending, else the path. Raises InvalidInput if there is no such folder or no
    frame in it.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InvalidInput(
            Problem(
                code="no-such-folder",
                field="folder",
                value=str(folder),
                says=f"There is no folder “{folder}”.",
                remedy="Name the folder that holds the frames, or one subfolder for each set-up.",
            )
        )
    paths = [path for path in sorted(root.rglob("*")) if path.is_file() and _is_frame(path, root)]
    if not paths:
        raise InvalidInput(
            Problem(
                code="no-frames",
                field="folder",
                value=str(folder),
                says=f"The folder “{folder}” holds no frames.",
                remedy="Put JPEG, PNG, TIFF, HEIC or raw files into it, or into one subfolder for each set-up.",
            )
        )
    keys = _keys(paths, root)
    known = {Path(name).as_posix().strip("/"): purpose for name, purpose in (purposes or {}).items()}
    for name, purpose in known.items():
        if not name or not (root / name).is_dir():
            raise InvalidInput(
                Problem(
                    code="no-such-folder",
                    field=purpose,
                    value=name,
                    says=f"“{folder}” has no subfolder “{name}”.",
                    remedy=f"Put the {purpose} frames into a subfolder, and name it.",
                )
            )
    return [_frame_file(path, _set_up(path, root), keys[path], known) for path in paths]


def _frame_file(path: Path, inside: str, key: str, purposes: Mapping[str, str]) -> FrameFile:
    purpose = purposes.get(inside)
    if purpose is None:
        return FrameFile(path, inside, key)
    around, _, _ = inside.rpartition("/")
    return FrameFile(path, around, key, purpose)


def _is_frame(path: Path, root: Path) -> bool:
    if any(part.startswith(".") for part in path.relative_to(root).parts):
        return False
    if path.suffix.lower() in FRAME_ENDINGS:
        return True
    try:
        sniff(path)
    except (CleanstopError, OSError):
        return False
    return True


def _set_up(path: Path, root: Path) -> str:
    inside = path.parent.relative_to(root).as_posix()
    return "" if inside == "." else inside


def _keys(paths: list[Path], root: Path) -> dict[Path, str]:
    """The shortest name of each file that no other file has."""
    inside = {path: path.relative_to(root) for path in paths}
    forms = [
        {path: path.stem for path in paths},
        {path: path.name for path in paths},
        {path: below.with_suffix("").as_posix() for path, below in inside.items()},
        {path: below.as_posix() for path, below in inside.items()},
    ]
    counts = [Counter(form.values()) for form in forms]
    return {
        path: next(form[path] for form, count in zip(forms, counts, strict=True) if count[form[path]] == 1)
        for path in paths
    }
