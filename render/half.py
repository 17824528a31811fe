"""Half-precision pictures: how transport is kept on disk and, until it is needed, in memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_TOP = 2.0**15
MOST_EXPONENT = 120


@dataclass(frozen=True, slots=True)
class Half:
    """Float16 `values` that stand for ``values / 2^exponent``; the exponent puts the peak at the top of the range, so
    11 bits hold over 29 stops below it."""

    values: np.ndarray
    exponent: int

    @classmethod
    def of(cls, values: np.ndarray) -> Half:
        """Half-precision copy of finite values."""
        peak = max(float(values.max(initial=0.0)), -float(values.min(initial=0.0)))
        exponent = min(int(np.floor(np.log2(_TOP / peak))), MOST_EXPONENT) if peak > 0 else 0
        half = np.empty(values.shape, np.float16)
        for part, target in zip(values, half, strict=True) if values.ndim > 1 else [(values, half)]:
            target[...] = part * np.float32(2.0**exponent)  # band by band, so that no second picture is in memory
        return cls(half, exponent)

    @classmethod
    def from_record(cls, record: dict[str, np.ndarray], name: str) -> Half:
        """What `to_record` stored under `name`."""
        return cls(record[name], int(record[f"{name}_exponent"]))

    def to_record(self, name: str) -> dict[str, np.ndarray]:
        """Arrays to store."""
        return {name: self.values, f"{name}_exponent": np.array(self.exponent)}

    def rows(self, first: int, end: int) -> np.ndarray:
        """Float32 values of some rows (the last axis but one)."""
        return self.values[..., first:end, :].astype(np.float32) * np.float32(2.0**-self.exponent)

    def unpack(self, out: np.ndarray | None = None) -> np.ndarray:
        """Float32 values, into `out` where given."""
        target = np.empty(self.values.shape, np.float32) if out is None else out
        target[...] = self.values
        target *= np.float32(2.0**-self.exponent)
        return target
