"""Where skin is redder, darker or shinier: weights of the tint spectra and of the gloss, by vertex.

Skin of one colour looks like plastic. The places are those a make-up artist knows (blood shows on cheeks,
nose, ears, lids, knuckles; grease on nose, forehead, cheekbones and lips); the amounts were set by eye on
rendered heads: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .noise import mottle, smooth_step, value_noise


@dataclass(frozen=True, slots=True)
class SkinSite:
    """Where the skin's vertices are, for painting.

    Attributes
    ----------
    head : (n, 3) positions in the head's frame, metres.
    masks : (n,) each in [0, 1]: "lips", "nails", "mouth", "ears", "lids", "scalp".
    places : landmarks (3,) in the head's frame.
    beard : strength in [0, 1] of the shadow of a shaven beard.
    age : 0 for a grown-up face, 1 for an old one (age spots, less blood in the lips).
    """

    head: np.ndarray
    masks: dict[str, np.ndarray]
    places: dict[str, np.ndarray]
    beard: float
    age: float


def _spot(site: SkinSite, place: str, radius_m: float, shift: tuple[float, float, float] = (0, 0, 0)) -> np.ndarray:
    """A soft round patch (n,) about a landmark; `shift` is mirrored for places on the right."""
    sign = -1.0 if place.endswith("_R") else 1.0
    centre = site.places[place] + np.array(shift) * [sign, 1.0, 1.0]
    return np.exp(-((site.head - centre) ** 2).sum(axis=1) / radius_m**2)


def _both(site: SkinSite, place: str, radius_m: float, shift: tuple[float, float, float] = (0, 0, 0)) -> np.ndarray:
    return _spot(site, f"{place}_L", radius_m, shift) + _spot(site, f"{place}_R", radius_m, shift)


def _beard_area(site: SkinSite) -> np.ndarray:
    """Where a beard grows (n,): upper lip, chin, jaw up to the ears, fading down the throat."""
    x, y, z = np.abs(site.head[:, 0]), site.head[:, 1], site.head[:, 2]
    lip, chin = site.places["upper_lip"][1], site.places["chin"][1]
    ear_height, ear_depth = site.places["ear_L"][1], site.places["ear_L"][2]
    upper = np.interp(
        x, [0, 0.022, 0.034, 0.055, 0.070], [lip + 0.014, lip + 0.012, lip - 0.004, lip + 0.012, ear_height + 0.01]
    )
    above = smooth_step(upper + 0.006, upper - 0.006, y)
    below = smooth_step(chin - 0.050, chin - 0.022, y)
    front = smooth_step(ear_depth + 0.006, ear_depth + 0.022, z)
    return above * below * front


def paint(site: SkinSite) -> tuple[np.ndarray, np.ndarray]:
    """Tint weights (n, 3) in [0, 1] with a sum of at most 1, and gloss weights (n,) in [0, 1].

    Tint 1 is the lips, 2 blood-rich skin, 3 the shadow of cut or dense hair.
    """
    masks = site.masks
    on_head = smooth_step(-0.16, -0.10, site.head[:, 1])
    coarse = mottle(site.head, (0.030, 0.014, 0.0065), seed=21)
    fine = mottle(site.head, (0.0035, 0.0019), seed=41)

    flush = 0.30 * _both(site, "cheek", 0.026, (-0.004, -0.006, 0.0))
    flush += 0.40 * _spot(site, "nose", 0.015) + 0.12 * _spot(site, "chin", 0.014)
    flush += 0.10 * _spot(site, "forehead", 0.030)
    flush += 0.42 * masks["ears"] + 0.26 * masks["lids"] + 0.20 * masks["mouth"]
    hands = (1 - on_head) * smooth_step(-0.40, -0.46, site.head[:, 1])
    flush += 0.10 * hands + 0.25 * masks["nails"]
    ruddy = np.clip((0.10 + flush) * (1 + 0.28 * coarse) + 0.040 * coarse + 0.035 * fine, 0.0, 0.8)

    lips = (0.90 - 0.25 * site.age) * smooth_step(0.15, 0.75, masks["lips"]) * (1 + 0.08 * fine)
    stubble = site.beard * _beard_area(site) * (1 - smooth_step(0.1, 0.6, masks["lips"]))
    stubble = stubble * np.clip(0.85 + 0.18 * fine, 0.3, 1.2)
    socket = _both(site, "eye", 0.017, (-0.006, -0.014, -0.010))
    spots = np.clip(value_noise(site.head, 0.0042, 77) - 1.9 + 0.9 * site.age, 0, 0.5) * on_head
    dark = np.clip(0.80 * masks["scalp"] + 0.30 * stubble + 0.07 * socket + 0.35 * spots, 0.0, 0.85)

    lips = np.clip(lips, 0.0, 1.0)
    dark = dark * (1 - lips)
    ruddy = ruddy * (1 - lips) * (1 - dark)
    tints = np.column_stack([lips, ruddy, dark])

    zone = 0.44 * _spot(site, "nose", 0.020) + 0.22 * _spot(site, "glabella", 0.024)
    zone += 0.24 * _spot(site, "forehead", 0.040) + 0.17 * _both(site, "cheek", 0.020, (0.0, 0.008, 0.0))
    zone += 0.14 * _spot(site, "chin", 0.014) + 0.10 * masks["lids"]
    gloss = 0.20 * on_head + 0.12 + zone * (1 - 0.3 * site.age)
    gloss = np.maximum(gloss, 0.62 * smooth_step(0.2, 0.8, masks["lips"])) + 0.30 * masks["nails"]
    pores = mottle(site.head, (0.0042, 0.0021, 0.0013), seed=63, fall=0.9)
    gloss = gloss * np.clip(1 + 0.30 * pores, 0.3, 1.6) * (1 - 0.6 * masks["scalp"]) * (1 - 0.45 * stubble)
    return tints, np.clip(gloss, 0.0, 1.0)
