"""Captions of a mood board in a photographer's words; every statement follows from a number of the look."""

from __future__ import annotations

import math
from collections.abc import Sequence

from .colour import Colour
from .record import LightFacts, SetFacts, SwatchReport

ALIKE_DE00 = 4.0
"""Difference on paper under which two lights count as alike in a picture (common practice, no source)."""

_FAINT_CHROMA, _PALE_CHROMA = 12.0, 35.0
_FAINT = ((20, "pink"), (115, "warm"), (190, "green"), (300, "cool"), (360, "pink"))
_HUES = (
    (28, "rose"), (48, "red"), (68, "orange"), (88, "amber"), (110, "yellow"), (130, "lime"), (170, "green"),
    (216, "sea-green"), (232, "cyan"), (262, "sky-blue"), (300, "blue"), (309, "deep blue"), (317, "violet"),
    (330, "purple"), (350, "magenta"), (360, "rose"),
)  # fmt: skip
_WARM_TO, _WARM_FROM, _COOL = 112.0, 345.0, (165.0, 305.0)
_APART = (
    (15.0, "the same hue"), (40.0, "neighbours"), (75.0, "a step apart"), (120.0, "well apart"), (150.0, "far apart"),
    (172.0, "nearly opposite"), (180.0, "opposite"),
)  # fmt: skip
_SOFTNESS = ((5.0, "hard"), (12.0, "fairly hard"), (24.0, "fairly soft"), (45.0, "soft"), (360.0, "very soft"))
_HEIGHTS = ((-10.0, "low"), (15.0, ""), (35.0, "raised"), (65.0, "high"), (90.0, "overhead"))
_TONES = ((-4.0, "near-black"), (-2.0, "dark"), (-0.7, "dim"), (0.7, "mid-toned"), (1.8, "light"), (99.0, "bright"))
_KEYS = ((-3.0, "low in key"), (-1.3, "on the dark side"), (0.3, "middle tones"), (99.0, "high in key"))
_RELIEF = ((0.7, "evenly lit"), (1.7, "gently modelled"), (3.0, "in clear relief"), (99.0, "cut by shadow"))
_EVEN_STOPS, _SMALLEST_BACKGROUND = 0.35, 0.02
_GREYS = {"white", "grey", "black", "charcoal"}
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


def _step(scale: Sequence[tuple[float, str]], value: float) -> str:
    return next((word for most, word in scale if value <= most), scale[-1][1])


def colour_words(colour: Colour) -> str:
    """A colour of light, e.g. "amber", "pale violet", "faintly cool", "white"."""
    hue, chroma = colour.hue_deg, colour.chroma
    if hue is None:
        return "white"
    if chroma < _FAINT_CHROMA:
        return f"faintly {_step(_FAINT, hue)}"
    name = _step(_HUES, hue)
    if chroma >= _PALE_CHROMA:
        return name
    if name in ("orange", "amber"):
        return "warm"
    return "cool" if name in ("sky-blue", "blue") else f"pale {name}"


def warmth(hue_deg: float | None) -> str | None:
    """ "warm", "cool", or None for hues that are neither, by the hue angle h_ab."""
    if hue_deg is None:
        return None
    if hue_deg <= _WARM_TO or hue_deg >= _WARM_FROM:
        return "warm"
    return "cool" if _COOL[0] <= hue_deg <= _COOL[1] else None


def contrast_words(first: Colour, second: Colour, hue_apart_deg: float | None, de00: float) -> str:
    """How two lights' colours on paper stand to each other, e.g. "nearly opposite, warm against cool"."""
    a, b = colour_words(first), colour_words(second)
    if de00 < ALIKE_DE00:
        return f"alike, both {a}" if a == b else f"nearly alike, {a} and {b}"
    warm = warmth(first.hue_deg), warmth(second.hue_deg)
    against = None not in warm and warm[0] != warm[1]
    if hue_apart_deg is None or min(first.chroma, second.chroma) < _FAINT_CHROMA:
        return f"{a} {'against' if against else 'beside'} {b}"
    words = _step(_APART, hue_apart_deg)
    return f"{words}, {warm[0]} against {warm[1]}" if against else words


def warm_against_cool(swatches: Sequence[SwatchReport]) -> str | None:
    """Whether the main light's colour and another's are warm and cool, in words, for colours that are seen as such."""
    if not swatches:
        return None
    first = warmth(swatches[0].on_paper.hue_deg)
    for other in swatches[1:]:
        second = warmth(other.on_paper.hue_deg)
        strong = max(swatches[0].on_paper.chroma, other.on_paper.chroma) >= _FAINT_CHROMA
        if first and second and first != second and strong:
            return f"{first} against {second}"
    return None


def stops_in_words(stops: float) -> str:
    """Stops to the nearest half, e.g. "half a stop", "two and a half stops"."""
    halves = round(2 * abs(stops))
    whole, half = divmod(halves, 2)
    if halves <= 2:
        return ("less than half a stop", "half a stop", "a stop")[halves]
    if whole >= len(_COUNTS) - 1 and halves > 2 * (len(_COUNTS) - 1):
        return "more than eight stops"
    if whole == 1:
        return "a stop and a half"
    return f"{_COUNTS[whole]} and a half stops" if half else f"{_COUNTS[whole]} stops"


def place_words(light: LightFacts) -> str:
    """Where a light comes from as the camera sees it, e.g. "from behind on the right"."""
    if light.azimuth_deg is None or light.elevation_deg is None:
        return "from all around" if light.kind != "sky" else "from the whole sky"
    if light.elevation_deg > _HEIGHTS[-2][0]:
        return "from overhead"
    turn, side = abs(light.azimuth_deg), "right" if light.azimuth_deg > 0 else "left"
    if turn <= 12:
        return "from the front"
    if turn <= 70:
        return f"from camera {side}"
    if turn <= 110:
        return f"from the side, camera {side}"
    return f"from behind on the {side}" if turn <= 165 else "from behind"


def quality_words(light: LightFacts) -> str:
    """Height and hardness, e.g. "high and soft"; empty for light from all around."""
    if light.azimuth_deg is None or light.elevation_deg is None or light.seen_angle_deg is None:
        return ""
    height = "" if light.elevation_deg > _HEIGHTS[-2][0] else _step(_HEIGHTS, light.elevation_deg)
    return " and ".join(word for word in (height, _step(_SOFTNESS, light.seen_angle_deg)) if word)


def main_light(lights: Sequence[LightFacts]) -> LightFacts | None:
    """The key; else, of the lights on the sitter, the one that reads most at the face."""
    shaping = [light for light in lights if light.shapes] or list(lights)
    keys = [light for light in shaping if light.role == "key"]
    if keys:
        return keys[0]
    on_face = [light for light in shaping if light.face_stops is not None and not light.aims_behind]
    return max(on_face or shaping, key=_face_stops, default=None)


def _face_stops(light: LightFacts) -> float:
    return -math.inf if light.face_stops is None else light.face_stops


def caption_of(lights: Sequence[LightFacts], facts: SetFacts, swatches: Sequence[SwatchReport]) -> str:
    """Caption of a look from its numbers."""
    colours = {name: swatch.on_paper.words for swatch in swatches for name in swatch.lights}
    main = main_light([light for light in lights if light.name in colours])
    sentences = []
    if main is None:
        sentences.append("No light reaches the picture")
    else:
        sentences.append(_lights_sentence(main, lights, colours, facts))
    sentences.append(_set_sentence(lights, facts, colours))
    if facts.haze is not None:
        sentences.append("haze in the air" if facts.haze == "none" else f"the beam of {facts.haze} stands in the haze")
    sentences.append(_mood(main, facts, swatches))
    return " ".join(f"{text[0].upper()}{text[1:]}." for text in sentences if text)


def _lights_sentence(main: LightFacts, lights: Sequence[LightFacts], colours: dict[str, str], facts: SetFacts) -> str:
    told = f"{colours[main.name]} {_noun(main)} {place_words(main)}"
    quality = quality_words(main)
    if quality:
        told += f", {quality}"
    others = [light for light in lights if light is not main and light.name in colours and not light.aims_behind]
    more = [_other(light, colours, facts) for light in others]
    return "; ".join([told, *list(dict.fromkeys(more))[:3]])


def _other(light: LightFacts, colours: dict[str, str], facts: SetFacts) -> str:
    colour = colours[light.name]
    if light.role == "fill":
        under = f", {_under(facts)}" if facts.key_to_fill is not None else f" {place_words(light)}"
        return f"{colour} fill{under}"
    pale = colour == "white" or colour.startswith("faintly")
    noun = f" {_noun(light)}" if pale or light.kind in ("sun", "sky", "ambient") else ""
    return f"{colour}{noun} {place_words(light)}"


def _under(facts: SetFacts) -> str:
    stops = math.log2(facts.key_to_fill or 1.0)
    if abs(stops) < 0.25:
        return "level with the key"
    return f"{stops_in_words(stops)} {'under' if stops > 0 else 'over'} the key"


def _noun(light: LightFacts) -> str:
    if light.kind in ("sun", "sky"):
        return light.kind if light.kind == "sun" else "light"
    if light.role == "key":
        return "key"
    return "light"


def _set_sentence(lights: Sequence[LightFacts], facts: SetFacts, colours: dict[str, str]) -> str:
    parts = []
    if facts.background_stops is not None and facts.background_share >= _SMALLEST_BACKGROUND:
        told = f"{_step(_TONES, facts.background_stops)} {_background_noun(facts.background_finish)}"
        washes = [colours[light.name] for light in lights if light.aims_behind and light.name in colours]
        if washes:
            told += f" lit {' and '.join(dict.fromkeys(washes))}" if set(washes) != {"white"} else " with its own light"
        parts.append(told)
    if facts.cheeks_apart_stops is not None:
        even = facts.cheeks_apart_stops < _EVEN_STOPS
        under = f"the shadow side {stops_in_words(facts.cheeks_apart_stops)} under"
        parts.append("both sides of the face even" if even else under)
    return ", ".join(parts)


def _background_noun(finish: str | None) -> str:
    *tint, last = (finish or "").split("-")
    noun = {"paper": "paper", "paint": "wall"}.get(last, "background")
    return noun if noun == "background" or set(tint) & _GREYS else " ".join([*tint, noun])


def _mood(main: LightFacts | None, facts: SetFacts, swatches: Sequence[SwatchReport]) -> str:
    words = [_step(_KEYS, facts.picture_stops)]
    if facts.cheeks_apart_stops is not None:
        words.append(_step(_RELIEF, facts.cheeks_apart_stops))
    against = warm_against_cool(swatches)
    if against is not None:
        words.append(against)
    elif main is not None and all(swatch.on_paper.chroma < _FAINT_CHROMA for swatch in swatches):
        words.append("no colour added")
    return ", ".join(words)
