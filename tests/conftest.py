"""Every test starts and ends with an idle device, and uses a cache folder of its own."""

from __future__ import annotations

import os
import sys

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None)
settings.load_profile("searching" if os.environ.get("KEYFALL_SEARCH") else "steady")


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("KEYFALL_CACHE_DIR", str(tmp_path_factory.mktemp("cache")))


@pytest.fixture(autouse=True)
def _idle_device():
    yield
    drjit = sys.modules.get("drjit")
    if drjit is not None and sys.modules["render.backend"].active_device() != "none":
        drjit.sync_thread()
