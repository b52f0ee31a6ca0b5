"""Names for an invented range: plain country words, joined by code."""

from __future__ import annotations

import numpy as np

__all__ = ["Namer"]

FIRST = (
    "Sorrel", "Tinder", "Latigo", "Ember", "Drover", "Kestrel", "Cinch", "Marrow", "Thistle", "Hobble",
    "Lantern", "Ptarmigan", "Gimlet", "Saltlick", "Windlass", "Tansy", "Bellwether", "Skillet", "Fiddle",
    "Whetstone", "Juniper", "Magpie", "Tallow", "Yarrow", "Bridle", "Cricket", "Hackamore", "Larkspur",
    "Mitten", "Needle", "Oxbow", "Pannier", "Chisel", "Clover", "Gravel", "Hatchet", "Kettle", "Linnet",
    "Maul", "Nettle", "Plumb", "Rowel", "Sable", "Tether", "Vetch", "Withers", "Awl", "Bramble", "Cornice",
    "Dowel", "Flint", "Gable", "Hames", "Ladle", "Mallet", "Spindle", "Quill", "Rasp", "Sickle", "Tumble",
    "Wether", "Anvil", "Burdock", "Candle", "Dapple", "Felter", "Gentian", "Harrow",
)  # fmt: skip


class Namer:
    """Gives each thing a name of its own.

    Parameters
    ----------
    seed
        The same seed gives the same names in the same order.
    """

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed + 404)
        self._words = [FIRST[i] for i in rng.permutation(len(FIRST))]
        self._given = 0

    def word(self) -> str:
        """The next first word; when all are used, they begin again as 'Upper ...'."""
        turn, at = divmod(self._given, len(self._words))
        self._given += 1
        return "Upper " * turn + self._words[at]

    def name(self, *kinds: str) -> str:
        """A first word with one of the kinds ('Knob', 'Peak' ...)."""
        return f"{self.word()} {kinds[self._given % len(kinds)]}"
