"""Imported before all else of this package: the `keyfall` command handles signals from its first moments on, since the
imports that follow take a second. In other programs nothing happens."""

from .interrupts import is_command, take_signals

if is_command():
    take_signals()
