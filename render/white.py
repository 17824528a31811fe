"""The camera's white worked out: of flash, of a temperature, of a light as it is set, or of what falls on a card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from materials import KeyfallError, correlated_colour_temperature, make_source, white_point, xyz
from scenes.stage import Exposure, Stage, White

from .look import light_spectrum, xyz_weights
from .meterset import MeterSet

_DARK_LX_S = 1e-9


def scene_white(exposure: Exposure) -> np.ndarray:
    """XYZ (3,), Y = 1, of the white the camera is set to.

    Raises
    ------
    KeyfallError
        For a white that the lights decide and that is not worked out yet; see `settled`.
    """
    given = exposure.white_balance
    if isinstance(given, White):
        if given.xyz is None:
            raise KeyfallError(f"The white balance ({given.words}) follows the lights. See `settled`.")
        return np.array(given.xyz)
    if given == "flash":
        white = xyz(make_source("flash").spd)
        return white / white[1]
    return white_point(float(given))


def settled(stage: Stage, meters: MeterSet | None = None) -> Stage:
    """The stage with its white balance worked out from its lights as they are set now.

    Parameters
    ----------
    meters : what was traced of the stage; a card needs it, and is left open without.

    Raises
    ------
    KeyfallError
        For a card in the dark, or a white so saturated that no camera can be set to it.
    """
    given = stage.exposure.white_balance
    if not isinstance(given, White) or given.xyz is not None or (given.card is not None and meters is None):
        return stage
    if given.card is not None and meters is not None:
        seen, what = _on_card(stage, meters, given.card), f"the card at '{given.card}'"
        if seen[1] <= _DARK_LX_S:
            raise KeyfallError(
                f"No light falls on {what}, so the white balance cannot be taken there. "
                "Hold it in the light, or give kelvin."
            )
    else:
        light = next((light for light in stage.lights if light.name == given.light), None)
        if light is None:
            names = ", ".join(light.name for light in stage.lights)
            raise KeyfallError(f"There is no light '{given.light}' to take as white. Lights of this set: {names}.")
        seen, what = xyz(light_spectrum(light)), f"'{given.light}'"
    white = seen / max(seen[1], 1e-30)
    try:
        correlated_colour_temperature(white)
    except KeyfallError:
        raise KeyfallError(
            f"The light of {what} is too saturated to be taken as white: it lies over 0.05 (CIE 1960 u, v) from any "
            "black body. Take a light nearer white, or give kelvin."
        ) from None
    x, y, z = (float(v) for v in white)
    return replace(stage, exposure=replace(stage.exposure, white_balance=replace(given, xyz=(x, y, z))))


def _on_card(stage: Stage, meters: MeterSet, probe: str) -> np.ndarray:
    """XYZ (3,) in lx s of all lights together on a card that faces out at a meter point."""
    index = next((i for i, m in enumerate(meters.meters) if (m.probe, m.aim) == (probe, "flat:surface")), None)
    if index is None:
        raise KeyfallError(f"This set has no meter point '{probe}' to hold a card at. Trace it again.")
    return np.einsum("lbc,lb->c", xyz_weights(meters, stage), meters.transport[:, :, index])
