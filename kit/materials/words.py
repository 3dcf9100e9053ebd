"""Which material does this word of the trade mean, in English, German or Spanish? Is it a word for a cure?

Salts of curing look alike and differ in strength, so none is guessed.
"""

import re
import unicodedata
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache

from kit.errors import UnknownStrength, need
from kit.tables import Cited, read_rows, value


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


@dataclass(frozen=True, kw_only=True)
class CureWord(Cited):
    """What the trade calls a cure. `match`: "phrase" of whole words, or "part" of a word. `brings`: nitrite, nitrate, or both."""

    term: str
    language: str
    match: str
    brings: str


@lru_cache(maxsize=1)
def cure_words() -> tuple[CureWord, ...]:
    """Every row of data/cure_words.csv."""
    return tuple(CureWord(**row) for row in read_rows("cure_words.csv"))


@lru_cache(maxsize=2048)
def cure_word(name: str) -> CureWord | None:
    """The trade word for a cure that stands in `name`, or that `name` is by a typing error; None where there is none."""
    written, near = plain(name[:200]), value("cure_word_likeness")
    for word, term in _cure_terms():
        if word.match == "part":
            if term in written:
                return word
            continue
        like = SequenceMatcher(None, written, term)
        tests = (like.real_quick_ratio, like.quick_ratio, like.ratio)  # the quick ones first
        if f" {term} " in f" {written} " or all(alike() >= near for alike in tests):
            return word
    return None


@lru_cache(maxsize=1)
def _cure_terms() -> tuple[tuple[CureWord, str], ...]:
    return tuple((word, plain(word.term)) for word in cure_words())


def which_strength(name: str) -> str:
    """The question to ask about a cure that is named without its strength."""
    word = cure_word(name)
    brings = word.brings if word else "nitrite"
    first, other = ("nitrate", "nitrite") if brings == "nitrate" else ("nitrite", "nitrate")
    return (
        f"{name.strip()!r} is what the trade calls a salt that carries {brings}: which strength? Such salts look alike, and none is guessed; "
        f"write kind = 'cure' and {first}_pct (and {other}_pct, if it names any) from the bag's label"
    )


def plain(text: str) -> str:
    """Small letters and digits without accents, one space between words; 'No. 1', 'number 1' and '#1' are all '1'."""
    bare = "".join(
        c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c)
    ).replace("oe", "o")
    return re.sub(r"\b(?:no|nr|number) (?=\d)", "", " ".join(re.findall(r"[^\W_]+", bare)))
