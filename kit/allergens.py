"""Which allergens do these names bring, by which list of law? Names alone: what a label says of a blend only its reader knows."""

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import tables
from kit.materials.words import plain


@dataclass(frozen=True, kw_only=True)
class Allergen(tables.Cited):
    """One class of one list of law. `allergen` is the kit's own key, `title` the list's word for it."""

    jurisdiction: str
    allergen: str
    title: str
    date_from: date | None
    date_to: date | None


@dataclass(frozen=True)
class Named:
    """One allergen and the names that bring it. `classes`: what each list in force calls it; empty where none of them names it."""

    allergen: str
    of: tuple[str, ...]
    classes: tuple[Allergen, ...]

    def __str__(self) -> str:
        titles = "; ".join(f"{one.jurisdiction}: {one.title}" for one in self.classes)
        return f"{self.allergen} from {', '.join(self.of)} ({titles})"


@lru_cache(maxsize=1)
def all_classes() -> tuple[Allergen, ...]:
    """Every row of data/rules/allergens.csv."""
    return tuple(
        Allergen(title=row.pop("class"), **tables.dated(row))
        for row in tables.read_rows("rules", "allergens.csv")
    )


def classes(on: date | None = None) -> tuple[Allergen, ...]:
    """The classes in force `on` that day (today where left out)."""
    return tuple(one for one in all_classes() if tables.in_force(one.date_from, one.date_to, on))


def allergens_in(names, on: date | None = None) -> tuple[Named, ...]:
    """Allergens that the names of ingredients bring, in the order of the lists. A name without a known word brings none here, and says nothing of its label."""
    found: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        written = plain(name)
        for word, keys, part in _words():
            if word in written if part else re.search(rf"\b{word}(?:e?s)?\b", written):
                for key in keys:
                    found.setdefault(key, []).append(name)
    held = classes(on)
    named = (
        Named(
            key, tuple(dict.fromkeys(found[key])), tuple(one for one in held if one.allergen == key)
        )
        for key in dict.fromkeys(one.allergen for one in held)
        if key in found
    )
    return tuple(named)


def caution(names) -> str:
    """One sentence for a page that offers these ingredients."""
    return _caution(tuple(names), tables.today())


@lru_cache(maxsize=64)
def _caution(names: tuple[str, ...], on: date) -> str:
    said = "; ".join(map(str, allergens_in(names, on))) or "none by their names"
    return (
        f"Allergens in what is offered here: {said}. Read every label: seasonings often carry mustard, celery, sesame, wheat, milk or soy. "
        "Declare allergens by your local code."
    )


@lru_cache(maxsize=1)
def _words() -> tuple[tuple[str, tuple[str, ...], bool], ...]:
    return tuple(
        (plain(row["word"]), tuple(row["allergens"].split("|")), row["match"] == "part")
        for row in tables.read_rows("rules", "allergen_words.csv")
    )
