"""The `keyfall` command, with all its commands."""

from . import cli_scene, cli_sheets
from .cli_app import app

__all__ = ["app", "cli_scene", "cli_sheets"]
