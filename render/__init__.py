"""What the camera sees: tracing, developing, maps, readings, and the command line."""

from . import starting  # isort: skip  # noqa: F401  # first: see there

from .cache import Cache
from .develop import Picture, develop
from .look import relight
from .maps import ExposureMap, exposure_maps
from .olat import OlatSet
from .preview import PictureSettings, preview
from .readings import Reading, all_readings
from .report import Report
from .trace import TraceSettings, trace

__all__ = [
    "Cache",
    "ExposureMap",
    "OlatSet",
    "Picture",
    "PictureSettings",
    "Reading",
    "Report",
    "TraceSettings",
    "all_readings",
    "develop",
    "exposure_maps",
    "preview",
    "relight",
    "trace",
]
