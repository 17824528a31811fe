"""The codec of the figures' data files.

Positions are 16-bit steps inside their bounding box; neighbouring values differ little, so differences are
stored, low bytes apart from high bytes, and the archive deflates them. Strands take differences along
themselves, everything else along the list.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

Archive = Mapping[str, np.ndarray]


def join_bytes(planes: np.ndarray, dtype: type[np.unsignedinteger]) -> np.ndarray:
    """Values of `dtype` from byte planes (bytes a value, count), low byte first."""
    little_endian = np.dtype(dtype).newbyteorder("<")
    return np.ascontiguousarray(planes.T).view(little_endian).ravel().astype(dtype)


def undelta(steps: np.ndarray, axis: int = 0) -> np.ndarray:
    """Running sum along an axis that wraps as the unsigned type does."""
    return np.cumsum(steps, axis=axis, dtype=steps.dtype)


def from_box(steps: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Positions (..., 3) float64 in metres from 16-bit steps; `box` is (lowest corner, size of a step)."""
    return steps * box[1].astype(float) + box[0].astype(float)


def read_points(archive: Archive, name: str) -> np.ndarray:
    """Positions (n, 3) float64 of the entry `name`."""
    steps = join_bytes(archive[f"{name}.v"], np.uint16).reshape(-1, 3)
    return from_box(undelta(steps), archive[f"{name}.b"])


def read_mesh(archive: Archive, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Positions (n, 3) float64 and triangles (m, 3) int64 of the entry `name`."""
    points = read_points(archive, name)
    dtype = np.uint16 if len(points) < 65536 else np.uint32
    corners = undelta(join_bytes(archive[f"{name}.f"], dtype))
    return points, corners.reshape(-1, 3).astype(np.int64)


def read_strands(archive: Archive, name: str) -> np.ndarray:
    """Strands (n, points a strand, 3) float64 of the entry `name`, in the head's frame."""
    steps = join_bytes(archive[f"{name}.s"], np.uint16).reshape(tuple(archive[f"{name}.n"]))
    return from_box(undelta(steps, axis=1), archive[f"{name}.b"])
