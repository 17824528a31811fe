"""Camera settings on one line, as sheets and terminal say them."""

from __future__ import annotations

from scenes.meters import exact_f_number, format_shutter, nominal_f_number

from .report import CameraSettings


def settings_line(settings: CameraSettings) -> str:
    """For example "f/8, 1/125 s, ISO 100, white balance flash (5500 K)"."""
    named = isinstance(settings.white_balance, str)
    balance = f"{settings.white_balance} (5500 K)" if named else f"{settings.white_balance:g} K"
    return (
        f"f/{_mark(settings.f_number)}, {format_shutter(settings.shutter_s)}, ISO {settings.iso:g}, "
        f"white balance {balance}"
    )


def _mark(f_number: float) -> str:
    """The engraved mark where the number is one, else the number."""
    try:
        mark = nominal_f_number(f_number)
    except ValueError:
        return f"{f_number:g}"
    return mark if abs(exact_f_number(float(mark)) - f_number) < 1e-6 * f_number else f"{f_number:.3g}"
