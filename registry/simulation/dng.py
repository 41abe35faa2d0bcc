"""Raw frames as DNG: a Bayer mosaic of linear counts above a black level.

Tags follow the DNG specification 1.4 and TIFF/EP (ISO 12234-2) for the colour filter array.
"""

from __future__ import annotations

import io

import numpy as np
import tifffile

from registry.simulation.exif import CameraExif
from registry.simulation.orientation import turned
from registry.simulation.render import Rendered
from registry.simulation.tiff_exif import add_exif, main_tags

BLACK_LEVEL = 512
WHITE_LEVEL = 16383
_BAYER = ((0, 1), (1, 2))  # red, green; green, blue

# XYZ (D65) to linear Rec. 709, IEC 61966-2-1: the camera's channels are those of sRGB.
_XYZ_TO_CAMERA = (
    (3.2406, -1.5372, -0.4986),
    (-0.9689, 1.8758, 0.0415),
    (0.0557, -0.2040, 1.0570),
)
_D65 = 21


def mosaic(pixels: np.ndarray) -> np.ndarray:
    """Raw counts (height, width), uint16, of linear pixels (height, width, 3): one channel at each site."""
    counts = np.empty(pixels.shape[:2], dtype=np.uint16)
    for row in range(2):
        for column in range(2):
            site = pixels[row::2, column::2, _BAYER[row][column]]
            counts[row::2, column::2] = np.round(site * (WHITE_LEVEL - BLACK_LEVEL) + BLACK_LEVEL)
    return counts


def dng_bytes(rendered: Rendered, exif: CameraExif) -> bytes:
    """The frame as a DNG file. An odd last row or column is cut off, as a mosaic comes in pairs.

    Raises InvalidInput on an orientation other than 1, 3, 6, 8.
    """
    pixels = turned(rendered.pixels, exif.orientation)
    height, width = (length // 2 * 2 for length in pixels.shape[:2])
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        mosaic(pixels[:height, :width]),
        byteorder="<",
        photometric="cfa",
        metadata=None,
        software=False,
        subfiletype=0,
        extratags=[*main_tags(exif), *_raw_tags(exif)],
    )
    return add_exif(buffer.getvalue(), exif, rendered)


def _raw_tags(exif: CameraExif) -> list[tuple[int, str, int, object, bool]]:
    name = " ".join(part for part in (exif.maker, exif.model) if part) or "simulated camera"
    matrix = tuple(part for row in _XYZ_TO_CAMERA for value in row for part in (round(value * 10000), 10000))
    return [
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, tuple(colour for row in _BAYER for colour in row), True),  # CFAPattern
        (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
        (50707, "B", 4, (1, 1, 0, 0), True),  # DNGBackwardVersion
        (50708, "s", 0, name, True),  # UniqueCameraModel
        (50710, "B", 3, (0, 1, 2), True),  # CFAPlaneColor
        (50711, "H", 1, 1, True),  # CFALayout: rectangular
        (50714, "H", 1, BLACK_LEVEL, True),  # BlackLevel
        (50717, "H", 1, WHITE_LEVEL, True),  # WhiteLevel
        (50721, "2i", 9, matrix, True),  # ColorMatrix1
        (50728, "2I", 3, (1, 1) * 3, True),  # AsShotNeutral
        (50778, "H", 1, _D65, True),  # CalibrationIlluminant1
    ]
