"""A small part of what `python -m tests.stress` does at length."""

from __future__ import annotations

import os

import pytest

from . import cache, kills


@pytest.mark.slow
def test_damaged_records_are_told():
    assert cache.run(400, 7) == []


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends signals")
def test_killed_runs_mix_and_lose_nothing():
    assert kills.run(2, 7) == []
