"""What kind of light each one on the set is, for its symbol and its words."""

from __future__ import annotations

from dataclasses import dataclass

from scenes.kit import stock_kit
from scenes.modifiers import Modifier
from scenes.stage import Fixture, Light

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

_FORM_OF_KIND = {
    "bulb": "bulb", "reflector": "reflector", "snoot": "snoot", "dish": "dish", "ring": "ring", "panel": "panel",
    "tube": "tube", "fresnel": "lens", "projector": "projector", "window": "window", "photometric": "measured",
}  # fmt: skip
_FORM_BY_WORD = (
    ("snoot", "snoot"), ("octa", "octabox"), ("shoot-through", "shoot-through"), ("umbrella", "umbrella"),
    ("box", "box"), ("strip", "box"), ("dish", "dish"), ("ring", "ring"), ("panel", "panel"), ("tube", "tube"),
    ("fresnel", "lens"), ("lens", "lens"), ("projector", "projector"), ("window", "window"), ("bulb", "bulb"),
    ("reflector", "reflector"), ("photometric", "measured"),
)  # fmt: skip
_PLAIN = {
    "disk": "disk", "rectangle": "rectangle", "octagon": "octagon", "sphere": "sphere", "spot": "spot", "tube": "rod",
}  # fmt: skip
_FRONT_BY_WORD = (
    ("fabric", "fabric-grid"), ("grid", "grid"), ("door", "doors"), ("sock", "sock"), ("frame", "frame"),
)  # fmt: skip


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
    """The form of a light, by its modifiers in the stock kit, by their names, and where neither tells by its optics."""
    if light.distant is not None:
        return Form("sun" if light.distant.kind == "sun" else "sky")
    if light.fixture is None:
        return Form("ambient")
    if look_of(light) == "window":
        return Form("window")
    if not light.modifiers:
        bare = light.head is not None and bool(light.head.name)
        return Form("bulb" if bare else _PLAIN[light.fixture.shape])
    stock = stock_kit().modifiers
    forms = [found for name in light.modifiers if (found := _form(name, stock.get(name), light.fixture))]
    fronts = [found for name in light.modifiers if (found := _front(name, stock.get(name)))]
    return Form(forms[0] if forms else _by_optics(light.fixture), _checked(tuple(fronts), light.fixture))


def _form(name: str, modifier: Modifier | None, fixture: Fixture) -> str | None:
    if _front(name, modifier):
        return None
    kind = str(modifier.kind) if modifier is not None else name
    if kind == "softbox":
        return "octabox" if fixture.shape == "octagon" else "box"
    if kind == "umbrella":
        return "shoot-through" if fixture.optics.back_share else "umbrella"
    if kind in _FORM_OF_KIND:
        return _FORM_OF_KIND[kind]
    return next((form for word, form in _FORM_BY_WORD if word in name.lower()), None)


def _front(name: str, modifier: Modifier | None) -> str | None:
    kind = str(modifier.kind) if modifier is not None else name.lower()
    if kind in FRONT_WORDS:
        return kind
    if modifier is not None:
        return None
    return next((front for word, front in _FRONT_BY_WORD if word in kind), None)


def _checked(fronts: tuple[str, ...], fixture: Fixture) -> tuple[str, ...]:
    """Fronts by name, and those that only the optics tell of."""
    cells, found = fixture.optics.cells, list(fronts)
    if cells is not None and not {"grid", "fabric-grid"} & set(found):
        found.append("fabric-grid" if cells.kind == "square" else "grid")
    if fixture.optics.edges is not None and "doors" not in found:
        found.append("doors")
    return tuple(found)


def _by_optics(fixture: Fixture) -> str:
    """The likeliest form of a modifier that a name does not tell."""
    optics = fixture.optics
    if optics.slide is not None:
        return "projector"
    if fixture.hole_m > 0:
        return "ring"
    if fixture.shape in ("sphere", "tube", "spot"):
        return {"sphere": "bulb", "tube": "tube", "spot": "lens"}[fixture.shape]
    if fixture.shape == "octagon":
        return "octabox"
    if fixture.shape == "rectangle":
        return "box" if optics.source is not None else "panel"
    if optics.source is not None and optics.source.depth_m > fixture.size_m[0]:
        return "snoot"
    return "reflector" if fixture.size_m[0] < 0.35 else "dish"
