"""Camera settings on one line, as sheets and terminal say them."""

from __future__ import annotations

from scenes.meters import aperture_mark, format_shutter

from .report import CameraSettings


def settings_line(settings: CameraSettings) -> str:
    """For example "f/8, 1/125 s, ISO 100, white balance flash (5500 K)"."""
    return (
        f"f/{aperture_mark(settings.f_number)}, {format_shutter(settings.shutter_s)}, ISO {settings.iso:g}, "
        f"white balance {balance_words(settings)}"
    )


def balance_words(settings: CameraSettings) -> str:
    """The white balance: "flash (5500 K)", or "5200 K"."""
    named = isinstance(settings.white_balance, str)
    return f"{settings.white_balance} (5500 K)" if named else f"{settings.white_balance:g} K"
