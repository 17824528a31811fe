"""The base of every record that goes into a JSON report."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """Fixed, of known fields only, and never NaN or infinite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)
