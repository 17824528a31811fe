"""Colours of a sheet."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours as #rrggbb.

    Attributes
    ----------
    paper : the page; panel : a quiet area on it. ink : type; quiet : type that steps back; line : hairlines.
    accent : what is pointed at; cool : a second hue beside it; good, doubt : a check met, and one that is not.
    """

    name: str
    paper: str
    panel: str
    ink: str
    quiet: str
    line: str
    accent: str
    cool: str
    good: str
    doubt: str


LIGHT = Theme(
    "light", paper="#fbfaf7", panel="#f1eee8", ink="#1d1f24", quiet="#666a73", line="#d5d1c8", accent="#a9621c",
    cool="#2f5d8c", good="#2f6f4e", doubt="#a23b2e",
)  # fmt: skip
DARK = Theme(
    "dark", paper="#17181b", panel="#212327", ink="#eeebe5", quiet="#a3a5ab", line="#3a3d43", accent="#e0a15a",
    cool="#8fb4dd", good="#8fc9a5", doubt="#ea9384",
)  # fmt: skip
THEMES = {theme.name: theme for theme in (LIGHT, DARK)}
