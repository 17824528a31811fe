"""ICC profiles of the display gamuts, so that viewers show the pictures' colours as meant.

References
----------
ICC.1:2010 (profile version 4.3): sections 7.2 (header), 9.2 (tags), 10.15 (parametric curve), 10.31 (XYZ).
"""

from __future__ import annotations

import struct

import numpy as np

from materials import adapt_matrix, display_matrix

_D50 = np.array([0.9642, 1.0, 0.8249])  # the profile connection space's white, ICC.1:2010 section 7.2.16
_NAMES = {"srgb": "sRGB IEC61966-2-1", "p3": "Display P3"}
_SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def icc_profile(gamut: str) -> bytes:
    """Version 4 matrix profile of "srgb" or "p3" with the sRGB transfer curve."""
    primaries = np.linalg.inv(display_matrix(gamut))
    adaptation = adapt_matrix(primaries @ np.ones(3), _D50, method="Bradford")
    columns = (adaptation @ primaries).T
    curve = b"para" + struct.pack(">IHH5i", 0, 3, 0, *(_fixed(x) for x in _SRGB_CURVE))
    tags = [
        (b"desc", _text(_NAMES[gamut])),
        (b"cprt", _text("No copyright, use freely")),
        (b"wtpt", _xyz(_D50)),
        (b"chad", b"sf32" + struct.pack(">I9i", 0, *(_fixed(x) for x in adaptation.ravel()))),
        *((name, _xyz(column)) for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)),
        *((name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")),
    ]
    return _assemble(tags)


def _fixed(value: float) -> int:
    return round(float(value) * 65536)


def _xyz(values: np.ndarray) -> bytes:
    return b"XYZ " + struct.pack(">I3i", 0, *(_fixed(x) for x in values))


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc" + struct.pack(">3I", 0, 1, 12) + b"enUS" + struct.pack(">2I", len(encoded), 28) + encoded


def _assemble(tags: list[tuple[bytes, bytes]]) -> bytes:
    offset = 128 + 4 + 12 * len(tags)
    table, data, placed = b"", b"", {}
    for name, body in tags:
        if body not in placed:
            placed[body] = offset + len(data)
            data += body + bytes(-len(body) % 4)
        table += name + struct.pack(">2I", placed[body], len(body))
    header = struct.pack(
        ">4x4sI4s4s4s6H4s24xI3i48x",
        b"\0\0\0\0", 0x04300000, b"mntr", b"RGB ", b"XYZ ", 2026, 1, 1, 0, 0, 0, b"acsp", 0,
        *(_fixed(x) for x in _D50),
    )  # fmt: skip
    size = len(header) + 4 + len(table) + len(data)
    return struct.pack(">I", size) + header[4:] + struct.pack(">I", len(tags)) + table + data
