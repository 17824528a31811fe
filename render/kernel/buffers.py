"""Arrays of the host that kernels read."""

from __future__ import annotations

import drjit as dr
import mitsuba as mi
import numpy as np

_CACHE_LINE = 64


def buffer(values: np.ndarray) -> mi.Float:
    """Opaque device array of `values`, flattened and in single precision."""
    return _opaque(mi.Float, values, np.float32)


def index_buffer(values: np.ndarray) -> mi.UInt32:
    """Opaque device array of `values`, flattened, as 32-bit unsigned integers."""
    return _opaque(mi.UInt32, values, np.uint32)


def numbers(values: np.ndarray) -> mi.ArrayXf:
    """Opaque single numbers, one for each of `values` (n,): (n, 1)."""
    return mi.ArrayXf([dr.opaque(mi.Float, float(value)) for value in values])


def _opaque(kind: type, values: np.ndarray, number: type) -> mi.Float | mi.UInt32:
    array = kind(_aligned(np.asarray(values, number).ravel()))
    dr.make_opaque(array)
    return array


def _aligned(values: np.ndarray) -> np.ndarray:
    """Copy of `values` (n,) that begins on a cache line.

    Dr.Jit reads the memory of a NumPy array in place. Rows are loaded whole only where that memory is aligned; as NumPy
    leaves this to chance, the same launch would be another kernel in every process, compiled anew each time.
    """
    room = np.empty(values.nbytes + _CACHE_LINE, np.uint8)
    start = -room.ctypes.data % _CACHE_LINE
    copy = room[start : start + values.nbytes].view(values.dtype)
    copy[:] = values
    return copy
