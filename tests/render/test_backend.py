"""Choice of device and LLVM library, and what the user reads when there is none."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

from render import backend, doctor, llvm
from render.backend import BackendError, choose_llvm, init
from render.llvm import LlvmLibrary

NAMES = {
    "/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1": 19, "/usr/lib/x86_64-linux-gnu/libLLVM-14.so.1": 14,
    "/usr/lib/llvm-17/lib/libLLVM.so": 17, "/opt/homebrew/opt/llvm@18/lib/libLLVM.dylib": 18,
    "/opt/homebrew/Cellar/llvm/21.1.2/lib/libLLVM.dylib": 21, "/usr/local/Cellar/llvm@19/19.1.7/lib/libLLVM.dylib": 19,
    "C:/Program Files/LLVM/bin/LLVM-C.dll": None, "/x/libLLVM.so": None,
}  # fmt: skip


def test_the_version_is_read_off_the_file_name():
    assert {name: llvm.version_in_name(Path(name)) for name in NAMES} == NAMES


def test_the_newest_usable_library_is_chosen(monkeypatch):
    monkeypatch.delenv(llvm.VARIABLE, raising=False)
    found = [LlvmLibrary(Path("/a"), 99), LlvmLibrary(Path("/b"), 19), LlvmLibrary(Path("/c"), 17)]
    monkeypatch.setattr(llvm, "find_llvm", lambda: found)
    assert choose_llvm() == Path("/b")


def test_unusable_libraries_are_named_with_the_fix(monkeypatch):
    monkeypatch.delenv(llvm.VARIABLE, raising=False)
    monkeypatch.setattr(llvm, "find_llvm", lambda: [LlvmLibrary(Path("/usr/lib/libLLVM-15.so"), 15)])
    with pytest.raises(BackendError, match=r"(?s)17 to 22.*libLLVM-15.so \(version 15\).*Install"):
        choose_llvm()


def test_a_junk_library_is_refused_with_the_cure_by_doctor_and_trace_alike(monkeypatch, tmp_path):
    """Without loading it here: what is no LLVM of 17 to 22 can abort the process."""
    text, folder, pipe = tmp_path / "libLLVM-19.so", tmp_path / "libLLVM.so.19", tmp_path / "libLLVM-20.so"
    text.write_text("not a library")
    folder.mkdir()
    os.mkfifo(pipe)
    broken = tmp_path / "libLLVM-18.so"
    broken.write_bytes(b"\x7fELF and then nothing")
    cases = {
        "/no/such/file": "does not exist", str(text): "is no shared library", str(folder): "is a folder",
        str(pipe): "is a pipe", str(broken): "does not load as a library", "a\x1b[2J": r"a\\x1b\[2J.*does not exist",
        **{str(lib.path): f"is LLVM {lib.major}" for lib in llvm.find_llvm() if lib.major and lib.major < 17},
    }  # fmt: skip
    monkeypatch.setattr(backend, "_active", None)
    monkeypatch.setattr(doctor, "cuda_present", lambda: False)
    for named, words in cases.items():
        monkeypatch.setenv(llvm.VARIABLE, named)
        with pytest.raises(BackendError, match=words) as caught:
            init("cpu")
        assert re.search("Unset it, and Keyfall takes|Install one", str(caught.value))
        found = doctor.diagnose()
        assert not found.usable
        assert found.advice == str(caught.value)


def test_a_library_says_its_version_itself_whatever_it_is_called(monkeypatch, tmp_path):
    for library in llvm.find_llvm():
        renamed = tmp_path / f"libLLVM-{19 if library.major != 19 else 15}.so.{library.major}x"
        renamed.symlink_to(library.path)
        monkeypatch.setenv(llvm.VARIABLE, str(renamed))
        if library.usable:
            assert choose_llvm() == renamed
        else:
            with pytest.raises(BackendError, match=r"is LLVM"):
                choose_llvm()


def test_an_old_library_under_a_new_name_stays_old(monkeypatch, tmp_path):
    old = subprocess.CompletedProcess([], llvm._BEFORE_16, "", "")
    monkeypatch.setattr(llvm.subprocess, "run", lambda *_, **__: old)
    for name, major in (("libLLVM-19.so", None), ("libLLVM-15.so", 15)):
        (tmp_path / name).write_bytes(b"\x7fELF")
        assert llvm.asked_version(tmp_path / name) == (major, "is LLVM of a version before 16")
        monkeypatch.setenv(llvm.VARIABLE, str(tmp_path / name))
        with pytest.raises(BackendError, match=r"before 16|is LLVM 15"):
            choose_llvm()


def test_the_usual_places_of_windows_and_macos(monkeypatch, tmp_path):
    """On fakes: neither system runs here. Their libraries carry no version in the name, so they are asked."""
    places = {
        "Windows": ("LLVM/bin/LLVM-C.dll", b"MZ"), "Darwin": ("opt/llvm/lib/libLLVM.dylib", b"\xcf\xfa\xed\xfe"),
    }  # fmt: skip
    monkeypatch.delenv(llvm.VARIABLE, raising=False)
    monkeypatch.setenv("ProgramFiles", str(tmp_path).replace("/", "\\") if os.name == "nt" else str(tmp_path))
    monkeypatch.setattr(llvm, "asked_version", lambda path: (21, ""))
    monkeypatch.setitem(llvm._SEARCH, "Darwin", (str(tmp_path / "opt/llvm*/lib/libLLVM*.dylib"),))
    for system, (name, magic) in places.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True)
        path.write_bytes(magic + bytes(60))
        monkeypatch.setattr(llvm.platform, "system", lambda system=system: system)
        assert choose_llvm() == path
        path.write_text("junk")
        with pytest.raises(BackendError, match="Found: none"):
            choose_llvm()


def test_an_unknown_device_lists_the_allowed_ones():
    with pytest.raises(BackendError, match="auto, cuda, metal, cpu"):
        init("abacus")


def test_absent_cuda_is_said(monkeypatch):
    monkeypatch.setattr(backend, "_active", None)
    monkeypatch.setattr(backend, "cuda_present", lambda: False)
    with pytest.raises(BackendError, match="No NVIDIA driver"):
        init("cuda")


@pytest.mark.skipif(os.name != "posix", reason="as the library chooses its folder there")
def test_kernels_are_kept_where_they_can_be(monkeypatch, tmp_path):
    """The library itself takes a folder in the home folder, and complains where there is none."""
    cache, home, blocked = tmp_path / "cache", tmp_path / "home", tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv("KEYFALL_CACHE_DIR", str(cache))
    monkeypatch.setenv("DRJIT_CACHE_DIR", "")
    for named, kept in ((None, cache), (home, None), (blocked, cache)):
        monkeypatch.delenv("DRJIT_CACHE_DIR", raising=False)
        monkeypatch.delenv("HOME")
        if named is not None:
            monkeypatch.setenv("HOME", str(named))
        backend._choose_kernel_folder()
        assert os.environ.get("DRJIT_CACHE_DIR") == (str(kept / "kernels") if kept else None)
        monkeypatch.setenv("HOME", "/")
    monkeypatch.setenv("DRJIT_CACHE_DIR", "mine")
    backend._choose_kernel_folder()
    assert os.environ["DRJIT_CACHE_DIR"] == "mine"
