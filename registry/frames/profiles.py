"""What an embedded colour profile says: tone curves and a matrix to Rec. 709.

ICC profile format: ICC.1:2022 (ISO 15076-1): header 7.2, tag table 7.3, curveType 10.6,
parametricCurveType 10.18, XYZType 10.31. Profiles that hold a table of colours in place of curves and a matrix are
converted by the colour management library instead, at 8 bits.
"""

from __future__ import annotations

import io
import struct

import numpy as np
from PIL import Image, ImageCms

from registry.frames import refusals
from registry.frames.encoding import Curve, Encoding, power_curve, srgb_to_linear

_TABLE_NOTE = "profile-converted-at-8-bits"
# Rec. 709 primaries with D65 (ITU-R BT.709) as xy, and the profile connection space's white D50 (ICC.1, 7.2.16).
_PRIMARIES = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
_D65_XY = (0.3127, 0.3290)
_D50 = np.array([0.9642, 1.0, 0.8249])
# Linearised Bradford cone responses (ICC.1:2022, annex E).
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def _xyz(x: float, y: float) -> np.ndarray:
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _rec709_to_d50() -> np.ndarray:
    """Matrix (3, 3) from linear Rec. 709 to XYZ adapted to D50."""
    primaries = np.stack([_xyz(*xy) for xy in _PRIMARIES], axis=1)
    white = _xyz(*_D65_XY)
    to_xyz = primaries * np.linalg.solve(primaries, white)
    ratio = (_BRADFORD @ _D50) / (_BRADFORD @ white)
    return np.linalg.inv(_BRADFORD) @ np.diag(ratio) @ _BRADFORD @ to_xyz


_D50_TO_REC709 = np.linalg.inv(_rec709_to_d50())


def read_profile(profile: bytes | None, colours: int) -> Encoding | None:
    """The encoding that a profile states; sRGB where there is none.

    colours: 1 for grey, 3 for RGB files. Returns None where the profile is a table of colours.
    Raises Unreadable (unsupported-format) when the profile is damaged or meant for another kind of picture.
    """
    if not profile:
        return Encoding(notes=("no-profile-srgb-assumed",))
    try:
        space, tags = profile[16:20], _tags(profile)
        if space == b"GRAY" and "kTRC" in tags:
            return _encoding((_curve(tags["kTRC"]),) * 3, None)
        if space != b"RGB " or colours != 3:
            raise _wrong_space(space, colours)
        if not {"rTRC", "gTRC", "bTRC", "rXYZ", "gXYZ", "bXYZ"} <= tags.keys():
            return None
        colorants = np.stack([_xyz_numbers(tags[name]) for name in ("rXYZ", "gXYZ", "bXYZ")], axis=1)
        curves = [_curve(tags[name]) for name in ("rTRC", "gTRC", "bTRC")]
        same = tags["rTRC"] == tags["gTRC"] == tags["bTRC"]
        return _encoding((curves[0],) * 3 if same else tuple(curves), _D50_TO_REC709 @ colorants)
    except (struct.error, ValueError, IndexError) as error:
        raise refusals.unsupported(
            "The colour profile in this picture is damaged.",
            "Save it again with the sRGB profile, or send the camera's own file.",
        ) from error


def convert_by_table(codes: np.ndarray, profile: bytes) -> np.ndarray:
    """sRGB codes of 8-bit RGB codes (height, width, 3) through a profile that holds a table of colours."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(
            Image.fromarray(codes), source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError) as error:
        raise refusals.unsupported(
            "The colour profile in this picture can't be used.",
            "Save it again with the sRGB profile, or send the camera's own file.",
        ) from error
    return np.asarray(converted)


def table_encoding() -> Encoding:
    """The encoding of what convert_by_table returns."""
    return Encoding(notes=(_TABLE_NOTE,))


def _wrong_space(space: bytes, colours: int):
    kind = "RGB" if colours == 3 else "grey"
    return refusals.unsupported(
        f"This {kind} picture carries a colour profile for “{space.decode('latin-1').strip()}”.",
        "Save it again with the sRGB profile, or send the camera's own file.",
        space.decode("latin-1").strip(),
    )


def _tags(profile: bytes) -> dict[str, bytes]:
    count = min(struct.unpack_from(">I", profile, 128)[0], 200)
    tags = {}
    for index in range(count):
        name, offset, size = struct.unpack_from(">4sII", profile, 132 + 12 * index)
        tags[name.decode("latin-1")] = profile[offset : offset + size]
    return tags


def _xyz_numbers(tag: bytes) -> np.ndarray:
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _encoding(curves: tuple[Curve, ...], matrix: np.ndarray | None) -> Encoding:
    """Snap to the exact sRGB curve and Rec. 709 where the profile means them; tell linear files apart."""
    probe = np.linspace(0, 1, 101)
    if all(np.abs(curve(probe) - srgb_to_linear(probe)).max() < 2e-3 for curve in curves):
        curves = (srgb_to_linear,) * 3
    if matrix is not None and np.abs(matrix - np.eye(3)).max() < 5e-3:
        matrix = None
    linear = all(np.abs(curve(probe) - probe).max() < 1e-3 for curve in curves)
    return Encoding(curves=curves, matrix=matrix, linear=linear)


def _curve(tag: bytes) -> Curve:
    if tag[:4] == b"curv":
        return _sampled_curve(tag)
    if tag[:4] == b"para":
        return _parametric_curve(tag)
    raise ValueError("no curve type")


def _sampled_curve(tag: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return power_curve(1.0)
    if count == 1:
        return power_curve(struct.unpack_from(">H", tag, 12)[0] / 256)
    samples = np.array(struct.unpack_from(f">{min(count, 65536)}H", tag, 12)) / 65535
    places = np.linspace(0, 1, len(samples))
    return lambda encoded: np.interp(encoded, places, samples)


def _parametric_curve(tag: bytes) -> Curve:
    """Function types 0 to 4 of parametricCurveType: (a·x + b)^g + c from d up, e·x + f below."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    count = (1, 3, 4, 5, 7)[kind]
    given = np.array(struct.unpack_from(f">{count}i", tag, 12)) / 65536
    g, a, b, c, d, e, f = _seven(kind, given)
    if not (0 < g < 10 and a > 0):
        raise ValueError("curve without meaning")

    def curve(encoded: np.ndarray) -> np.ndarray:
        encoded = np.asarray(encoded, dtype=np.float64)
        upper = np.clip(a * encoded + b, 0, None) ** g + e
        return np.clip(np.where(encoded >= d, upper, c * encoded + f), 0, 1)

    return curve


def _seven(kind: int, given: np.ndarray) -> tuple[float, ...]:
    """g, a, b, c, d, e, f of type 4 that say the same as the given parameters of a lower type."""
    if kind == 0:
        return (given[0], 1, 0, 0, 0, 0, 0)
    g, a, b = given[:3]
    if kind in (1, 2):
        offset = given[3] if kind == 2 else 0.0
        return (g, a, b, 0, -b / a, offset, offset)
    if kind == 3:
        return (*given, 0, 0)
    return tuple(given)
