"""Every way a frame can be refused, in one place: what is wrong, with which value, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from registry.errors import CleanstopError, Problem, TooLarge, Unreadable

TAKEN_FORMATS = "JPEG, PNG, TIFF (8 or 16 bit), HEIC, and raw files such as DNG"
FORMAT_NAMES = {"jpeg": "JPEG", "png": "PNG", "tiff": "TIFF", "raw": "raw", "heic": "HEIC"}

# Codes that a failing decoder's process may hand back, and the error type that each becomes.
_TOO_LARGE = frozenset({"file-too-large", "pixel-flood", "too-many-scans", "too-many-pages"})


def refusal(code: str, says: str, remedy: str, value: object = None) -> TooLarge | Unreadable:
    """The error for a frame that can't be taken; its type follows from the code."""
    kind = TooLarge if code in _TOO_LARGE else Unreadable
    return kind(Problem(code=code, field="frame", value=value, says=says, remedy=remedy))


def not_an_image(head: bytes) -> Unreadable:
    return refusal(
        "not-an-image",
        f"This file is no picture that can be measured: it begins with {head[:8].hex(' ') or 'nothing'}.",
        f"Send the camera's own file: {TAKEN_FORMATS}.",
        head[:8].hex(),
    )


def empty_file() -> Unreadable:
    return refusal(
        "not-an-image", "This file is empty (0 bytes).", "Copy it from the card again and send it again.", 0
    )


def unsupported(what: str, remedy: str, value: object = None) -> Unreadable:
    return refusal("unsupported-format", what, remedy, value)


def truncated(where: str, value: object = None) -> Unreadable:
    return refusal(
        "truncated-image",
        f"This picture is incomplete: {where}.",
        "Copy it from the card again and send it again.",
        value,
    )


def file_too_large(kind: str, size: int, limit: int) -> TooLarge:
    return refusal(
        "file-too-large",
        f"This {FORMAT_NAMES[kind]} file has {size / 1e6:.1f} MB; at most {limit / 1e6:.0f} MB are taken.",
        "Send a smaller file, such as the camera's JPEG.",
        size,
    )


def pixel_flood(width: int, height: int, pixels: int, side: int) -> TooLarge:
    return refusal(
        "pixel-flood",
        f"This picture claims {width} × {height} pixels; at most {pixels / 1e6:.0f} megapixels"
        f" and {side} pixels a side are taken.",
        "Send the frame at the camera's own size or smaller.",
        [width, height],
    )


def too_many_scans(count: int, limit: int) -> TooLarge:
    return refusal(
        "too-many-scans",
        f"This JPEG has {count} scans or more; at most {limit} are taken.",
        "Save it again as a plain baseline or progressive JPEG, or send the camera's own file.",
        count,
    )


def too_many_pages(count: int, limit: int) -> TooLarge:
    return refusal(
        "too-many-pages",
        f"This file holds {count} pictures; at most {limit} are taken.",
        "Send a file with one picture.",
        count,
    )


def gave_up(why: str, value: object = None) -> Unreadable:
    return refusal(
        "decoder-gave-up",
        f"Reading this picture was stopped: {why}.",
        "Open it on your own machine; if it opens there, save it as a JPEG or 16-bit TIFF and send that.",
        value,
    )


def busy(seconds: float) -> Unreadable:
    return refusal(
        "decoder-busy",
        f"Other frames are being read, and this one waited {seconds:.0f} seconds without its turn.",
        "Send it again in a minute; nothing else of yours was lost.",
        seconds,
    )


def check_size(width: int, height: int, pixels: int, side: int) -> None:
    """Raise TooLarge (pixel-flood) when a declared size is over the limits, Unreadable when it is nothing."""
    if width < 1 or height < 1:
        raise refusal(
            "not-an-image",
            f"This picture claims {width} × {height} pixels.",
            f"Send the camera's own file: {TAKEN_FORMATS}.",
            [width, height],
        )
    if width * height > pixels or max(width, height) > side:
        raise pixel_flood(width, height, pixels, side)


@contextmanager
def decoder_errors() -> Iterator[None]:
    """Turn whatever a decoding library raises over a damaged file into an Unreadable.

    Libraries raise nearly anything over hostile bytes, so everything that isn't a refusal already is caught.
    """
    try:
        yield
    except CleanstopError:
        raise
    except MemoryError as error:
        raise gave_up("it needs more memory than one frame may take") from error
    except Exception as error:
        says = str(error).lower()
        if "truncated" in says or isinstance(error, EOFError):
            raise truncated("its picture data break off") from error
        raise refusal(
            "damaged-image",
            f"This picture's data are damaged ({type(error).__name__}).",
            "Copy it from the card again and send it again.",
            type(error).__name__,
        ) from error


@contextmanager
def writing_errors() -> Iterator[None]:
    """Turn a disk that takes no more into an Unreadable that says so; nothing is wrong with the frame then."""
    try:
        yield
    except OSError as error:
        raise refusal(
            "no-room-left",
            f"This frame could not be written down here ({error.strerror or type(error).__name__}).",
            "Nothing is wrong with your file: send it again later, or tell the people who run this site.",
            error.errno,
        ) from error
