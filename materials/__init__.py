"""What light and matter are: spectra, sources, gels, skin, hair, cloth, paint, haze. NumPy and standard tables only."""

from .appearance import ADAPTATIONS, adapt_matrix, display_matrix
from .atmosphere import AIRS, CLEAR_AIR, Daylight, clear_sky, sun_through_air
from .bands import Bands, default_bands
from .coat import ggx_albedo_table
from .errors import DataError, KeyfallError, UnknownName, unknown_name
from .eye import IRIS_COLOURS, eye_finish, teeth_finish
from .finishes import FINISHES, Finish, make_finish, plain_finish, silk_finish
from .gels import GELS, Gel, make_gel, read_gel_csv, stack
from .hair import HAIR_COLOURS, hair_finish, hair_reflectance
from .haze import FLUIDS, Medium, Phase, make_medium
from .locus import correlated_colour_temperature
from .narrow import LIMIT_DE00, bands_for, colour_error
from .skin import SKIN_TONES, skin_finish, skin_reflectance
from .sources import SOURCE_KINDS, Source, make_source, white_point
from .spectra import (
    KM_LM_PER_W,
    WAVELENGTHS_NM,
    chromaticity,
    colour_matching,
    luminance_weight,
    read_csv_spectrum,
    resample,
    xyz,
)

__all__ = [
    "ADAPTATIONS",
    "AIRS",
    "CLEAR_AIR",
    "FINISHES",
    "FLUIDS",
    "GELS",
    "HAIR_COLOURS",
    "IRIS_COLOURS",
    "KM_LM_PER_W",
    "LIMIT_DE00",
    "SKIN_TONES",
    "SOURCE_KINDS",
    "WAVELENGTHS_NM",
    "Bands",
    "DataError",
    "Daylight",
    "Finish",
    "Gel",
    "KeyfallError",
    "Medium",
    "Phase",
    "Source",
    "UnknownName",
    "adapt_matrix",
    "bands_for",
    "chromaticity",
    "clear_sky",
    "colour_error",
    "colour_matching",
    "correlated_colour_temperature",
    "default_bands",
    "display_matrix",
    "eye_finish",
    "ggx_albedo_table",
    "hair_finish",
    "hair_reflectance",
    "luminance_weight",
    "make_finish",
    "make_gel",
    "make_medium",
    "make_source",
    "plain_finish",
    "read_csv_spectrum",
    "read_gel_csv",
    "resample",
    "silk_finish",
    "skin_finish",
    "skin_reflectance",
    "stack",
    "sun_through_air",
    "teeth_finish",
    "unknown_name",
    "white_point",
    "xyz",
]
