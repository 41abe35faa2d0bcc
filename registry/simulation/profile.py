"""Small ICC profiles for files whose values are no sRGB: Rec. 709 primaries and a pure power as tone curve.

Structure after ICC.1:2001-04 (version 2 profiles), a three-component matrix display profile.
"""

from __future__ import annotations

import struct

# Rec. 709 primaries adapted from D65 to D50 with the Bradford transform, and the D50 white of the ICC.
_PRIMARIES = {
    b"rXYZ": (0.4360747, 0.2225045, 0.0139322),
    b"gXYZ": (0.3850649, 0.7168786, 0.0971045),
    b"bXYZ": (0.1430804, 0.0606169, 0.7141733),
}
_D50 = (0.9642, 1.0, 0.8249)
_HEADER_BYTES, _ENTRY_BYTES = 128, 12


def linear_profile() -> bytes:
    """A profile that says: these values are proportional to light."""
    return power_profile(1.0)


def power_profile(exponent: float) -> bytes:
    """A profile that says: light is value^exponent. exponent: above 0 and below 256, kept to 1/256."""
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(exponent * 256))
    name = f"Simulated, light = value^{exponent:g}".encode("ascii")
    elements = {
        b"desc": _description(name),
        b"cprt": b"text\0\0\0\0" + b"No rights reserved\0",
        b"wtpt": _xyz(_D50),
        **{signature: _xyz(value) for signature, value in _PRIMARIES.items()},
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = struct.pack(">I", len(elements)), b""
    start = _HEADER_BYTES + 4 + _ENTRY_BYTES * len(elements)
    for signature, element in elements.items():
        table += signature + struct.pack(">II", start + len(body), len(element))
        body += element + b"\0" * (-len(element) % 4)
    return _header(start + len(body)) + table + body


def _header(size: int) -> bytes:
    moment = struct.pack(">6H", 2026, 5, 9, 0, 0, 0)
    start = struct.pack(">I4xI", size, 0x02400000) + b"mntrRGB XYZ " + moment + b"acsp"
    return start.ljust(68, b"\0") + b"".join(map(_fixed, _D50)) + b"\0" * 48


def _fixed(number: float) -> bytes:
    """s15Fixed16Number."""
    return struct.pack(">i", round(number * 65536))


def _xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(map(_fixed, values))


def _description(name: bytes) -> bytes:
    text = name + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * (8 + 3 + 67)
