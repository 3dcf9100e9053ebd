"""What goes into the question: one raw batter, or many at once."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from kit import tables
from kit.errors import UnknownName, need, need_all_between, need_known
from kit.faults import need_said

FAT_KINDS = ("soft pork", "pork back", "beef", "poultry", "oil")

# field -> (lowest, highest, words): what is possible at all. What was tried is narrower: data/reference/emulsion.csv, emulsion_base_*.
_POSSIBLE = {
    "water_pct": (0, 100, "water, % of raw batter"),
    "protein_pct": (0, 100, "meat protein, % of raw batter"),
    "fat_pct": (0, 100, "fat, % of raw batter"),
    "salt_pct": (0, 30, "salt, % of raw batter"),
    "collagen_pct_of_protein": (0, 100, "collagen, % of meat protein"),
    "phosphate_pct": (0, 5, "phosphate, % of raw batter"),
    "pH": (3, 10, "pH of raw batter"),
    "nonmeat_protein_pct": (0, 100, "non-meat protein, % of raw batter"),
    "starch_pct": (0, 100, "starch, % of raw batter"),
    "fibre_pct": (0, 100, "fibre, % of raw batter"),
    "end_C": (-10, 60, "final chopping temperature, °C"),
    "core_C": (0, 125, "cooked core temperature, °C"),
    "drop_um": (0.05, 1000, "fat globule size, µm"),
}
NUMBERS = tuple(_POSSIBLE)
PARTS = tuple(name for name in NUMBERS if name.endswith("_pct"))
"""the fields that are grams in 100 g of batter, so that together they cannot pass 100"""


def possible(name: str) -> tuple[float, float]:
    """The lowest and highest value of a field that can be at all."""
    return _POSSIBLE[name][:2]


@dataclass(frozen=True)
class Batter:
    """A raw batter and what is done to it. `_pct` is grams in 100 g of raw batter. Every number may be an array; arrays broadcast.

    `phosphate_pct` as sodium tripolyphosphate. `drop_um` is the surface mean diameter of the fat that left its cells.
    `fat_kind` is one of FAT_KINDS, or shares of several ({"beef": 0.4, "pork back": 0.6}).
    Raises OutOfRange for what cannot be, UnknownName for a fat kind.
    """

    water_pct: float
    protein_pct: float
    fat_pct: float
    salt_pct: float
    collagen_pct_of_protein: float = 20.0
    phosphate_pct: float = 0.0
    pH: float = 5.9
    nonmeat_protein_pct: float = 0.0
    starch_pct: float = 0.0
    fibre_pct: float = 0.0
    end_C: float = 13.0
    core_C: float = 72.0
    drop_um: float = 20.0
    fat_kind: str | Mapping[str, float] = "pork back"

    def __post_init__(self):
        for name, (low, high, words) in _POSSIBLE.items():
            object.__setattr__(self, name, _plain(words, getattr(self, name), low, high))
        object.__setattr__(self, "fat_kind", _shares(self.fat_kind))
        total = sum(getattr(self, name) for name in PARTS)
        need_said(np.max(total) <= 100.5, "batter over 100", total=np.max(total))
        meat = self.protein_pct * (1 - self.collagen_pct_of_protein / 100)
        need_said(np.min(meat + self.nonmeat_protein_pct) > 0, "no functional protein")
        need_said(np.min(self.protein_pct) > 0, "no meat protein")

    def but(self, **changes) -> "Batter":
        """The same batter with some fields changed and all others as they were."""
        unknown = [name for name in changes if name not in self.__dataclass_fields__]
        if unknown:
            raise UnknownName("batter field", unknown[0], list(self.__dataclass_fields__))
        return replace(self, **changes)

    def mixed_with(self, grams, **pct_of_addition) -> "Batter":
        """100 g of this batter with `grams` of something stirred in (or taken out, if negative), as 100 g again.

        `pct_of_addition`: what the addition is made of, such as water_pct=100 for ice or fat_pct=100 for fat. Its protein is
        taken to bring no collagen; the collagen share is thinned or thickened to match.
        """
        total = 1 + np.asarray(grams) / 100
        new = {
            name: (getattr(self, name) + grams * pct_of_addition.get(name, 0.0) / 100) / total
            for name in PARTS
        }
        for name, amount in new.items():
            held, what = np.min(getattr(self, name)), _POSSIBLE[name][2].split(",")[0]
            enough = np.min(amount) >= -1e-9
            need_said(enough, "more than there is", held=held, what=what, grams=-np.min(grams))
        collagen = self.protein_pct * self.collagen_pct_of_protein / 100 / total
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(new["protein_pct"] > 0, 100 * collagen / new["protein_pct"], 0.0)
        return self.but(
            **{name: np.maximum(amount, 0.0) for name, amount in new.items()},
            collagen_pct_of_protein=share,
        )

    @property
    def fat_shares(self) -> Mapping[str, float]:
        """{fat kind: share}, adding up to 1."""
        return {self.fat_kind: 1.0} if isinstance(self.fat_kind, str) else self.fat_kind

    @property
    def shape(self) -> tuple[int, ...]:
        return np.broadcast_shapes(*(np.shape(getattr(self, name)) for name in NUMBERS))


def untried(batter: Batter) -> tuple[str, ...]:
    """One note for each input outside the range where the model was tried."""
    notes = []
    for name in NUMBERS:
        bound, given = tables.number(f"emulsion_base_{name}"), np.asarray(getattr(batter, name))
        outside = given[(given < bound.low) | (given > bound.high)]
        if outside.size:
            worst = outside.flat[np.argmax(np.abs(outside - bound.value))]
            notes.append(
                f"{_POSSIBLE[name][2]} is {worst:g}; the model was tried between {bound.low:g} and {bound.high:g} only"
            )
    return tuple(notes)


def _plain(words: str, given, low: float, high: float):
    """A float, or the array of many."""
    number = need_all_between(words, given, low, high)
    return number if number.ndim else float(number)


def _shares(kind) -> dict[str, float]:
    """{fat kind: share}, adding up to 1."""
    given = {kind: 1.0} if isinstance(kind, str) else dict(kind)
    for name, share in given.items():
        need_known("fat kind", name, FAT_KINDS)
        given[name] = _plain(f"share of {name} fat", share, 0, 1e9)
    total = sum(given.values())
    need(np.min(total) > 0, "the shares of the fat kinds add up to 0; give at least one above 0")
    shares = {name: share / total for name, share in given.items()}
    return {name: float(share) if np.ndim(share) == 0 else share for name, share in shares.items()}
