"""What the tables of a scene file share: strict types, names looked up in lists, cross-checks that report together."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from ..findings import Problem

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Flag = Annotated[bool, Field(strict=True)]
Whole = Annotated[int, Field(strict=True)]
Positive = Annotated[Number, Field(gt=0)]
Length = Annotated[Number, Field(gt=0, le=100)]
Angle = Annotated[Number, Field(ge=-360, le=360)]
Coordinate = Annotated[Number, Field(ge=-100, le=100)]
Kelvin = Annotated[Number, Field(ge=1000, le=25000)]


def _fraction(value: Any) -> Any:
    """Turn "1/8" into 0.125; leave everything else to the type check."""
    if not isinstance(value, str):
        return value
    top, slash, bottom = value.partition("/")
    try:
        return float(top) / float(bottom) if slash else float(top)
    except (ValueError, ZeroDivisionError):
        raise PydanticCustomError("scene_fraction", "'{text}' is not a fraction", {"text": value}) from None


def _fraction_of(low: dict[str, float], high: float) -> Any:
    """Type of a number or a fraction in quotes, with bounds given as in JSON Schema."""
    bounds = Field(ge=low.get("minimum"), gt=low.get("exclusiveMinimum"), le=high)
    words = {"type": "string", "pattern": r"^[0-9.]+(/[0-9.]+)?$", "x-fraction": True}
    schema = {"anyOf": [{"type": "number", **low, "maximum": high}, words]}
    return Annotated[Number, bounds, BeforeValidator(_fraction), WithJsonSchema(schema)]


def _moment(value: Any) -> Any:
    """A date and time with its offset from UTC, from TOML's own or from text in ISO form."""
    moment = value
    if isinstance(value, str):
        try:
            moment = datetime.fromisoformat(value)
        except ValueError:
            moment = None
    if not isinstance(moment, datetime) or moment.utcoffset() is None:
        raise PydanticCustomError("scene_moment", "'{text}' is no date and time with an offset", {"text": str(value)})
    return moment


def named(kind: str) -> Any:
    """A text type whose value comes from the list `kind` (see `scenes.names`), e.g. "gel" or "finish"."""
    return Field(json_schema_extra={"x-names": kind}, min_length=1)


Finish = Annotated[str, named("finish")]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=40)]
Place = Annotated[list[Coordinate], Field(min_length=3, max_length=3)]
Aim = Annotated[str, named("landmark")] | Place
if TYPE_CHECKING:
    Power = float
    Shutter = float
    Step = float
    Moment = datetime
else:
    Power = _fraction_of({"minimum": 1e-6}, 1)
    Shutter = _fraction_of({"minimum": 1e-5}, 3600)
    Step = _fraction_of({"minimum": 0.01}, 3)
    Moment = Annotated[datetime, BeforeValidator(_moment), WithJsonSchema({"type": "string", "format": "date-time"})]
Side = Literal["front", "back", "left", "right", "ceiling", "floor"]


class Table(BaseModel):
    """A table of the scene file: unknown keys are errors, values are never converted, and it cannot change."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, use_attribute_docstrings=False)

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table; yields every problem found."""
        yield from ()

    @model_validator(mode="after")
    def _report_problems(self) -> Table:
        found = tuple(p for p in self.problems() if p.severity == "error")
        if found:
            text = " ".join(f"{p.message} {p.fix}".strip() for p in found)
            raise PydanticCustomError("scene_problems", "{text}", {"text": text, "problems": found})
        return self

    def given(self, *keys: str) -> list[str]:
        """Those of `keys` that the file sets."""
        return [key for key in keys if key in self.model_fields_set]
