"""A small part of the damaged scenes with the slow tests; `python -m tests.stress` has the rest."""

from __future__ import annotations

import pytest

from scenes import build_stage, load_scene
from scenes.kit import check_kit

from .scenes import SCENES, lay_out, run


@pytest.mark.slow
def test_what_is_damaged_was_sound(tmp_path) -> None:
    """Else nothing behind the first error would ever see a damaged scene."""
    lay_out(tmp_path)
    for name in SCENES:
        if name == "kit.toml":
            assert not [f for f in check_kit(tmp_path / name)[1] if f.severity == "error"]
        else:
            build_stage(load_scene(tmp_path / name))


@pytest.mark.slow
def test_damaged_scenes_end_in_errors_of_ours() -> None:
    assert run(60, seed=20) == []
