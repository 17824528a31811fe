"""How much memory a picture takes, before it is traced, and how much this machine lets it have."""

from __future__ import annotations

import math
import os
import sys
from dataclasses import dataclass, replace
from pathlib import Path

from materials import KeyfallError, default_bands
from scenes import Finding, build_stage, load_scene
from scenes.stage import Camera, Stage

from .cache import Cache
from .denoise import AT_ONCE_PX
from .olat import held_in_memory
from .passes import PIXELS_PER_LAUNCH

_ENV_LIMIT = "KEYFALL_MEMORY_GB"
_PROGRAM, _TRACER = 240e6, 160e6  # what is loaded for developing, and for tracing beside it
_PER_TRIANGLE, _PER_TRACED_TRIANGLE = 80.0, 100.0
_PER_DENOISED_PIXEL = 600.0
_WORKING_PLANES = 40
_UNUSABLE = 1.1  # freed memory between what is still in use
_CONTROL_GROUPS = (Path("/sys/fs/cgroup/memory.max"), Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"))


@dataclass(frozen=True, slots=True)
class Need:
    """What a stage takes: the picture traced, its lights, and the peak of memory in bytes, about."""

    width_px: int
    height_px: int
    lights: int
    peak_bytes: float

    def words(self) -> str:
        """The same in words."""
        lights = f"{self.lights} light{'' if self.lights == 1 else 's'}"
        return f"{self.width_px} x {self.height_px} pixels, {lights}, about {gigabytes(self.peak_bytes)} of memory"


def need_of(stage: Stage, cache: Cache, traced: bool = True) -> Need:
    """What tracing and developing a stage takes; with `traced` false, developing what the cache holds of it.

    The sizes of what is held at once while a light is traced, while it is denoised and while the picture is developed,
    beside what the program itself takes; measured by `tests/render/test_memory.py`. A large set's finished lights lie
    on disk where the cache has room for them, and the device's memory is given back before they are denoised.
    """
    camera, lights = stage.camera, len(stage.lights)
    pixels, bands, hazy = camera.width_px * camera.height_px, len(default_bands().nodes_nm), stage.haze is not None
    picture = 4.0 * bands * pixels  # one light, single precision; half of it in half precision
    plane = 4.0 * pixels
    small = held_in_memory((lights, bands, camera.height_px, camera.width_px))
    kinds = 3 + hazy
    kept = lights * kinds * picture / 2
    on_disk = not small and cache.limit_bytes >= kept
    guides = picture + 7.25 * plane
    launch = 4 * (2 + hazy) * 4.0 * bands * min(pixels, PIXELS_PER_LAUNCH)
    held = launch if small and traced else 0.0
    tracing = (2 + hazy) * picture + 2 * plane + launch
    scratch = _PER_DENOISED_PIXEL * min(pixels, AT_ONCE_PX)
    denoising = held + (2 + hazy) * picture + kinds * picture / 2 + _WORKING_PLANES * plane + scratch
    developing = held + (lights * picture if small else 0) + 2 * _WORKING_PLANES * plane + scratch
    before = 0.0 if on_disk else kept * (lights - 1) / max(lights, 1)
    peak = (0.0 if on_disk else kept) + developing
    program, each = _PROGRAM, _PER_TRIANGLE
    if traced:
        peak = max(before + max(tracing, denoising), peak)
        program, each = program + _TRACER, each + _PER_TRACED_TRIANGLE
    triangles = sum(len(shape.faces) for shape in (*stage.shapes, *stage.surroundings))
    bytes_ = program + each * triangles + _UNUSABLE * (guides + peak)
    return Need(camera.width_px, camera.height_px, lights, bytes_)


def limit_bytes() -> float:
    """Memory that may be used: KEYFALL_MEMORY_GB, or else what the machine or its container has.

    Raises
    ------
    KeyfallError
        When the variable is no number of gigabytes.
    """
    text = os.environ.get(_ENV_LIMIT)
    if text is None:
        return min([_machine_bytes(), *_container_bytes()])
    try:
        limit = float(text)
    except ValueError:
        limit = 0.0
    if not 0 < limit < 1e6:
        raise KeyfallError(f"{_ENV_LIMIT} is '{text}'. Allowed: a number of gigabytes above 0, such as 6.")
    return limit * 1e9


def _machine_bytes() -> float:
    if sys.platform == "win32":
        return _windows_bytes()
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (ValueError, OSError):
        return math.inf


def _windows_bytes() -> float:
    import ctypes

    class Status(ctypes.Structure):
        """MEMORYSTATUSEX."""

        _fields_ = (
            ("length", ctypes.c_ulong), ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "free", "page", "free_page", "virtual", "free_virtual")),
            ("extended", ctypes.c_ulonglong),
        )  # fmt: skip

    status = Status(length=ctypes.sizeof(Status))
    windll = getattr(ctypes, "windll", None)
    if windll is None or not windll.kernel32.GlobalMemoryStatusEx(ctypes.byref(status)):
        return math.inf
    return float(status.total)


def _container_bytes() -> list[float]:
    """Limits of the control group this process is in, where it is in one that has any."""
    found = []
    for path in _CONTROL_GROUPS:
        try:
            found.append(float(path.read_text(encoding="ascii")))
        except (OSError, ValueError):  # "max" is none
            continue
    return found


def require_memory(stage: Stage, cache: Cache, traced: bool = True) -> None:
    """Refuse to trace what cannot fit, or, with `traced` false, to develop what the cache holds.

    Raises
    ------
    KeyfallError
        With what is needed, what there is, and the largest picture that fits.
    """
    fault = memory_fault(stage, cache, traced)
    if fault is not None:
        raise KeyfallError(f"{fault[0].upper()}{fault[1:]}.")


def memory_fault(stage: Stage, cache: Cache, traced: bool = True) -> str | None:
    """Why a stage cannot be traced, or developed, in the memory there is; None when it can."""
    need, limit = need_of(stage, cache, traced), limit_bytes()
    if need.peak_bytes <= limit:
        return None
    most = largest_side(stage, cache, limit)
    cure = f"Lower long_side_px under [camera] to {most} or less" if most else "Use a machine with more memory"
    return (
        f"the picture does not fit into memory: {need.words()}, and {gigabytes(limit)} may be used. {cure}; "
        f"{_ENV_LIMIT} sets another limit"
    )


def size_up(path: Path) -> tuple[str, list[Finding]]:
    """What tracing a scene file without errors takes, in words; and an error if it does not fit into memory here.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used.
    """
    stage, cache = build_stage(load_scene(path)), Cache()
    fault = memory_fault(stage, cache)
    faults = [] if fault is None else [Finding(str(path), None, "error", "camera.long_side_px", fault)]
    return need_of(stage, cache).words(), faults


def largest_side(stage: Stage, cache: Cache, limit: float) -> int | None:
    """Pixels of the longest side of a picture of this stage that fits; None when not even 16 do."""
    camera = stage.camera
    longest = max(camera.width_px, camera.height_px)

    def fits(side: int) -> bool:
        return need_of(replace(stage, camera=_resized(camera, side / longest)), cache).peak_bytes <= limit

    if not fits(16):
        return None
    low, high = 16, longest
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _resized(camera: Camera, factor: float) -> Camera:
    width, height = (max(1, round(n * factor)) for n in (camera.width_px, camera.height_px))
    return replace(camera, width_px=width, height_px=height)


def gigabytes(count: float) -> str:
    """Bytes in gigabytes of a thousand million, to a tenth."""
    return f"{count / 1e9:.1f} GB"
