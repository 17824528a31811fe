"""A look over the tables of a scene: names, files, kit, and a walk round the set; what did not change is not redone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .findings import Finding, Problem
from .haze import haze_problems
from .kit import Equipment, Kit, calibrate, check_kit, equip, stock_kit
from .light_colour import emitted_by, narrow_problems
from .model import Light
from .model.scene import scene_problems, set_up_problems
from .parts import Parts, Survey
from .stock import kit_name_problems, name_problems
from .survey import survey
from .sync import sync_problems
from .white import white_problems

_SAME_PLACE = ("gels", "power", "power_stops", "cct_k")
"""Keys of a light that change nothing of what stands where."""

Fitted = tuple[Equipment | None, list[Problem]]


@dataclass(frozen=True, slots=True)
class Walk:
    """What a look over a scene found.

    Attributes
    ----------
    parts : the sound tables that it looked at. problems : between them, with names and files, and on the set.
    found : what stands where. kit : what the lights were made of, by the name in the scene; None if it cannot be used.
    fitted : head and modifiers of every light made of kit, with what is wrong with them.
    """

    parts: Parts
    problems: list[Problem]
    found: Survey
    kit_name: Any
    kit: Kit | None
    kit_problems: list[Problem]
    fitted: dict[str, Fitted]


def look_over(data: dict[str, Any], parts: Parts, before: Walk | None = None) -> Walk:
    """Look at the tables of a scene and walk round its set.

    Parameters
    ----------
    data : the tables as they are written. parts : those of them that are sound.
    before : the walk round an error-free set in the same folder that this one differs little from; what is the same
        there (sitter, kit, places) is taken over.
    """
    problems = [
        *scene_problems(parts.room, parts.ground, parts.lights), *_set_up(data), *name_problems(data, parts.folder)
    ]  # fmt: skip
    if any(p.path[:2] == ("sitter", "figure") for p in problems):
        parts = replace(parts, sitter=None)
    kit_name = data.get("kit")
    if before is not None and before.kit_name == kit_name:
        kit, kit_problems = before.kit, before.kit_problems
    else:
        kit, kit_problems = _kit_of(kit_name, parts.folder)
    told = list(kit_problems)
    fitted: dict[str, Fitted] = {}
    if kit is not None:
        told += kit_name_problems(data, kit)
        fitted = _fitted(parts, kit, before)
        told += [p.within("light", name) for name, (_, wrong) in fitted.items() for p in wrong]
    equipment = {name: made for name, (made, _) in fitted.items() if made is not None}
    if parts.exposure is not None:
        flashes = _sync_times(parts, equipment)
        told += [p.within("exposure") for p in sync_problems(parts.exposure.shutter_s, flashes)]
    if parts.haze is not None:
        told += [p.within("haze") for p in haze_problems(parts.haze, parts.room)]
    found = survey(parts, equipment, *_taken_over(parts, kit, before))
    emitted = emitted_by(parts.lights, equipment, found.far, parts.folder)
    told += [*narrow_problems(emitted), *white_problems(parts, found, emitted)]
    return Walk(parts, problems + told + found.problems, found, kit_name, kit, kit_problems, fitted)


def _fitted(parts: Parts, kit: Kit, before: Walk | None) -> dict[str, Fitted]:
    known = before if before is not None and before.kit is kit else None
    fitted = {}
    for name, light in parts.lights.items():
        if light.from_kit():
            same = known is not None and name in known.fitted and _same(known.parts.lights[name], light)
            fitted[name] = known.fitted[name] if known is not None and same else equip(light, kit, parts.folder)
    return fitted


def _same(one: Light, other: Light) -> bool:
    """Whether two tables say the same, and by the same keys."""
    return one == other and one.model_fields_set == other.model_fields_set


def _taken_over(parts: Parts, kit: Kit | None, before: Walk | None) -> tuple[Survey | None, bool]:
    """The earlier survey where its sitter is the same, and whether everything else stands as it did there."""
    if before is None or before.parts.sitter != parts.sitter:
        return None, False
    return before.found, before.kit is kit and _standing(before.parts) == _standing(parts)


def _standing(parts: Parts) -> tuple[Any, ...]:
    """Everything that decides what stands where, to be compared."""
    apart = set(_SAME_PLACE)
    lights = {
        name: (light.model_dump(exclude=apart), light.model_fields_set - apart) for name, light in parts.lights.items()
    }
    return parts.camera, parts.room, parts.ground, parts.background, list(lights), lights, parts.pieces


def _set_up(data: dict[str, Any]) -> Iterator[Problem]:
    order, lights = data.get("set_up"), data.get("light")
    if isinstance(order, list) and isinstance(lights, dict) and all(isinstance(name, str) for name in order):
        yield from set_up_problems(order, lights)


def _sync_times(parts: Parts, equipment: dict[str, Equipment]) -> list[float | None]:
    """Of every flash that is on, the shortest shutter time of its head; None where that is not known."""
    times = []
    for name, light in parts.lights.items():
        kit = equipment.get(name)
        if light.on and (kit.flash if kit is not None and kit.flash is not None else light.is_flash()):
            times.append(kit.head.sync_s if kit is not None and kit.head is not None else None)
    return times


def _kit_of(given: Any, folder: Path) -> tuple[Kit | None, list[Problem]]:
    """The kit that a scene names, or the stock kit; None when it cannot be used."""
    if given is None:
        return stock_kit(), []
    if not isinstance(given, str) or not given:
        return None, []
    kit, findings = check_kit(folder / given)
    if kit is None:
        return None, [Problem(("kit",), _said(f), f.allowed, f.fix, f.severity) for f in findings]
    doubts = calibrate(kit).warnings
    return kit, [Problem(("kit",), f"{given}: {w.message}", w.allowed, w.fix, w.severity) for w in doubts]


def _said(finding: Finding) -> str:
    """What is wrong in another file, with its place there."""
    place = finding.path if finding.line is None else f"{finding.path}:{finding.line}"
    return f"{place}: {finding.where + ': ' if finding.where else ''}{finding.message}"
