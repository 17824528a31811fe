"""Photometric files that are broken: each is refused in one sentence that names the line and the fix."""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from materials.errors import DataError
from scenes.photometric import read_photometric
from tests.scenes.photometric_files import ies, ldt


def lines_of(text: str, **changes: str) -> str:
    """The text with lines replaced, as L3="new third line"."""
    lines = text.split("\n")
    for key, line in changes.items():
        lines[int(key[1:]) - 1] = line
    return "\n".join(lines)


def eulumdat(**changes: str) -> str:
    return lines_of("\n".join(ldt()), **changes)


FULL = "Export the whole range."
BROKEN = {
    "empty": (b"  \n", 1, "the file is empty. Give a photometric file: LM-63 (.ies) or EULUMDAT (.ldt)."),
    "picture": (b"\x89PNG\0\0", 1, "this is no text. Give a photometric file: LM-63 (.ies) or EULUMDAT (.ldt)."),
    "neither": (
        "Dear diary,\ntoday I measured a lamp.\n",
        1,
        "this is neither LM-63 (no TILT line) nor EULUMDAT (lines 2 to 7 are not all numbers). Give a photometric file "
        "of one of these kinds.",
    ),
    "newer edition": (
        ies(first="IES:LM-63-2031"),
        1,
        "'IES:LM-63-2031' is no edition of LM-63 that can be read. Allowed: none, IESNA91, IESNA:LM-63-1995, "
        "IESNA:LM-63-2002, IES:LM-63-2019. Export the file as one of these.",
    ),
    "no tilt": (
        "IESNA:LM-63-2002\n[TEST] x\n1 -1 1 2 1 1 2 0 0 0",
        3,
        "no TILT line. Allowed: TILT=NONE or TILT=INCLUDE before the numbers; add it.",
    ),
    "tilt file": (
        ies(tilt="TILT=lamp.tlt"),
        2,
        "TILT=lamp.tlt: the lamp's output by tilt is in another file, which is not read. Allowed: TILT=NONE or "
        "TILT=INCLUDE. Write TILT=NONE unless the luminaire hangs tilted.",
    ),
    "word": (
        lines_of(ies(), L7="100 eighty 40 0"),
        7,
        "'eighty' is no number where intensities should stand. Allowed: a number, such as 12.5.",
    ),
    "nan": (
        lines_of(ies(), L7="100 nan 40 0"),
        7,
        "'nan' is not finite, where intensities should stand. Write a finite number.",
    ),
    "negative": (
        lines_of(ies(), L7="100 80 -40 0"),
        7,
        "an intensity of -40. Intensities cannot be negative: correct it, or write 0.",
    ),
    "all zero": (
        ies(candela=[[0, 0, 0, 0]]),
        7,
        "every intensity is 0: this luminaire gives no light. Check the file.",
    ),
    "too few": (
        lines_of(ies(), L7="100 80 40"),
        7,
        "the file ends after 3 of 4 intensities. Restore the missing numbers, or correct the counts of angles; a "
        "decimal sign must be a point.",
    ),
    "too many": (
        lines_of(ies(), L7="100 80 40 0 0"),
        7,
        "more numbers than the counts of angles ask for: 1 too many, from '0' on. Correct the counts, or remove what is too much; "
        "a decimal sign must be a point.",
    ),
    "no angles": (
        lines_of(ies(), L3="1 -1 1 0 1 1 2 0 0 0"),
        3,
        "0 vertical angles. Allowed: a whole number of at least 1.",
    ),
    "one angle": (
        ies(vertical=(0,), candela=[[100]]),
        5,
        f"one vertical angle only. Allowed: at least two. {FULL}",
    ),
    "half a count": (
        lines_of(ies(), L3="1 -1 1 4 1.5 1 2 0 0 0"),
        3,
        "1.5 horizontal angles. Allowed: a whole number of at least 1.",
    ),
    "descending": (
        ies(vertical=(0, 60, 30, 90)),
        5,
        "vertical angle 30 follows 60. Angles must ascend: sort them, with their intensities, and remove doubles.",
    ),
    "twice": (
        ies((0, 90, 90), candela=[[1, 1, 1, 0]] * 3),
        6,
        "horizontal angle 90 follows 90. Angles must ascend: sort them, with their intensities, and remove doubles.",
    ),
    "from five": (
        ies(vertical=(5, 30, 60, 90)),
        5,
        f"vertical angles from 5 to 90 degrees. Allowed for type C: from 0 or 90, up to 180. {FULL}",
    ),
    "to 45": (
        ies((0, 45), candela=[[1, 1, 1, 0]] * 2),
        6,
        "horizontal angles from 0 to 45 degrees leave the rest of the turn unknown. Allowed for type C: 0 alone, 0 to "
        "90, 0 to 180, 90 to 270, or 0 to 360. Export the whole turn.",
    ),
    "type": (
        ies(kind=4),
        3,
        "4 is no photometric type. Allowed: 1 (type C), 2 (type B) or 3 (type A).",
    ),
    "inches": (ies(units=3), 3, "3 is no kind of units. Allowed: 1 (feet) or 2 (metres)."),
    "multiplier": (ies(multiplier=0), 3, "a candela multiplier of 0. Allowed: above 0, mostly 1."),
    "ballast": (ies(ballast="0 1 50"), 4, "a ballast factor of 0. Allowed: above 0, mostly 1."),
    "watts": (ies(ballast="1 1 -5"), 4, "-5 input watts. Allowed: 0 (unknown) or more."),
    "lumens": (
        ies(lamps="1 0"),
        3,
        "0 lumens per lamp. Allowed: above 0, or -1 for absolute photometry.",
    ),
    "lamps": (ies(lamps="0 800"), 3, "0 lamps. Allowed: a whole number of at least 1."),
    "half of type B": (
        ies((0, 45), (0, 45), [[1, 1], [1, 1]], kind=2),
        5,
        "vertical angles from 0 to 45 degrees leave it open what the other half looks like. Allowed for type B: from "
        "below 0 to above 0, within -90 to 90. Export it as type C.",
    ),
    "right of type A": (
        ies((10, 45), (-45, 45), [[1, 1], [1, 1]], kind=3),
        6,
        "horizontal angles from 10 to 45 degrees. Allowed for type A: from 0 (the left is the mirror of the right) or "
        "from below 0, up to 90. Export it as type C.",
    ),
    "Isym": (
        eulumdat(L3="5"),
        3,
        "the symmetry Isym is 5. Allowed: 0 (none), 1 (about the axis), 2 (to the plane C0-C180), 3 (to the plane "
        "C90-C270), 4 (to both planes).",
    ),
    "Mc": (
        "\n".join(ldt(4, (0, 90, 180, 200, 270, 300), candela=[[1, 1, 1, 0]] * 2)),
        4,
        "6 planes cannot be symmetric to both planes. Allowed: a multiple of 4; or the symmetry Isym 0 on line 3.",
    ),
    "Ng": (eulumdat(L6="1"), 6, "the number of angles Ng is 1. Allowed: a whole number of at least 2."),
    "flux": (
        eulumdat(L29="0"),
        29,
        "the lamps' flux is 0 lm. Allowed: above 0; intensities are per 1000 lm of it.",
    ),
    "factor": (eulumdat(L24="-1"), 24, "a conversion factor of -1. Allowed: above 0, mostly 1."),
    "length": (eulumdat(L16="-3"), 16, "the luminous length is -3. Allowed: 0 or more, in millimetres."),
    "text": (
        eulumdat(L16="wide"),
        16,
        "'wide' is no number where the luminous length should stand. Allowed: a number, such as 12.5.",
    ),
    "empty line": (
        eulumdat(L44="", L45=""),
        44,
        "an empty line where a gamma angle should stand. Allowed: a number, such as 12.5.",
    ),
    "short": (
        "\n".join(ldt()[:-1]),
        50,
        "the file ends where an intensity should stand, on line 51. Restore the missing lines, or correct the counts "
        "of planes, angles and lamps.",
    ),
    "long": (
        "\n".join([*ldt(), "7"]),
        52,
        "more lines than the 4 intensities that the counts ask for. Correct the symmetry Isym (line 3), Mc (line 4), Ng (line 6) or the "
        "number of lamp sets (line 26), or remove what is too much.",
    ),
    "gamma": (
        eulumdat(L45="0"),
        45,
        "gamma angle 0 follows 0. Angles must ascend: sort them, with their intensities, and remove doubles.",
    ),
    "half a turn": (
        "\n".join(ldt(2, (0, 45, 90, 135), candela=[[1, 1, 1, 0]] * 3)),
        46,
        "C angles from 0 to 135 degrees do not close the turn with symmetry 2 (to the plane C0-C180). Allowed: planes "
        "at 0, 90, 180 and 270 where the symmetry turns, the last one step before 360. Correct them or the symmetry "
        "Isym on line 3.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_file_says_where_what_and_how_to_mend_it(tmp_path: Path, case: str) -> None:
    content, line, sentence = BROKEN[case]
    path = tmp_path / "broken.ies"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(DataError) as problem:
        read_photometric(path)
    assert str(problem.value) == f"{path}:{line}: {sentence}"


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    with pytest.raises(DataError, match=r"There is no file .*none\.ies\. Check its name"):
        read_photometric(tmp_path / "none.ies")
    with pytest.raises(DataError, match=r"is a folder, not a file\. Give a photometric file"):
        read_photometric(tmp_path)


@settings(deadline=None, max_examples=200)
@given(st.text(alphabet="0123456789.-, \nTILTNONE=IESNA:-\x00é[]", max_size=120))
def test_no_text_breaks_the_reader(text: str) -> None:
    """Whatever a file holds, it is read or refused; nothing else is raised."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.ies"
        path.write_bytes(text.encode())
        for content in (text, f"TILT=NONE\n{text}", "x\n1\n1\n1\n0\n2\n0\n" + text):
            path.write_bytes(content.encode())
            with contextlib.suppress(DataError):
                assert np.isfinite(read_photometric(path).candela).all()
