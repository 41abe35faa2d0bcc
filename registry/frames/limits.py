"""How much one frame may cost: bytes, pixels, scans, pages, time, memory, and how many at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

MEGABYTE = 1_000_000

DEFAULT_BYTES: Mapping[str, int] = MappingProxyType(
    {
        "jpeg": 60 * MEGABYTE,
        "png": 120 * MEGABYTE,
        "tiff": 300 * MEGABYTE,  # 24 megapixels at 16 bit and three channels are 144 MB
        "raw": 150 * MEGABYTE,
        "heic": 60 * MEGABYTE,
    }
)


@dataclass(frozen=True)
class FrameLimits:
    """Limits for one untrusted frame.

    bytes_per_format: largest file in bytes for each of "jpeg", "png", "tiff", "raw" and "heic".
    pixels, side: largest declared pixel count and side length in pixels.
    scans: most scans in a JPEG; pages: most pages or pictures in a TIFF, PNG or HEIC.
    cpu_seconds, wall_seconds: time that one frame's process may take.
    address_space: bytes of memory that one frame's process may map.
    output_bytes: largest single file that the process may write.
    concurrency: how many frames may be decoded at once on this machine, in all processes together.
    queue_seconds: how long a frame waits for its turn before it is turned away.
    """

    bytes_per_format: Mapping[str, int] = field(default_factory=lambda: DEFAULT_BYTES)
    pixels: int = 120_000_000
    side: int = 30_000
    scans: int = 200
    pages: int = 50
    cpu_seconds: int = 30
    wall_seconds: float = 60.0
    address_space: int = 3_000 * MEGABYTE
    output_bytes: int = 150 * MEGABYTE
    concurrency: int = 2
    queue_seconds: float = 120.0

    def to_dict(self) -> dict[str, Any]:
        """The limits as plain numbers, for handing to another process."""
        return {entry.name: getattr(self, entry.name) for entry in fields(self)} | {
            "bytes_per_format": dict(self.bytes_per_format)
        }


DEFAULT_LIMITS = FrameLimits()
