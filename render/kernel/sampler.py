"""Stateless low-discrepancy numbers: padded, Owen-scrambled pairs of Sobol points.

Every (pixel, depth, use) has its own shuffled and scrambled copy of the first two Sobol dimensions, so any
number is a pure function of its indices: no generator state rides through the loop.

References
----------
Burley 2020, Practical hash-based Owen scrambling, JCGT 9(4), sections 3-5.
Laine and Karras 2011, Stratified sampling for stochastic transparency, section 3 (the scrambling hash).
"""

from __future__ import annotations

import drjit as dr
import mitsuba as mi

_HALF_OPEN = 2.0**-32
_BELOW_ONE = 1.0 - 2.0**-24


def mix(a: mi.UInt32, b: mi.UInt32 | int) -> mi.UInt32:
    """Combine two integers into one well-mixed one (multiply-xorshift avalanche)."""
    h = a ^ (mi.UInt32(b) * 0x9E3779B9 + 0x7F4A7C15)
    h = (h ^ (h >> 16)) * 0x7FEB352D
    h = (h ^ (h >> 15)) * 0x846CA68B
    return h ^ (h >> 16)


def _scramble_reversed(x: mi.UInt32, seed: mi.UInt32) -> mi.UInt32:
    """Owen scrambling of bit-reversed `x`: each bit flips by a hash of the bits below it."""
    x = x + seed
    x = x ^ (x * 0x6C50B47C)
    x = x ^ (x * 0xB82F1E52)
    x = x ^ (x * 0xC7AFE638)
    return x ^ (x * 0x8D22F6E6)


def _pascal(x: mi.UInt32) -> mi.UInt32:
    """Second Sobol generator matrix (Pascal's triangle modulo 2) applied to a bit-reversed index."""
    x = x ^ (x << 16)
    x = x ^ ((x & 0x00FF00FF) << 8)
    x = x ^ ((x & 0x0F0F0F0F) << 4)
    x = x ^ ((x & 0x33333333) << 2)
    return x ^ ((x & 0x55555555) << 1)


def _to_unit(x: mi.UInt32) -> mi.Float:
    return dr.minimum(mi.Float(x) * _HALF_OPEN, _BELOW_ONE)


def pair(seed: mi.UInt32, index: mi.UInt32) -> tuple[mi.Float, mi.Float]:
    """Point `index` of the scrambled (0, 2)-sequence that `seed` names, each coordinate in [0, 1)."""
    shuffled = _scramble_reversed(dr.brev(index), seed)  # bit-reversed shuffled index = first Sobol coordinate
    first = dr.brev(_scramble_reversed(dr.brev(shuffled), mix(seed, 1)))
    second = dr.brev(_scramble_reversed(dr.brev(_pascal(shuffled)), mix(seed, 2)))
    return _to_unit(first), _to_unit(second)


def unit(bits: mi.UInt32) -> mi.Float:
    """A number in [0, 1) from hashed bits: independent draws, for loops whose length chance decides."""
    return mi.Float(bits >> 8) * 2**-24
