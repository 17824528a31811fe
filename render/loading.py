"""Sets for tracing: opened once, with a hash of all that was read for them."""

from __future__ import annotations

from pathlib import Path

from scenes import OpenSet, open_set

from .cache import content_hash


def opened(scene: str | Path | OpenSet) -> OpenSet:
    """The set of a scene file, or the set itself.

    Raises
    ------
    SceneError
        For a scene that cannot be used.
    """
    return scene if isinstance(scene, OpenSet) else open_set(scene)


def scene_hash(scene: OpenSet) -> str:
    """Hash of the very bytes that a stage is made of.

    It is of the scene, with its changes made, and of the content of every file that was read for it: the scene file
    itself, kit, meshes, measured spectra, photometric files, slides. Where they lie does not enter.

    Raises
    ------
    KeyfallError
        For a file that cannot be used, or changes meanwhile.
    """
    _ = scene.stage  # reads what is left to read
    return content_hash(scene.scene.model_dump_json(), sorted(scene.files.checksums.values()))
