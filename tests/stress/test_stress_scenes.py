"""A small part of the damaged scenes with the slow tests; `python -m tests.stress` has the rest."""

from __future__ import annotations

import pytest

from .scenes import run


@pytest.mark.slow
def test_damaged_scenes_end_in_errors_of_ours() -> None:
    assert run(60, seed=20) == []
