"""What does this word of the trade mean? The glossary, as panels and the first page show it."""

from dataclasses import dataclass
from functools import cache

from kit.tables import read_rows


@dataclass(frozen=True)
class GlossaryTerm:
    """One word of the glossary. `instead_of`: one regular expression, of whole words in any case, of what is not written in its place."""

    term: str
    de: str
    es: str
    fr: str
    meaning: str
    unit: str
    instead_of: str
    status: str
    source: str


@cache
def terms() -> tuple[GlossaryTerm, ...]:
    """Every row of data/words/terms.csv, in its order: from the meat to the batches."""
    return tuple(GlossaryTerm(**row) for row in read_rows("words", "terms.csv"))
