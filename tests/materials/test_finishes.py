"""Finishes, hair, eyes and teeth: physical, named, and in the order of lightness and hue their names promise."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from materials import (
    FINISHES,
    HAIR_COLOURS,
    IRIS_COLOURS,
    SKIN_TONES,
    Finish,
    KeyfallError,
    UnknownName,
    eye_finish,
    hair_finish,
    hair_reflectance,
    make_finish,
    make_source,
    skin_finish,
    skin_reflectance,
    teeth_finish,
)
from tests.materials.chart import lab_under

D65 = make_source("D65").spd
EVERY = [
    *(make_finish(name) for name in FINISHES),
    *(skin_finish(name) for name in SKIN_TONES),
    *(hair_finish(name) for name in HAIR_COLOURS),
    *(eye_finish(name) for name in IRIS_COLOURS),
    teeth_finish(),
]
NEEDED = {
    *("white-paint", "grey-paint", "black-paint", "charcoal-paint", "white-paper", "grey-paper", "black-paper"),
    *("gloss-black-paper", "translucent-paper", "concrete", "oak-floor", "black-floor", "white-cotton", "navy-wool"),
    *("bottle-green-knit", "brick-red-crepe", "shoe-leather", "grey-card", "white-card", "plaster"),
}


def test_finishes_reflect_less_than_they_receive() -> None:
    for finish in EVERY:
        assert finish.reflectance.shape == (4, 401), finish.name
        assert finish.reflectance.min() >= 0, finish.name
        assert finish.reflectance.max() < 0.92, f"nothing on a set is whiter than {finish.name} would be"
        assert finish.description, finish.name


def test_the_usual_surfaces_are_in_stock() -> None:
    assert set(FINISHES) >= NEEDED


def test_test_cards_are_what_they_say_under_every_light() -> None:
    for name, share in (("grey-card", 0.18), ("white-card", 0.90)):
        card = make_finish(name)
        np.testing.assert_allclose(card.reflectance, share, rtol=1e-12)
        assert card.coat == 0


@pytest.mark.parametrize("word", ["white", "grey", "black"])
def test_neutral_names_are_neutral(word: str) -> None:
    for name in FINISHES:
        if name.startswith(word):
            lightness, a, b = lab_under(make_finish(name).reflectance[0], D65)
            assert np.hypot(a, b) < 4.5, name
            assert {"white": lightness > 88, "grey": 30 < lightness < 60, "black": lightness < 25}[word], name


@pytest.mark.parametrize(
    ("name", "hue_deg"),
    # plain colour words against CIELAB hue angle, tolerance 30 degrees (common usage, no source)
    [("navy-wool", 280), ("bottle-green-knit", 170), ("brick-red-crepe", 30), ("mustard-knit", 80), ("teal-silk", 205),
     ("plum-paint", 330), ("sky-paper", 240), ("terracotta-paint", 50), ("grass", 110)],
)  # fmt: skip
def test_coloured_names_have_their_hue(name: str, hue_deg: float) -> None:
    _, a, b = lab_under(make_finish(name).reflectance[0], D65)
    away = (np.degrees(np.arctan2(b, a)) - hue_deg + 180) % 360 - 180
    assert abs(away) < 30


def test_hair_darkens_with_either_pigment_and_lightens_with_grey() -> None:
    levels = [hair_reflectance(e, 0.3)[170] for e in (0, 0.5, 2, 8, 20)]
    assert all(after < before for before, after in pairwise(levels))
    assert hair_reflectance(2, 2)[170] < hair_reflectance(2, 1)[170]
    assert hair_reflectance(8, 0.2, 0.5)[170] > hair_reflectance(8, 0.2)[170]


def test_hair_colours_run_from_black_to_white() -> None:
    order = ("black", "dark-brown", "brown", "light-brown", "dark-blond", "blond", "white")
    lightness = [lab_under(hair_finish(name).reflectance[0], D65)[0] for name in order]
    assert lightness == sorted(lightness)
    assert lightness[0] < 18
    assert lightness[-1] > 82


def test_red_hair_is_the_reddest() -> None:
    redness = {name: lab_under(hair_finish(name).reflectance[0], D65)[1] for name in HAIR_COLOURS}
    assert set(sorted(redness, key=redness.__getitem__)[-2:]) == {"ginger", "auburn"}


def test_eyes_are_told_apart_by_hue() -> None:
    colours = {name: lab_under(eye_finish(name).reflectance[1], D65) for name in IRIS_COLOURS}
    assert colours["blue"][2] < -10
    assert colours["green"][1] < -5
    assert colours["brown"][2] > 10
    assert colours["dark-brown"][0] < colours["brown"][0] < colours["amber"][0]


def test_skin_tints_are_redder_lips_ruddier_cheeks_and_darker_stubble() -> None:
    for tone in SKIN_TONES:
        base, lips, ruddy, stubble = (lab_under(r, D65) for r in skin_finish(tone).reflectance)
        assert lips[1] > base[1] + 3, tone
        assert ruddy[1] > base[1] + 1.5, tone
        assert stubble[0] < base[0] - 4, tone
        assert np.hypot(*stubble[1:]) < np.hypot(*base[1:]), tone


@pytest.mark.parametrize("make", [make_finish, skin_finish, hair_finish, eye_finish])
def test_an_unknown_name_is_refused_with_the_list(make: object) -> None:
    with pytest.raises(UnknownName, match="Allowed: "):
        make("chartreuse-fog")  # type: ignore[operator]


@pytest.mark.parametrize("values", [(-0.1, 0.1, 0.5), (0.1, 0.5, 0.5), (0.1, 0.1, 1.5), (float("nan"), 0.1, 0.5)])
def test_impossible_skin_is_refused(values: tuple[float, float, float]) -> None:
    with pytest.raises(KeyfallError, match="Skin cannot have"):
        skin_reflectance(*values)


def test_an_unphysical_finish_is_refused() -> None:
    fine = np.full((4, 401), 0.5)
    wrong = ((fine * 3, 0.04, "outside 0 to 1"), (fine[:2], 0.04, "four spectra"), (fine, 1.2, "f0"))
    for spectra, f0, message in wrong:
        with pytest.raises(KeyfallError, match=message):
            Finish("x", "x", spectra.copy(), f0, 0.5, 0.5, 1.0, 0.0)
