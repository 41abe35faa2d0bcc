"""Where frames lie: the arriving and kept ones in private storage, pictures for everyone in public storage."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.core.files import File
from django.core.files.storage import FileSystemStorage, Storage, default_storage, storages

from registry.frames.decode import check_file
from registry.frames.limits import MEGABYTE, FrameLimits

ARRIVING, KEPT, PICTURES = "arriving", "kept", "frames"


def frame_limits() -> FrameLimits:
    """What one frame may cost, with this installation's file sizes."""
    sizes = {kind: round(megabytes * MEGABYTE) for kind, megabytes in settings.FRAME_LIMITS_MB.items()}
    return FrameLimits(bytes_per_format=sizes)


def private() -> Storage:
    return storages["private"]


@dataclass(frozen=True)
class Arrival:
    """An accepted upload: its sniffed kind, size in bytes and SHA-256 in hex."""

    kind: str
    byte_size: int
    content_hash: str


def inspect(file: File) -> Arrival:
    """Sniff an upload and check its size before anything else is done with it.

    Raises Unreadable (not-an-image) and TooLarge (file-too-large) as registry.frames says them.
    """
    with _local_copy_of(file) as path:
        kind = check_file(path, frame_limits())
        with path.open("rb") as opened:
            digest = hashlib.file_digest(opened, "sha256").hexdigest()
        return Arrival(kind, path.stat().st_size, digest)


def keep_arriving(public_id: str, file: File) -> str:
    """Store an upload privately until it is sanitised; returns its name in private storage."""
    file.seek(0)
    return private().save(f"{ARRIVING}/{public_id}", file)


def keep_private(public_id: str, path: Path) -> str:
    """Store what measuring again needs; returns its name in private storage."""
    return _store(private(), f"{KEPT}/{public_id[:2]}/{public_id}{path.suffix}", path)


def publish(public_id: str, path: Path, what: str) -> str:
    """Store a re-encoded picture where anyone may see it; returns its name in public storage."""
    return _store(default_storage, f"{PICTURES}/{public_id[:2]}/{public_id}-{what}{path.suffix}", path)


def _store(store: Storage, name: str, path: Path) -> str:
    """Store a file under exactly this name, over what an attempt that was broken off may have left there."""
    if store.exists(name):
        store.delete(name)
    with path.open("rb") as opened:
        return store.save(name, File(opened))


@contextmanager
def private_path(name: str) -> Iterator[Path]:
    """A private file as a path on this machine, fetched to a temporary one where the storage is elsewhere."""
    store = private()
    if isinstance(store, FileSystemStorage):
        yield Path(store.path(name))
    else:
        with store.open(name) as stored, _local_copy_of(stored) as copied:
            yield copied


def discard(*, private_names: Iterable[str] = (), public_names: Iterable[str] = ()) -> None:
    """Delete stored files; a file that is already gone is no error."""
    for name in filter(None, private_names):
        private().delete(name)
    for name in filter(None, public_names):
        default_storage.delete(name)


@contextmanager
def _local_copy_of(file: File) -> Iterator[Path]:
    if hasattr(file, "temporary_file_path"):
        yield Path(file.temporary_file_path())
        return
    with tempfile.NamedTemporaryFile(prefix="frame-") as copied:
        file.seek(0)
        for chunk in file.chunks():
            copied.write(chunk)
        copied.flush()
        yield Path(copied.name)


def arrived_before(moment: datetime) -> list[str]:
    """Names of arrived files that were stored before a moment."""
    store = private()
    if not store.exists(ARRIVING):
        return []
    names = [f"{ARRIVING}/{name}" for name in store.listdir(ARRIVING)[1]]
    return [name for name in names if store.get_modified_time(name) < moment]
