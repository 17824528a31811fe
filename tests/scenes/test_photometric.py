"""Photometric files: what is read from them."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from materials.errors import DataError
from scenes.photometric import Photometry
from tests.scenes.photometric_files import GAMMA, TURN, ies, ldt, lopsided, mirrored_c, read_text, table


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Photometry]:
    return partial(read_text, tmp_path)


# What LM-63 says


@pytest.mark.parametrize(
    "first", [None, "IESNA91", "IESNA:LM-63-1995", "IESNA:LM-63-2002", "IES:LM-63-2019", "IESNA: LM-63-95"]
)
def test_every_edition_reads_alike(read, first: str | None) -> None:
    photometry = read(ies(first=first))
    assert photometry.candela.tolist() == [[100, 80, 40, 0]]
    assert photometry.gamma_deg.tolist() == [0, 30, 60, 90]
    assert (photometry.width_m, photometry.length_m, photometry.height_m) == (0.2, 0.3, 0)
    assert photometry.watts == 50
    assert photometry.notes == ()


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: "\n".join([*text.split("\n")[:2], *(line.replace(" ", ", ") for line in text.split("\n")[2:])]),
        lambda text: "\n".join([*text.split("\n")[:2], *(line.replace(" ", "\n") for line in text.split("\n")[2:])]),
        lambda text: text + "\x1a",
        lambda text: "\ufeff" + text,
        lambda text: text.replace("TILT=NONE", "tilt = none"),
    ],
    ids=["CRLF", "CR", "commas", "one a line", "DOS end", "byte order mark", "small letters"],
)
def test_delimiters_and_line_ends_do_not_matter(read, change) -> None:
    assert read(change(ies())).candela.tolist() == [[100, 80, 40, 0]]


def test_the_kind_of_file_is_told_by_its_content(read) -> None:
    assert read(ies(), "wrong.ldt").watts == 50
    assert read(ldt(), "wrong.ies").rated_lumens == 1000


def test_letters_of_iso_8859_1_are_read(read) -> None:
    assert read(ies(keywords=["[LUMINAIRE] Stra\xdfe"]).encode("iso-8859-1")).name == "Stra\xdfe"


@pytest.mark.parametrize(
    ("keywords", "name"),
    [
        ((), "test"),
        (("[LUMCAT] 12",), "12"),
        (("[LUMINAIRE] open", "[MORE] bowl", "[LUMCAT] 12"), "open bowl"),
        (("[LUMINAIRE]", "[LUMCAT] 12", "[MORE] b"), "12 b"),
    ],
)
def test_the_name_is_the_description_or_the_catalogue_number_or_the_file(read, keywords, name: str) -> None:
    assert read(ies(keywords=keywords)).name == name


def test_multiplier_and_ballast_factor_scale_the_intensity_and_lamp_count_does_not(read) -> None:
    photometry = read(ies(lamps="3 200", multiplier=2, ballast="0.9 1 0"))
    np.testing.assert_allclose(photometry.candela, [[180, 144, 72, 0]])
    assert photometry.rated_lumens == 600
    assert photometry.watts is None


@pytest.mark.parametrize(
    ("first", "factor"), [(None, 0.8), ("IESNA91", 0.8), ("IESNA:LM-63-1995", 1), ("IESNA:LM-63-2002", 1)]
)
def test_the_ballast_lamp_factor_counts_in_the_first_two_editions_only(read, first, factor: float) -> None:
    photometry = read(ies(first=first, ballast="1 0.8 50"))
    np.testing.assert_allclose(photometry.candela[0, 0], 100 * factor)
    assert bool(photometry.notes) == (factor == 1)


def test_the_generation_type_of_2019_scales_nothing(read) -> None:
    photometry = read(ies(first="IES:LM-63-2019", ballast="1 1.10100 50"))
    assert photometry.candela[0, 0] == 100
    assert photometry.notes == ()


def test_feet_become_metres(read) -> None:
    photometry = read(ies(units=1, size=(1, 2, 0.5)))
    assert (photometry.width_m, photometry.length_m, photometry.height_m) == (0.6096, 0.3048, 0.1524)


@pytest.mark.parametrize(
    ("first", "size", "opening"),
    [
        ("IESNA:LM-63-2002", (0.3, 0.2, 0), (0.2, 0.3, 0, False)),
        ("IESNA:LM-63-2002", (0.3, 0.2, 0.1), (0.2, 0.3, 0.1, False)),
        ("IESNA:LM-63-2002", (-0.3, -0.3, 0), (0.3, 0.3, 0, True)),
        ("IESNA:LM-63-2002", (-0.3, -0.2, 0), (0.2, 0.3, 0, True)),
        ("IESNA:LM-63-2002", (-0.3, -0.3, -0.3), (0.3, 0.3, 0.3, True)),
        ("IESNA:LM-63-2002", (-0.3, 1.2, -0.3), (1.2, 0.3, 0.3, False)),
        ("IESNA:LM-63-1995", (-0.3, 0, 0), (0.3, 0.3, 0, True)),
        ("IESNA:LM-63-1995", (-0.3, 0, 0.1), (0.3, 0.3, 0.1, True)),
        ("IESNA:LM-63-1995", (-0.3, 0, -0.3), (0.3, 0.3, 0.3, True)),
        ("IESNA:LM-63-1995", (0, 1.2, -0.3), (1.2, 0.3, 0.3, False)),
        ("IESNA:LM-63-1995", (1.2, 0, -0.3), (0.3, 1.2, 0.3, False)),
        ("IESNA:LM-63-1995", (-0.3, 0.2, 0), (0.2, 0.3, 0, True)),
        ("IESNA:LM-63-1995", (-0.3, 0.2, -0.1), (0.2, 0.3, 0.1, True)),
    ],
)
def test_signs_of_the_sizes_tell_the_opening(read, first: str, size, opening) -> None:
    photometry = read(ies(first=first, size=size))
    assert (photometry.width_m, photometry.length_m, photometry.height_m, photometry.round) == opening


@pytest.mark.parametrize(
    ("horizontal", "planes"),
    [
        (range(0, 91, 15), "quarter"),
        (range(0, 181, 15), "half"),
        (range(90, 271, 15), "rear half"),
        (range(0, 361, 15), "whole"),
        (range(0, 360, 15), "whole"),
    ],
)
def test_symmetry_unfolds_to_the_full_turn(read, horizontal: range, planes: str) -> None:
    photometry = read(ies(list(horizontal), GAMMA, table(lopsided, list(horizontal), GAMMA)))
    assert photometry.c_deg.tolist() == list(TURN)
    np.testing.assert_allclose(photometry.candela, table(lopsided, mirrored_c(TURN, planes), GAMMA), atol=1e-6)


def test_a_last_plane_unlike_the_first_is_told(read) -> None:
    candela = table(lopsided, range(0, 361, 90), GAMMA)
    candela[-1] *= 0.9
    assert "planes at 0 and 360" in " ".join(read(ies(range(0, 361, 90), GAMMA, candela)).notes)


def test_tilt_factors_are_read_over_and_told(read) -> None:
    photometry = read(ies(tilt="TILT=INCLUDE\n1\n3\n0 45 90\n1 0.95 0.8"))
    assert photometry.candela.tolist() == [[100, 80, 40, 0]]
    assert photometry.notes == ("the lamp dims when the luminaire is tilted, to 80% at most; used as level",)


def test_a_partial_range_is_dark_beyond_and_told(read) -> None:
    photometry = read(ies(vertical=(0, 10, 20), candela=[[100, 50, 10]]))
    assert photometry.gamma_deg.tolist() == [0, 10, 20]
    assert photometry.notes == ("intensities are given from 0 to 20 degrees off the axis; beyond is taken as dark",)


def test_more_lumens_than_the_lamps_have_are_told(read) -> None:
    absolute = read(ies())
    assert read(ies(lamps=f"1 {absolute.lumens / 1.04:.2f}")).notes == ()
    (note,) = read(ies(lamps=f"1 {absolute.lumens / 1.06:.2f}")).notes
    assert "106% of the lamps' rated" in note


# Types A and B


def spot(right: np.ndarray, up: np.ndarray, forward: np.ndarray) -> np.ndarray:
    """A soft beam aimed 12 degrees to the right and 6 up, wider across than upright."""
    across, upright = np.degrees(np.arctan2(right, forward)), np.degrees(np.arctan2(up, forward))
    return 1000 * np.exp2(-(((across - 12) / 20) ** 2) - ((upright - 6) / 10) ** 2)


@pytest.mark.parametrize("kind", ["A", "B"])
def test_types_a_and_b_become_type_c(read, kind: str) -> None:
    """Tolerance 0.7 % of the peak: straight lines over a step h leave h^2 / 8 times the beam's curvature, 2 ln 2 / w^2,
    of it: 0.39 % upright (w = 10), 0.1 % across (w = 20), and a little more on the new grid."""
    h_deg, v_deg = np.arange(-90, 90.1, 1.5), np.arange(-90, 90.1, 1.5)
    h, v = np.radians(h_deg)[:, None], np.radians(v_deg)[None, :]
    if kind == "A":
        right, up, forward = np.sin(h) * np.cos(v), np.sin(v) + 0 * h, np.cos(h) * np.cos(v)
    else:
        right, up, forward = np.sin(h) + 0 * v, np.cos(h) * np.sin(v), np.cos(h) * np.cos(v)
    photometry = read(ies(h_deg, v_deg, spot(right, up, forward), kind={"A": 3, "B": 2}[kind], size=(0.3, 0.2, 0)))
    assert photometry.notes[0] == f"type {kind} photometry, converted to type C"
    assert (photometry.width_m, photometry.length_m) == (0.3, 0.2)
    c, g = np.radians(photometry.c_deg)[:, None], np.radians(photometry.gamma_deg)[None, :]
    wanted = spot(np.sin(g) * np.cos(c), np.sin(g) * np.sin(c), np.cos(g) + 0 * c)
    front = photometry.gamma_deg < 75  # at the very rim the formula itself is singular
    np.testing.assert_allclose(photometry.candela[:, front], wanted[:, front], atol=7)
    row, column = np.unravel_index(photometry.candela.argmax(), photometry.candela.shape)
    toward = np.degrees(math.atan2(math.tan(math.radians(6)), math.tan(math.radians(12))))
    assert photometry.c_deg[row] == pytest.approx(toward, abs=6)
    assert photometry.gamma_deg[column] == pytest.approx(13.3, abs=2)


def test_type_b_from_zero_is_mirrored_to_the_left(read) -> None:
    h, v = (0, 10, 20), (-20, 0, 20)
    photometry = read(ies(h, v, [[50, 100, 40], [30, 60, 20], [0, 10, 0]], kind=2))
    ten = int(np.abs(photometry.gamma_deg - 10).argmin())
    got = {c: photometry.candela[int(np.abs(photometry.c_deg - c).argmin()), ten] for c in (0, 90, 180, 270)}
    assert got == pytest.approx({0: 60, 90: 70, 180: 60, 270: 75}, rel=1e-9)


def test_type_b_too_fine_to_convert_is_refused(read) -> None:
    h = v = (-90, -60, -30, -0.01, 0, 0.01, 30, 60, 90)
    candela = np.zeros((9, 9))
    candela[4, 4] = 1e6
    with pytest.raises(DataError, match=r"too fine to be converted exactly\. Export it as type C"):
        read(ies(h, v, candela, kind=2))


def test_type_b_with_a_spike_between_the_new_angles_is_refused(read) -> None:
    """The flux would be right, but 10 % of the peak lost."""
    h = v = np.arange(-30, 31, 1.0)
    candela = np.full((61, 61), 100.0)
    candela[33, 32] = 1000
    with pytest.raises(DataError, match="too fine to be converted exactly"):
        read(ies(h, v, candela, kind=2))


# EULUMDAT


def stored(symmetry: int) -> list[int]:
    return {
        0: list(TURN),
        1: [0],
        2: list(range(0, 181, 15)),
        3: list(range(-90, 91, 15)),
        4: list(range(0, 91, 15)),
    }[symmetry]


@pytest.mark.parametrize(("symmetry", "planes"), [(0, "whole"), (2, "half"), (3, "upright"), (4, "quarter")])
def test_eulumdat_symmetry_unfolds_to_the_full_turn(read, symmetry: int, planes: str) -> None:
    candela = table(lopsided, stored(symmetry), GAMMA)
    photometry = read(ldt(symmetry, TURN, GAMMA, candela, lamps=("1", "LED", "2500", "", "", "50")))
    assert photometry.c_deg.tolist() == list(TURN)
    wanted = 2.5 * table(lopsided, mirrored_c(TURN, planes), GAMMA)
    np.testing.assert_allclose(photometry.candela, wanted, atol=1e-5)


def test_eulumdat_of_a_body_of_revolution_has_one_plane(read) -> None:
    photometry = read(ldt(1, TURN, GAMMA, table(lopsided, [0], GAMMA)))
    assert photometry.c_deg.tolist() == [0]
    assert photometry.candela.shape == (1, len(GAMMA))


def test_eulumdat_planes_may_be_uneven(read) -> None:
    planes = [0, 10, 30, 90, 170, 260, 300]
    photometry = read(ldt(0, planes, GAMMA, table(lopsided, planes, GAMMA)))
    assert photometry.c_deg.tolist() == planes


def test_eulumdat_and_lm63_of_one_luminaire_agree(read) -> None:
    candela = table(lopsided, range(0, 361, 15), GAMMA)
    one = read(ies(range(0, 361, 15), GAMMA, candela, lamps="1 4000", size=(0.3, 0.2, 0.05)))
    two = read(
        ldt(
            0,
            TURN,
            GAMMA,
            candela[:-1] / 4,
            lamps=("2", "LED", "4000", "", "", "50"),
            sizes_mm=(300, 200, 50, 0, 0, 50),
        )
    )
    np.testing.assert_allclose(two.candela, one.candela, rtol=1e-5)
    for name in ("width_m", "length_m", "height_m", "round", "rated_lumens", "watts"):
        assert getattr(one, name) == getattr(two, name)


@pytest.mark.parametrize(
    ("changes", "note"),
    [
        ({"factor": "2"}, None),
        ({"factor": "2,0"}, None),
        ({"output_percent": "100"}, "from the 1000 lm that the file states"),
        ({"tilt": "15"}, "measured tilted by 15 degrees"),
        ({"sets": 2}, "2 sets of lamps"),
        ({"sizes_mm": (300, 0, 0, 0, 0, 0)}, None),
    ],
)
def test_oddities_of_eulumdat_are_read_and_told(read, changes: dict, note: str | None) -> None:
    photometry = read(ldt(**changes))
    assert photometry.candela[0, 0] == (200 if "factor" in changes else 100)
    assert photometry.round == ("sizes_mm" in changes)
    assert (note is None and photometry.notes == ()) or note in photometry.notes[0]


def test_eulumdat_output_ratio_within_five_percent_is_no_matter(read) -> None:
    lumens = read(ldt()).lumens
    assert read(ldt(output_percent=f"{lumens / 10 * 1.04:.2f}")).notes == ()
    assert len(read(ldt(output_percent=f"{lumens / 10 * 1.06:.2f}")).notes) == 1


def test_negative_lamps_mean_absolute_photometry(read) -> None:
    photometry = read(ldt(lamps=("-1", "LED", "500", "", "", "50")))
    assert photometry.rated_lumens is None
    assert photometry.candela[0, 0] == 50
