"""Swatches taken from the light: one for every colour of light in a look, and the contrast of the key with each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenes.stage import Light, Stage

from .colour import Colour, colour_difference, hue_difference, light_colour, seen_reflectance, subject_of
from .record import ColourReport, ContrastReport, LightFacts, SwatchReport
from .words import colour_words, contrast_words, main_light

_ORDER = ("key", "fill", "rim", "hair", "kicker", "background")


@dataclass(frozen=True, slots=True)
class Swatch:
    """The colour of one or several lights with the same source and gels: on ideal white paper and on the sitter."""

    lights: tuple[LightFacts, ...]
    paper: Colour
    sitter: Colour

    @property
    def name(self) -> str:
        """Names of its lights."""
        return " + ".join(light.name for light in self.lights)


def swatches_of(stage: Stage, facts: Sequence[LightFacts]) -> tuple[list[Swatch], list[str]]:
    """Swatches of the lights that shape a look, the main one first; and the names of lights whose gels pass none."""
    by_name = {light.name: light for light in stage.lights}
    reflectance = seen_reflectance(subject_of(stage).finish)
    groups: dict[tuple[str, bytes], list[LightFacts]] = {}
    dark = [f.name for f in facts if light_colour(by_name[f.name], stage.exposure) is None]
    for light in _ordered([f for f in facts if f.shapes and f.name not in dark]):
        groups.setdefault(_spectrum_key(by_name[light.name]), []).append(light)
    swatches = []
    for group in groups.values():
        first = by_name[group[0].name]
        paper = light_colour(first, stage.exposure)
        sitter = light_colour(first, stage.exposure, reflectance)
        if paper is not None and sitter is not None:
            swatches.append(Swatch(tuple(group), paper, sitter))
    return swatches, dark


def _spectrum_key(light: Light) -> tuple[str, bytes]:
    """What lights must share to share a swatch."""
    gel = b"" if light.gel is None else light.gel.name.encode() + np.round(light.gel.transmittance, 9).tobytes()
    return light.source.name, np.round(light.source.spd, 12).tobytes() + gel


def _ordered(facts: list[LightFacts]) -> list[LightFacts]:
    main = main_light(facts)

    def rank(light: LightFacts) -> tuple[bool, int]:
        return light is not main, _ORDER.index(light.role) if light.role in _ORDER else len(_ORDER)

    return sorted(facts, key=rank)


def contrasts_of(swatches: Sequence[Swatch]) -> list[ContrastReport]:
    """Contrast of the first swatch, the key's, with every other."""
    return [contrast(swatches[0], other) for other in swatches[1:]]


def contrast(first: Swatch, second: Swatch) -> ContrastReport:
    """How far two swatches lie apart."""
    apart, de00 = hue_difference(first.paper, second.paper), colour_difference(first.paper.lab, second.paper.lab)
    return ContrastReport(
        first=first.name, second=second.name,
        paper_de00=de00,
        sitter_de00=colour_difference(first.sitter.lab, second.sitter.lab),
        paper_hue_deg=apart, sitter_hue_deg=hue_difference(first.sitter, second.sitter),
        words=contrast_words(first.paper, second.paper, apart, de00),
    )  # fmt: skip


def swatch_report(swatch: Swatch) -> SwatchReport:
    """A swatch as a record."""
    first = swatch.lights[0]
    ways = [light.toward_right_up for light in swatch.lights if light.toward_right_up is not None]
    mean = (sum(way[0] for way in ways) / len(ways), sum(way[1] for way in ways) / len(ways)) if ways else None
    return SwatchReport(
        lights=[light.name for light in swatch.lights], roles=[light.role for light in swatch.lights], gel=first.gel,
        source=first.source, toward_right_up=mean,
        on_paper=_colour_report(swatch.paper), on_sitter=_colour_report(swatch.sitter),
    )  # fmt: skip


def _colour_report(colour: Colour) -> ColourReport:
    lightness, a, b = (float(value) for value in colour.lab)
    return ColourReport(
        lab=(lightness, a, b), chroma=colour.chroma, hue_deg=colour.hue_deg, words=colour_words(colour),
        shown=colour.hexadecimal, mapped=colour.mapped,
    )  # fmt: skip
