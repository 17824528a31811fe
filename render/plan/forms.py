"""What kind of light each one on the set is, for its symbol and its words."""

from __future__ import annotations

from dataclasses import dataclass

from scenes.stage import Light

from ..rigged.housing import look_of

FORM_WORDS = {
    "bulb": "bare bulb",
    "reflector": "reflector",
    "snoot": "snoot",
    "dish": "dish",
    "box": "softbox",
    "octabox": "octabox",
    "umbrella": "umbrella",
    "shoot-through": "shoot-through umbrella",
    "ring": "ring light",
    "panel": "LED panel",
    "tube": "tube",
    "lens": "lens spot",
    "projector": "projector",
    "window": "window",
    "measured": "measured luminaire",
    "disk": "plain disk",
    "rectangle": "plain rectangle",
    "octagon": "plain octagon",
    "sphere": "plain ball",
    "spot": "plain spot",
    "rod": "plain tube",
    "sun": "sun",
    "sky": "sky",
    "ambient": "ambient light",
}
"""Every form of light and what it is called in the key."""

FRONT_WORDS = {
    "grid": "honeycomb grid",
    "fabric-grid": "fabric grid",
    "doors": "barn doors",
    "sock": "diffusion sock",
    "frame": "diffusion frame",
}
"""What may stand in front of it."""

_PLAIN = {
    "disk": "disk", "rectangle": "rectangle", "octagon": "octagon", "sphere": "sphere", "spot": "spot", "tube": "rod",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Form:
    """A light's symbol: its `form` of `FORM_WORDS`, and what stands in front of it, of `FRONT_WORDS`."""

    form: str
    fronts: tuple[str, ...] = ()

    def words(self) -> str:
        """As the key of symbols says it."""
        return " with ".join((FORM_WORDS[self.form], *(FRONT_WORDS[front] for front in self.fronts[:1])))

    @property
    def far(self) -> bool:
        """Whether it comes from no place on the set."""
        return self.form in ("sun", "sky", "ambient")


def form_of(light: Light) -> Form:
    """The form of a light, as its modifiers say."""
    if light.distant is not None:
        return Form("sun" if light.distant.kind == "sun" else "sky")
    if light.fixture is None:
        return Form("ambient")
    if look_of(light) == "window":
        return Form("window")
    if not light.modifiers:
        bare = light.head is not None and bool(light.head.name)
        return Form("bulb" if bare else _PLAIN[light.fixture.shape])
    return Form(light.appearance.symbol if light.appearance is not None else "bulb", light.fronts)
