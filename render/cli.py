"""The `keyfall` command, with all its commands."""

from . import cli_files, cli_scene, cli_sheets
from .cli_app import app, main

__all__ = ["app", "cli_files", "cli_scene", "cli_sheets", "main"]

if __name__ == "__main__":
    main()
