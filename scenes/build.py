"""From a scene to the stage that is traced."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from . import stage
from .backdrop import Backdrop, Seen, seen_backdrop
from .check import parts_of
from .findings import Problem, SceneError
from .haze import resolve_haze
from .light_colour import gel_of, source_of
from .meters import exact_f_number, format_power
from .model import Light, Room, Scene, Sitter
from .model.scene import role_of
from .pieces import piece_net, piece_shapes, set_piece
from .placing import PlacedSitter
from .probes import aim_probes, probes_of
from .resolve import aim_point, backdrop_of
from .strength import output_of
from .studio import GROUND_RADIUS_M, Surface, background_surface, ground_surface, holed, room_surfaces
from .surroundings import far_surfaces
from .survey import has_errors
from .walk import look_over
from .white import card_probe, white_of
from .windows import glass_of, openings_of, places_of, set_windows, window_surfaces

if TYPE_CHECKING:
    from materials.finishes import Finish

    from .kit import Equipment
    from .parts import Survey


def build_stage(scene: Scene) -> stage.Stage:
    """Resolve a scene to meshes, camera, lights and meter points.

    The same scene gives the same arrays, byte for byte.

    Raises
    ------
    SceneError
        When the scene has an error that only shows on the set, such as a light inside the sitter.
    """
    walk = look_over(scene.model_dump(exclude_unset=True, exclude_none=True), parts_of(scene))
    return stage_of(scene, walk.found, walk.problems)


def stage_of(scene: Scene, found: Survey, problems: list[Problem]) -> stage.Stage:
    """The stage of a scene that was walked round: what was `found`, and the `problems` met.

    Raises
    ------
    SceneError
        As for `build_stage`.
    """
    name = scene.title or "the scene"
    findings = [problem.at(name) for problem in problems]
    sitter, camera = found.sitter, found.camera
    if sitter is None or camera is None or has_errors(problems):
        raise SceneError(findings)
    backdrop = backdrop_of(scene.background, scene.room)
    return stage.Stage(
        title=scene.title,
        shapes=(
            *_sitter_shapes(scene.sitter, sitter),
            *(_shape(*entry) for entry in _surfaces(scene)),
            *(shape for name, sheet in found.sheets.items() for shape in piece_shapes(name, scene.piece[name], sheet)),
        ),
        camera=camera,
        lights=tuple(_light(name, light, found, scene.folder) for name, light in scene.light.items()),
        probes=(
            *probes_of(sitter, camera, backdrop, None if backdrop is None else _past_sitter(backdrop, found)),
            *(() if backdrop is None else aim_probes(backdrop, _aimed_at_places(scene, found))),
            *((card,) if (card := card_probe(scene.exposure.white_balance, found)) is not None else ()),
        ),
        exposure=stage.Exposure(
            iso=scene.exposure.iso,
            f_number=exact_f_number(scene.exposure.f_number),
            shutter_s=scene.exposure.shutter_s,
            white_balance=white_of(scene.exposure.white_balance, scene.folder),
        ),
        landmarks=found.places,
        warnings=tuple(f"{f.where}: {f.message}. {f.fix}".strip() for f in findings if f.severity == "warning"),
        notes=tuple(f"{f.where}: {f.message}." for f in findings if f.severity == "note"),
        nets=tuple(
            net
            for name, sheet in found.sheets.items()
            if (net := piece_net(name, scene.piece[name], sheet)) is not None
        ),
        surroundings=tuple(_shape(*entry) for entry in far_surfaces(scene, _ground_radius(scene), camera)),
        panes=glass_of(scene.room),
        openings=openings_of(scene.room),
        windows=set_windows(scene.room),
        haze=resolve_haze(scene.haze, scene.room) if scene.haze is not None else None,
        pieces=tuple(set_piece(name, scene.piece[name], sheet) for name, sheet in found.sheets.items()),
        set_up=tuple(scene.set_up),
    )


@functools.lru_cache(maxsize=64)
def _finish(name: str) -> Finish:
    from materials.finishes import make_finish

    return make_finish(name)


@functools.lru_cache(maxsize=64)
def _body_finish(slot: str, name: str) -> Finish:
    from materials import eye, hair, skin

    if slot == "skin":
        return skin.skin_finish(name)
    if slot == "eye":
        return eye.eye_finish(name)
    return eye.teeth_finish() if slot == "teeth" else hair.hair_finish(name)


def _part_finish(slot: str, table: Sitter, placed: PlacedSitter) -> Finish:
    figure = placed.figure
    if figure is None:
        return _finish(table.finish)
    if slot == "skin":
        return _body_finish("skin", table.skin or figure.skin)
    if slot == "eye":
        return _body_finish("eye", table.iris or figure.iris)
    if slot == "teeth":
        return _body_finish("teeth", "")
    if slot in ("hair", "brow", "lash"):
        return _body_finish("hair", table.hair or figure.hair)
    chosen = table.seat if slot == "seat" else getattr(table.clothes, slot)
    return _finish(chosen or figure.clothes[slot])


def _sitter_shapes(table: Sitter, placed: PlacedSitter) -> Iterator[stage.Shape]:
    for part in placed.parts:
        yield stage.Shape(
            name=f"sitter.{part.name}",
            region=part.region,
            vertices=part.vertices,
            faces=part.faces,
            normals=part.normals,
            finish=_part_finish(part.slot, table, placed),
            tints=part.tints,
            gloss=part.gloss,
        )


def _surfaces(scene: Scene) -> Iterator[tuple[Surface, str, str | Finish]]:
    """Surfaces of the place, each with its region and finish."""
    if scene.room is None:
        ground = scene.ground.finish if scene.ground is not None else "concrete"
        yield ground_surface(_ground_radius(scene)), "floor", ground
    else:
        behind = "wall" if scene.background is not None else "background"
        for side, surface in room_surfaces(scene.room).items():
            kind = {"floor": "floor", "ceiling": "ceiling"}.get(side, "walls")
            region = {"floor": "floor", "back": behind}.get(side, "wall")
            yield _with_windows(surface, scene.room), region, getattr(scene.room, kind)
        for surface, finish in window_surfaces(scene.room):
            yield surface, "wall", finish
    if scene.background is not None:
        yield background_surface(scene.background), "background", scene.background.finish


def _with_windows(surface: Surface, room: Room) -> Surface:
    windows = [place for name, place in places_of(room).items() if room.window[name].wall == surface.name]
    corners = [(place, place.size_m / 2) for place in windows]
    holes = [(place.at(-x, -y, 0.0), place.at(x, y, 0.0)) for place, (x, y) in corners]
    return holed(surface, holes) if holes else surface


def _ground_radius(scene: Scene) -> float:
    """Far enough that the camera stands on it with room to spare."""
    x, _, z = scene.camera.at_m or (0.0, 0.0, scene.camera.distance_m or 0.0)
    return max(GROUND_RADIUS_M, 2 * math.hypot(x, z))


def _shape(surface: Surface, region: str, finish: str | Finish) -> stage.Shape:
    count = len(surface.vertices)
    return stage.Shape(
        name=surface.name if "." in surface.name else f"set.{surface.name}",
        region=region,
        vertices=surface.vertices,
        faces=surface.faces,
        normals=surface.normals,
        finish=_finish(finish) if isinstance(finish, str) else finish,
        tints=np.zeros((count, 3), np.uint8) if surface.tints is None else surface.tints,
        gloss=np.zeros(count, np.uint8),
        veil=surface.veil,
    )


def _aimed_at_places(scene: Scene, found: Survey) -> dict[str, stage.Fixture]:
    """Fixtures that the scene points at a place rather than a landmark."""
    return {
        name: fixture
        for name, fixture in found.fixtures.items()
        if fixture is not None and not isinstance(scene.light[name].aim, str)
    }


def _past_sitter(backdrop: Backdrop, found: Survey) -> Seen:
    """What the camera sees of the backdrop, and where the lights of the scene, on or off, throw the sitter's shadow."""
    assert found.sitter is not None
    assert found.camera is not None
    sitter = found.sitter.cover_m
    hiding = [sheet.points() for sheet in found.sheets.values()]
    others = np.concatenate(hiding) if hiding else np.zeros((0, 3))
    lights = [fixture.centre_m for fixture in found.fixtures.values() if fixture is not None]
    suns = [far.distant.toward for far in found.far.values() if far.distant.kind == "sun"]
    return seen_backdrop(backdrop, found.camera, sitter, others, lights, suns)


def _light(name: str, light: Light, found: Survey, folder: Path) -> stage.Light:
    fixture, kit, far = found.fixtures[name], found.equipment.get(name), found.far.get(name)
    return stage.Light(
        name=name,
        role=role_of(name, light),
        fixture=fixture,
        source=source_of(light, kit, far, folder),
        gel=gel_of(light, folder),
        output=output_of(light, fixture, kit, far),
        flash=kit.flash if kit is not None and kit.flash is not None else light.is_flash(),
        on=light.on,
        power_setting=_power_setting(light, kit),
        distant=far.distant if far is not None else None,
        head=kit.head if kit is not None and kit.head is not None else _own_head(light),
        modifiers=kit.modifiers if kit is not None else (),
        appearance=kit.appearance if kit is not None else None,
        fronts=kit.fronts if kit is not None else (),
        bare=kit.bare if kit is not None else None,
        modifier_stops=kit.modifier_stops if kit is not None else 0.0,
        aim=light.aim if fixture is not None and isinstance(light.aim, str) else None,
        aim_m=None if fixture is None else aim_point(light.aim, found.places, ("light", name, "aim")),
        power=light.power_fraction() if _has_power(light, kit) else None,
        moment=light.time,
    )


def _own_head(light: Light) -> stage.HeadInfo | None:
    """A flash that the scene describes by its energy, as far as it does."""
    if light.energy_ws is None:
        return None
    return stage.HeadInfo("", light.energy_ws, light.power_fraction(), None, None, None, None, False)


def _has_power(light: Light, kit: Equipment | None) -> bool:
    """Whether the scene says of a light how it is set."""
    head = kit.head if kit is not None else None
    energy = light.energy_ws is not None or (head is not None and head.energy_ws is not None)
    return energy or bool(light.given("power", "power_stops"))


def _power_setting(light: Light, kit: Equipment | None) -> str | None:
    """How the head is set, e.g. "500 Ws at 1/8 (-3.0)"; None where the scene names neither energy nor power."""
    setting = format_power(light.power_fraction())
    energy_ws = kit.head.energy_ws if kit is not None and kit.head is not None else light.energy_ws
    if energy_ws is not None:
        return f"{energy_ws:g} Ws at {setting}"
    return f"at {setting}" if light.given("power", "power_stops") else None
