"""Which material does this word of the trade mean, in English, German or Spanish?"""

from dataclasses import dataclass
from functools import lru_cache

from kit.errors import UnknownStrength, need
from kit.materials.cure_words import cure_word, plain, which_strength
from kit.tables import Cited, read_rows


@dataclass(frozen=True, kw_only=True)
class Word(Cited):
    """One word of the trade and the row of data/materials.csv that it means.

    A spice means 'spice, generic': keep its own word as the name of the line, for the allergen is read from that name.
    """

    word: str
    language: str
    material: str


@lru_cache(maxsize=1)
def words() -> tuple[Word, ...]:
    """Every row of data/materials_words.csv."""
    return tuple(Word(**row) for row in read_rows("materials_words.csv"))


def search(text: str) -> tuple[Word, ...]:
    """The words of the trade that `text` holds whole, the longest first; none where it holds none.

    Raises UnknownStrength for a trade word for a cure: which strength is asked, nothing is offered.
    """
    need(cure_word(text) is None, which_strength(text), UnknownStrength)
    written = f" {plain(text[:200])} "
    found = (one for one in words() if f" {plain(one.word)} " in written)
    return tuple(sorted(found, key=lambda one: -len(one.word)))
