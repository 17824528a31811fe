"""LM-63 files as they are written."""

from __future__ import annotations

import datetime
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from materials.errors import DataError
from scenes.photometric import Photometry, lm63_text, make_photometry, read_photometric, write_lm63
from tests.scenes.photometric_files import TURN, lopsided, mirrored_c, read_text, table

TODAY = datetime.date(2025, 1, 31)


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Photometry]:
    return partial(read_text, tmp_path)


@pytest.mark.parametrize(
    ("planes", "listed"), [("axis", 1), ("quarter", 7), ("half", 13), ("upright", 25), ("whole", 25)]
)
@pytest.mark.parametrize("last", [90, 180])
def test_what_is_written_reads_back(tmp_path: Path, planes: str, listed: int, last: int) -> None:
    """Within the rounding of seven digits of the peak; the planes that symmetry implies are left out."""
    gamma = np.arange(0, last + 1, 5)
    turn = (0,) if planes == "axis" else TURN
    candela = table(lopsided, mirrored_c(turn, planes), gamma) / 3e4
    photometry = make_photometry(
        "Own bowl", candela, turn, gamma, width_m=0.3, length_m=0.2, height_m=0.05, rated_lumens=1.0, watts=12.5
    )
    path = tmp_path / "own.ies"
    write_lm63(path, photometry, TODAY)
    text = path.read_bytes().decode("ascii")
    assert f"\r\n1 1 1 {len(gamma)} {listed} 1 2 0.2 0.3 0.05\r\n1 1.00010 12.5\r\n" in text
    assert max(len(line) for line in text.split("\r\n")) <= 100
    back = read_photometric(path)
    np.testing.assert_allclose(back.candela, candela, atol=1e-6 * candela.max())
    for name in ("name", "rated_lumens", "width_m", "length_m", "height_m", "round", "watts"):
        assert getattr(back, name) == getattr(photometry, name)
    assert back.c_deg.tolist() == list(turn)
    assert back.lumens == pytest.approx(photometry.lumens, rel=1e-6)


@pytest.mark.parametrize(
    ("size", "written"),
    [
        ((0.3, 0.3, 0, True), "-0.3 -0.3 0"),
        ((0.3, 0.3, 0.3, True), "-0.3 -0.3 -0.3"),
        ((0.3, 0.3, 0.1, True), "-0.3 -0.3 0.1"),
        ((0.3, 0.2, 0, True), "-0.2 -0.3 0"),
        ((0.3, 0.2, 0.1, False), "0.2 0.3 0.1"),
    ],
)
def test_openings_are_written_by_their_signs(read, size, written: str) -> None:
    width, length, height, is_round = size
    text = lm63_text(
        make_photometry(
            "a", [[1, 1, 0]], [0], [0, 45, 90], width_m=width, length_m=length, height_m=height, round=is_round
        ),
        TODAY,
    )
    assert f"1 -1 1 3 1 1 2 {written}\n" in text
    back = read(text)
    assert (back.width_m, back.length_m, back.height_m, back.round) == size
    assert back.rated_lumens is None


@pytest.mark.parametrize(("edge", "end"), [(0.0, 90), (5.0, 90)])
def test_a_partial_range_is_written_dark_up_to_90_degrees(read, edge: float, end: int) -> None:
    """LM-63 wants the last angle at 90 or 180; a sharp edge becomes 0.05 degrees wide."""
    photometry = make_photometry("spot", [[100, 50, edge]], [0], [0, 10, 20], width_m=0.1, length_m=0.1)
    back = read(lm63_text(photometry, TODAY))
    assert back.gamma_deg[-1] == end
    assert back.lumens == pytest.approx(photometry.lumens, rel=2e-3)


def test_keywords_name_what_the_standard_requires(read) -> None:
    long = "word " * 40
    photometry = make_photometry("a", [[1, 1, 0]], [0], [0, 45, 90])
    text = lm63_text(photometry, TODAY, {"LUMCAT": "7", "_HEAD": long, "MANUFAC": "own"})
    assert text.startswith("IES:LM-63-2019\n[TEST] none (computer simulation)\n[TESTLAB] none (computer simulation)\n")
    assert "\n[ISSUEDATE] 31-JAN-2025\n[MANUFAC] own\n[LUMINAIRE] a\n[LUMCAT] 7\n[_HEAD] word" in text
    assert text.count("[MORE]") == 2
    assert text.index("TILT=NONE") > text.index("[MORE]")
    for bad in ("lower", "1A", "TWO WORDS", ""):
        with pytest.raises(DataError, match=f"'{bad}' is no keyword of LM-63"):
            lm63_text(photometry, TODAY, {bad: "x"})
    with pytest.raises(DataError, match=r"\[LUMCAT\] 'Straße' holds letters that LM-63 cannot"):
        lm63_text(photometry, TODAY, {"LUMCAT": "Straße"})


@settings(deadline=None, max_examples=50)
@given(
    st.lists(st.floats(0, 1e6), min_size=12, max_size=12).filter(lambda values: max(values) > 1e-6),
    st.sampled_from([(0,), (0, 90, 180, 270), (0, 30, 200)]),
)
def test_any_table_survives_writing_and_reading(values: list[float], turn: tuple[int, ...]) -> None:
    gamma = np.linspace(0, 180, 12 // len(turn) if len(turn) < 12 else 2)
    candela = np.reshape(values, (len(turn), -1))
    gamma = np.linspace(0, 180, candela.shape[1])
    photometry = make_photometry("any", candela, turn, gamma, width_m=0.1, length_m=0.1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.ies"
        write_lm63(path, photometry, TODAY)
        back = read_photometric(path)
    planes = [back.c_deg.tolist().index(c) for c in turn] if len(back.c_deg) > 1 else [0] * len(turn)
    np.testing.assert_allclose(back.candela[planes], candela, atol=1e-6 * candela.max())
