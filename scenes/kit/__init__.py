"""The photographer's kit: heads and modifiers by name, stock ones and his own, calibrated by meter readings."""

from .calibrate import Calibration, calibrate
from .equip import Equipment, equip
from .kit import Kit
from .load import KitError, check_kit, load_kit
from .model import Head, KitFile, Reading
from .settings import nearest_setting
from .stock import stock_kit

__all__ = [
    "Calibration",
    "Equipment",
    "Head",
    "Kit",
    "KitError",
    "KitFile",
    "Reading",
    "calibrate",
    "check_kit",
    "equip",
    "load_kit",
    "nearest_setting",
    "stock_kit",
]
