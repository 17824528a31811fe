"""From a scene file to its stage, and a hash of all that was read for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from materials.reading import FileLog
from scenes import Scene, build_stage, load_scene
from scenes.stage import Stage

from .cache import content_hash


@dataclass(frozen=True, slots=True)
class Loaded:
    """A scene as it is traced, and `hash` of the bytes it was made of."""

    stage: Stage
    hash: str


def load(path: Path) -> Loaded:
    """Read a scene file and everything it names, once.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used, or a file that changes meanwhile.
    """
    files = FileLog()
    with files:
        scene = load_scene(path)
    return staged(scene, files)


def staged(scene: Scene, files: FileLog) -> Loaded:
    """The stage of a scene whose files read so far are `files`.

    The hash is of the scene, with its changes made, and of the content of every file that was read for it: the scene
    file itself, kit, meshes, measured spectra, photometric files, slides. Where they lie does not enter.

    Raises
    ------
    KeyfallError
        As for `load`.
    """
    with files:
        stage = build_stage(scene)
    return Loaded(stage, content_hash(scene.model_dump_json(), sorted(files.checksums.values())))
