"""The bounded reader, and spelling."""

from __future__ import annotations

import os
import re
import socket
from pathlib import Path

import pytest

from materials import DataError, read_gel_csv
from materials.reading import NotRead, read_bounded
from materials.spelling import did_you_mean, nearest, slips
from scenes import check_scene
from scenes.kit import check_kit
from scenes.modifiers.base import Unfit
from scenes.modifiers.patterns import read_pattern
from scenes.names import LANDMARKS
from scenes.photometric import read_photometric


def test_only_regular_files_up_to_the_bound_are_read(tmp_path):
    file = tmp_path / "a"
    file.write_bytes(b"12345")
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind(str(tmp_path / "s"))
        assert read_bounded(file, 5) == b"12345"
        for path, words in (
            (file, "is larger than"), (tmp_path / "pipe", "is a pipe"), (tmp_path / "s", "is a socket"),
            (tmp_path, "is a folder"), (Path("/dev/zero"), "is a device"), (tmp_path / "no", "does not exist"),
            (file / "no", "a part of its path is a file"), (tmp_path / ("x" * 5000), "cannot be read"),
            ("a\0b", "cannot be the name"),
        ):  # fmt: skip
            with pytest.raises(NotRead, match=words) as caught:
                read_bounded(path, 4)
            assert len(str(caught.value)) < 220


def test_every_reader_refuses_what_is_no_file_and_what_is_too_large(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(1_000_000_000)
    for path in (tmp_path / "pipe.csv", Path("/dev/zero"), large, tmp_path):
        for read in (read_gel_csv, read_photometric):
            with pytest.raises(DataError):
                read(path)
        with pytest.raises(Unfit):
            read_pattern(path)
        assert [f.severity for f in check_scene(path)] == ["error"]
        assert [f.severity for f in check_kit(path)[1]] == ["error"]


def test_slides_are_bounded_in_pixels_and_in_values(tmp_path):
    import numpy as np
    from PIL import Image

    slide = tmp_path / "slide.tif"
    for values, words in (
        (np.full((4, 4), 1.5, np.float32), "holds the value 1.5"), (np.full((4, 4), -1, np.int32), "holds the value -1"),
        (np.array([[np.nan, 1.0]], np.float32), "holds the value nan"), (np.full((4, 4), 70000, np.int32), "70000"),
    ):  # fmt: skip
        Image.fromarray(values).save(slide)
        with pytest.raises(Unfit, match=words):
            read_pattern(slide)
    Image.fromarray(np.full((4, 4), 0.5, np.float32)).save(slide)
    assert read_pattern(slide).max() == pytest.approx(0.5)
    Image.new("1", (12000, 12000)).save(tmp_path / "large.png")
    with pytest.raises(Unfit, match=r"12000 x 12000 pixels") as caught:
        read_pattern(tmp_path / "large.png")
    assert "40 megapixels" in caught.value.allowed
    (tmp_path / "bad.png").write_bytes((tmp_path / "large.png").read_bytes()[:60])
    with pytest.raises(Unfit, match=r"no picture that can be read|12000"):
        read_pattern(tmp_path / "bad.png")


def test_odd_scenes_end_in_one_clear_error(tmp_path):
    scene = tmp_path / "scene.toml"
    for text, words in (
        ("a = " + "[" * 5000, "nested too deep|not closed"), ("x = 0x" + "f" * 5000, "far too many digits"),
        ("x = 9223372036854775808", "far too many digits"), ("format = 1\n[light.key]\nshape = []", "shape"),
        (f'format = 1\ntitle = "{"n" * 5000}"', "title"), ("a.b." * 2000 + "c = 1", "no table|no key|format"),
    ):  # fmt: skip
        scene.write_text(text)
        found = check_scene(scene)

        assert any(re.search(words, f.format()) for f in found), (text[:40], found)
        assert all(len(f.format()) < 4000 for f in found)


def test_only_slips_of_the_pen_are_suggested():
    hair = ("black", "dark-brown", "blond", "light-blond", "grey", "red")
    assert nearest("long", hair) is None
    assert nearest("bolnd", hair) == "blond"
    assert nearest("Dark Brwn", hair) == "dark-brown"
    assert nearest("octabox", ("softbox-60x90", "octabox-90")) == "octabox-90"
    assert nearest("cto-half", ("half-cto", "half-ctb")) == "half-cto"
    assert nearest("tael", ("teal", "rose")) == "teal"
    assert nearest("x" * 5000, hair) is None
    assert nearest("", hair) is None
    gels = ("full-cto", "half-cto", "half-ctb", "octabox-90", "octabox-150", "teal")
    assert did_you_mean("cto", gels) == "Did you mean full-cto or half-cto?"
    assert did_you_mean("octa-90", gels) == "Did you mean octabox-90?"
    assert did_you_mean("tael", gels) == "Did you mean teal?"
    assert (did_you_mean("ct", gels), did_you_mean("", gels), did_you_mean("x" * 999, gels)) == ("", "", "")


def test_slips_are_counted_as_published():
    """Damerau 1964: one insertion, loss, change or exchange of neighbours each."""
    cases = {("teal", "tael"): 1, ("kitten", "sitting"): 3, ("", "abc"): 3, ("abc", "abc"): 0, ("ca", "abc"): 3}
    assert {pair: slips(*pair) for pair in cases} == cases


def test_landmarks_listed_are_those_that_figures_have():
    from scenes.placing import _place_figure

    assert {*_place_figure("marta", 0.0, 0.0, 0.0).landmarks, "floor", "background"} == set(LANDMARKS)
