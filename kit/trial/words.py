"""Words of the class experiments that stand in data/trial/words.csv: what a card says of a step, where a teacher looks at a finding."""

from functools import cache

from kit import tables


@cache
def words_of(part: str) -> tuple[tuple[str, str, str], ...]:
    """(name, text, caution) of every row of a part, in the order of the file; name and caution may be empty."""
    rows = tables.read_rows("trial", "words.csv")
    return tuple((row["name"], row["text"], row["caution"]) for row in rows if row["part"] == part)
