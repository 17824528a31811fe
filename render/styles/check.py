"""Whether a traced key draws the style it was placed for: what is found on the face, against what is expected."""

from __future__ import annotations

from materials import KeyfallError
from scenes.stage import Light, Stage
from scenes.styles import style_named

from ..cache import Cache
from .facts import FaceFacts, facts_of
from .reading import read_key, read_skin, relief_of
from .rules import StyleCheck, checks_of, in_words


class StyleReport(FaceFacts):
    """What the key of a set draws on the face, held against a style.

    Attributes
    ----------
    style, key : the style looked for, and the name of the light.
    checks, passed : everything looked at, and whether all of it agrees. words : the face in one sentence.
    """

    style: str
    key: str
    checks: tuple[StyleCheck, ...]
    passed: bool
    words: str


def check_style(
    stage: Stage,
    style: str,
    key: str,
    *,
    device: str = "auto",
    threads: int | None = None,
    cache: Cache | None = None,
) -> StyleReport:
    """Trace what the key does to the face and hold it against a style.

    Parameters
    ----------
    stage : what `scenes.build_stage` gives. style : one of `scenes.styles.STYLES`. key : name of the light.
    device, threads, cache : as for `render.trace`.

    Raises
    ------
    KeyfallError
        For an unknown style or light, a key without a place, one that does not reach the face, or (BackendError) when
        no device is usable.
    """
    chosen = style_named(style)
    facts = read_face(stage, key, device=device, threads=threads, cache=cache)
    checks = checks_of(chosen, facts)
    told = {name: getattr(facts, name) for name in FaceFacts.model_fields}
    return StyleReport(
        **told, style=style, key=key, checks=checks, passed=all(c.passed for c in checks), words=in_words(facts)
    )


def read_face(
    stage: Stage, key: str, *, device: str = "auto", threads: int | None = None, cache: Cache | None = None
) -> FaceFacts:
    """Trace what the key does to the face, whatever the style; see `check_style` for parameters and errors."""
    light = _light(stage, key)
    cache = cache if cache is not None else Cache()
    relief = relief_of(stage)
    reading = read_key(stage, light, relief, device, threads, cache)
    if not reading.reached:
        raise KeyfallError(
            f"No light of '{key}' reaches the face, so no style can be read from it. "
            "Check what stands in its way, and where it is aimed."
        )
    return facts_of(stage, light, reading, read_skin(stage, relief, device, threads, cache))


def _light(stage: Stage, name: str) -> Light:
    light = next((light for light in stage.lights if light.name == name), None)
    if light is None:
        names = ", ".join(light.name for light in stage.lights)
        raise KeyfallError(f"There is no light '{name}' on this set. Lights: {names}.")
    if light.fixture is None:
        raise KeyfallError(f"The light '{name}' has no place on the set, so it cannot be read as a key. Name another.")
    return light
