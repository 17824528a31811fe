"""A kit in memory: heads and modifiers by name, the stock ones among them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..modifiers import Bulb, Modifier, Shaped, assemble
from .model import Head, Reading

STOCK_FOLDER = Path(__file__).parents[1] / "data"


@dataclass(frozen=True, eq=False)
class Kit:
    """Everything a scene may take from the kit; two kits are equal only when they are the same.

    Attributes
    ----------
    path : the user's kit file; None for the stock kit alone.
    title : of the user's file.
    heads, modifiers : by name; a name of the user's own takes the place of the stock's.
    own_heads, own_modifiers : names that come from the user's file.
    readings : those of the user's file.
    """

    path: Path | None
    title: str
    heads: Mapping[str, Head]
    modifiers: Mapping[str, Modifier]
    own_heads: frozenset[str]
    own_modifiers: frozenset[str]
    readings: tuple[Reading, ...]

    def folder_of_modifier(self, name: str) -> Path:
        """Folder in which the files a modifier names are looked for."""
        own = self.path is not None and name in self.own_modifiers
        return self.path.parent if own and self.path is not None else STOCK_FOLDER

    def folder_of_head(self, name: str) -> Path:
        """Folder in which the files a head names are looked for."""
        own = self.path is not None and name in self.own_heads
        return self.path.parent if own and self.path is not None else STOCK_FOLDER

    def shaped(self, modifiers: Sequence[str | Modifier], bulb: Bulb, folder: Path) -> Shaped:
        """The light of a lamp behind modifiers, named or described.

        Parameters
        ----------
        folder : where the files of a described modifier are looked for.

        Raises
        ------
        ModifierMismatch
            When they do not go together. KeyError for a name that the kit does not have.
        """
        chain = [self.modifiers[m] if isinstance(m, str) else m for m in modifiers]
        # only the first, which goes straight on the head, may read a file
        first = modifiers[0] if modifiers else None
        place = self.folder_of_modifier(first) if isinstance(first, str) else folder
        return assemble(chain, bulb, place)
