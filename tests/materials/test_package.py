"""The package: its public names, its errors, and how fast it loads."""

from __future__ import annotations

import subprocess
import sys

import pytest

import materials
from materials import DataError, KeyfallError, UnknownName, unknown_name

PUBLIC = {
    *("LIMIT_DE00", "bands_for", "colour_error", "AIRS", "CLEAR_AIR", "Daylight", "clear_sky", "sun_through_air"),
    *("FLUIDS", "Medium", "Phase", "make_medium"),
    *("ADAPTATIONS", "FINISHES", "GELS", "HAIR_COLOURS", "IRIS_COLOURS", "KM_LM_PER_W", "SKIN_TONES", "SOURCE_KINDS"),
    *("WAVELENGTHS_NM", "Bands", "DataError", "Finish", "Gel", "KeyfallError", "Source", "UnknownName"),
    *("adapt_matrix", "chromaticity", "colour_matching", "correlated_colour_temperature", "default_bands"),
    *("display_matrix", "eye_finish", "ggx_albedo_table", "hair_finish", "hair_reflectance", "luminance_weight"),
    *("make_finish", "make_gel", "make_source", "plain_finish", "read_csv_spectrum", "read_gel_csv", "resample"),
    *("silk_finish", "skin_finish", "skin_reflectance", "stack", "teeth_finish", "unknown_name", "white_point", "xyz"),
}


def test_public_names_are_these() -> None:
    assert set(materials.__all__) == PUBLIC
    assert all(hasattr(materials, name) for name in PUBLIC)


def test_tracing_and_developing_need_no_heavy_import() -> None:
    code = (
        "import sys, materials as m; m.default_bands().xyz_weights(m.make_source('flash').spd); "
        "m.make_finish('grey-card'); m.skin_finish('light'); m.ggx_albedo_table(); "
        "m.adapt_matrix(m.white_point(5500), m.white_point(6500)); m.display_matrix('srgb'); "
        "heavy = {'colour', 'scipy', 'matplotlib', 'trimesh', 'mitsuba', 'drjit'} & set(sys.modules); "
        "sys.exit(', '.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_every_error_is_one_of_ours() -> None:
    assert issubclass(DataError, KeyfallError)
    assert issubclass(UnknownName, KeyfallError)


@pytest.mark.parametrize(
    ("given", "hint"), [("rosee", " Did you mean rose?"), ("ROSE", " Did you mean rose?"), ("zzz", "")]
)
def test_an_unknown_name_tells_the_nearest_and_all(given: str, hint: str) -> None:
    error = unknown_name("gel", given, ["rose", "teal"])
    assert str(error) == f"There is no gel called '{given}'.{hint} Allowed: rose, teal."
