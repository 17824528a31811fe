"""Records of a mood board: every number and word that stands on it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from ..outputs import CHECKSUMS
from ..record import Record

FORMAT: Literal[1] = 1


class LightFacts(Record):
    """One light of a look, as its caption uses it; null where a light has no such number."""

    name: str
    role: str
    kind: Literal["flash", "continuous", "ambient", "sun", "sky"]
    source: str
    gel: str | None
    azimuth_deg: float | None = Field(
        description="seen from the face, 0 the camera's direction, positive to camera right"
    )
    elevation_deg: float | None = Field(description="above the face")
    toward_right_up: tuple[float, float] | None = Field(
        description="direction from the face to the light as the camera sees it; parts of a unit vector"
    )
    distance_m: float | None = Field(description="from the face")
    seen_angle_deg: float | None = Field(
        description="full angle of a disk as large as the luminous area, seen from the face; 180 from all around"
    )
    face_stops: float | None = Field(description="alone at the face, flat toward it (ambient: dome), from the aperture")
    wall_under_face_stops: float | None
    aims_behind: bool = Field(description="turned at what is behind the sitter")
    share_led: float = Field(description="share of the frame where it gives at least a fifth of the luminance")
    shapes: bool = Field(description="whether it shapes the look's colour, so that it has a swatch")


class SetFacts(Record):
    """Brightness of a look's parts, in stops from mid-grey; null where the picture has no such part."""

    picture_stops: float = Field(description="median of the frame")
    face_stops: float | None
    background_stops: float | None
    background_share: float = Field(description="share of the frame that is background")
    background_finish: str | None
    cheeks_apart_stops: float | None = Field(description="between the two cheeks, all lights, flat on each")
    key_to_fill: float | None
    haze: str | None = Field(description='the light whose beam shows most, "none", or null on a clear set')


class ColourReport(Record):
    """A colour at the lightness of its kind."""

    lab: tuple[float, float, float] = Field(description="CIELAB under D65 after adaptation, before gamut mapping")
    chroma: float
    hue_deg: float | None = Field(description="h_ab; null for a neutral, whose chroma is under 5")
    words: str
    shown: str = Field(description="sRGB as #rrggbb")
    mapped: bool = Field(description="more saturated than sRGB can show, so shown paler at the same hue and lightness")


class SwatchReport(Record):
    """The colour of one light, or of several with the same source and gels."""

    lights: list[str]
    roles: list[str]
    gel: str | None
    source: str
    toward_right_up: tuple[float, float] | None = Field(description="where the light comes from, as the camera sees it")
    on_paper: ColourReport = Field(description="ideal white paper under this light alone")
    on_sitter: ColourReport = Field(description="the sitter's skin or finish under this light alone")


class ContrastReport(Record):
    """The key's colour against another's."""

    first: str
    second: str
    paper_de00: float = Field(description="CIEDE2000 between the papers, at equal lightness")
    sitter_de00: float = Field(description="CIEDE2000 between the skins, at equal lightness")
    paper_hue_deg: float | None = Field(description="between the hue angles, 0 to 180; null beside a neutral")
    sitter_hue_deg: float | None
    words: str


class LookReport(Record):
    """One look."""

    title: str
    caption: str
    caption_by: Literal["light", "photographer"]
    page: int
    lead: bool
    picture_px: tuple[int, int]
    sitter: str = Field(description="finish the swatches were computed on, such as a skin tone")
    lights: list[LightFacts]
    dark_lights: list[str] = Field(description="lights that are on and of which no light passes the gels")
    facts: SetFacts
    swatches: list[SwatchReport]
    contrasts: list[ContrastReport]


class KitItem(Record):
    """Something to pack."""

    name: str
    kind: Literal["head", "modifier", "gel"]
    at_once: int = Field(description="most needed in any one look")
    looks: int = Field(description="number of looks that use it")


class BoardReport(Record):
    """Everything on a mood board."""

    format: Literal[1] = FORMAT
    title: str
    client: str
    note: str
    theme: Literal["light", "dark"]
    paper: Literal["a4", "letter"]
    pages: int
    paper_lightness: float = Field(description="L* of every colour on paper")
    sitter_lightness: float = Field(description="L* of every colour on the sitter")
    method: str
    looks: list[LookReport]
    kit: list[KitItem]
    not_packed: list[str] = Field(description="light that nobody brings: sun, sky, ambient")
    notes: list[str] = Field(
        default=[], description="about the board itself, such as characters that cannot be printed"
    )
    checksums: dict[str, str] = CHECKSUMS
