"""A key style applied to a scene."""

from __future__ import annotations

from ..model import Scene
from ..open_set import OpenSet, open_set
from .placing import styled
from .style import StyledScene, key_of, style_named


def apply_style(
    scene: Scene | OpenSet, style: str, key: str | None = None, *, turn: bool = True
) -> StyledScene:
    """The scene with its key light moved into a style, and the sitter or a fill where the style asks for it.

    The key keeps its head, modifiers, gels, power and distance from the face, and the side of the face it is on.

    Parameters
    ----------
    style : one of `STYLES`. key : name of the light to move; the first with the role key if left out.
    turn : whether the sitter may be turned where the style asks for it.

    Raises
    ------
    KeyfallError
        For an unknown style or light, a key that cannot be moved, or (SceneError) when no place in the style's window
        is free; its text is what the check of the scene finds there.
    """
    chosen = style_named(style)
    table = scene.scene if isinstance(scene, OpenSet) else scene
    name = key_of(table, key)
    if not isinstance(scene, OpenSet):
        scene = open_set(scene.model_dump(mode="json", exclude_unset=True), scene.folder)
    return styled(scene, chosen, name, turn)
