"""Spectra: the observer, integration, resampling, and what a broken CSV file is told."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from materials import (
    KM_LM_PER_W,
    WAVELENGTHS_NM,
    DataError,
    colour_matching,
    luminance_weight,
    read_csv_spectrum,
    resample,
    xyz,
)
from materials.spectra import smooth_curve
from materials.standards import DATA, write_standard_tables


def test_the_grid_is_every_nanometre_from_380_to_780() -> None:
    assert WAVELENGTHS_NM.shape == (401,)
    assert (WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1]) == (380, 780)


def test_shipped_tables_are_those_of_colour_science(tmp_path: Path) -> None:
    write_standard_tables(tmp_path)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["chart.csv", "daylight.csv", "illuminants.csv", "iso7589.csv", "observer.csv"]
    for name in names:
        assert (tmp_path / name).read_text() == (DATA / name).read_text(), name


def test_a_watt_at_555_nm_is_683_lumens() -> None:
    watt = np.where(WAVELENGTHS_NM == 555, 1.0, 0.0)
    assert xyz(watt)[1] == pytest.approx(KM_LM_PER_W, rel=1e-12)  # y-bar is 1 there by definition
    assert luminance_weight().max() == pytest.approx(KM_LM_PER_W, rel=1e-12)


def test_the_observer_cannot_be_changed_by_accident() -> None:
    with pytest.raises(ValueError, match="read-only"):
        colour_matching()[0, 0] = 1.0


def test_resampling_draws_straight_lines() -> None:
    values = resample(np.array([380.0, 480.0, 780.0]), np.array([0.0, 1.0, 4.0]), "test")
    assert values[50] == pytest.approx(0.5)
    assert values[250] == pytest.approx(2.5)


@given(
    st.lists(
        st.tuples(st.integers(380, 780), st.floats(0, 1)), min_size=2, max_size=12, unique_by=lambda point: point[0]
    )
)
def test_a_smooth_curve_stays_between_its_points_and_passes_through_them(points: list[tuple[int, float]]) -> None:
    nm, values = zip(*sorted(points), strict=True)
    curve = smooth_curve(list(nm), list(values))
    assert np.isfinite(curve).all()
    assert curve.min() >= min(values) - 1e-12
    assert curve.max() <= max(values) + 1e-12
    np.testing.assert_allclose(curve[np.array(nm) - 380], values, atol=1e-12)


def test_titles_comments_and_blank_lines_are_skipped(tmp_path: Path) -> None:
    path = tmp_path / "lamp.csv"
    path.write_text("# measured\n\nnm,power\n380, 1\n580,2\n\n780,1\n")
    assert read_csv_spectrum(path)[200] == 2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no numbers"),
        ("380,1\nabc,2\n", r":2: 'abc,2' is not two numbers"),
        ("380,1\n400\n", r":2: 1 columns, but two"),
        ("380,1\n400,2,3\n", r":2: 3 columns"),
        ("380,1\n500,nan\n780,1\n", r":2: '500,nan' is not finite"),
        ("380,1\n500,inf\n780,1\n", r":2: '500,inf' is not finite"),
        ("380,1\n370,2\n", r":2: wavelength 370 nm does not follow 380"),
        ("380,1\n380,2\n", r":2: wavelength 380 nm does not follow 380"),
        ("400,1\n700,2\n", "covers 400 to 700 nm"),
        ("380,1\n", "at least two wavelengths"),
    ],
)
def test_a_broken_file_is_named_with_its_line(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "lamp.csv"
    path.write_text(text)
    with pytest.raises(DataError, match=message) as error:
        read_csv_spectrum(path)
    assert "lamp.csv" in str(error.value)


def test_a_missing_or_binary_file_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="There is no file"):
        read_csv_spectrum(tmp_path / "none.csv")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(DataError, match="cannot be read as text"):
        read_csv_spectrum(tmp_path / "bytes.csv")
    with pytest.raises(DataError, match="is a folder, not a file"):
        read_csv_spectrum(tmp_path)


def test_every_table_says_where_it_comes_from() -> None:
    for path in DATA.glob("*.*"):
        assert re.match(r"# \S", path.read_text(encoding="utf-8")), f"{path.name} needs a source line"
