"""Choice of device and LLVM library, and what the user reads when there is none."""

from __future__ import annotations

from pathlib import Path

import pytest

from render import backend
from render.backend import BackendError, LlvmLibrary, choose_llvm, init


@pytest.mark.parametrize(
    ("name", "major"),
    [("/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1", 19), ("/usr/lib/x86_64-linux-gnu/libLLVM-14.so.1", 14),
     ("/usr/lib/llvm-17/lib/libLLVM.so", 17), ("/opt/homebrew/opt/llvm@18/lib/libLLVM.dylib", 18), ("/x/libLLVM.so", None)],
)  # fmt: skip
def test_the_version_is_read_off_the_file_name(name, major):
    assert backend._major(Path(name)) == major


def test_the_newest_usable_library_is_chosen(monkeypatch):
    monkeypatch.delenv("DRJIT_LIBLLVM_PATH", raising=False)
    found = [LlvmLibrary(Path("/a"), 99), LlvmLibrary(Path("/b"), 19), LlvmLibrary(Path("/c"), 17)]
    monkeypatch.setattr(backend, "find_llvm", lambda: found)
    assert choose_llvm() == Path("/b")


def test_unusable_libraries_are_named_with_the_fix(monkeypatch):
    monkeypatch.delenv("DRJIT_LIBLLVM_PATH", raising=False)
    monkeypatch.setattr(backend, "find_llvm", lambda: [LlvmLibrary(Path("/usr/lib/libLLVM-15.so"), 15)])
    with pytest.raises(BackendError, match=r"(?s)17 to 22.*libLLVM-15.so \(version 15\).*Install"):
        choose_llvm()


def test_a_wrong_library_variable_is_an_error(monkeypatch):
    monkeypatch.setenv("DRJIT_LIBLLVM_PATH", "/no/such/file")
    with pytest.raises(BackendError, match="not a file"):
        choose_llvm()


def test_an_unknown_device_lists_the_allowed_ones():
    with pytest.raises(BackendError, match="auto, cuda, metal, cpu"):
        init("abacus")


def test_absent_cuda_is_said(monkeypatch):
    monkeypatch.setattr(backend, "_active", None)
    monkeypatch.setattr(backend, "cuda_present", lambda: False)
    with pytest.raises(BackendError, match="No NVIDIA driver"):
        init("cuda")
