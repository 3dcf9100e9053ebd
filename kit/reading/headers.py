"""Which row of a table is its header, and what are its columns called?"""

from collections.abc import Callable, Sequence

Known = Callable[[str], bool]
"""does a reader know this header?"""

NO_TABLE = (
    "one row of headers, and below it one row for each weighing or each batch; or say header_row"
)


def find_header(rows: Sequence[Sequence[str]], known: Known) -> int | None:
    """Place of the row with the most headers that are known, else of the first row of texts."""
    scores = [count_known(row, known) for row in rows]
    if scores and max(scores) >= 2:
        return scores.index(max(scores))
    filled = [sum(bool(cell.strip()) for cell in row) for row in rows]
    width = max(filled, default=0)
    texts = (not any(_numeric(cell) for cell in row) for row in rows)
    full = [n for n, text in enumerate(texts) if width > 1 and filled[n] == width and text]
    return full[0] if full else None


def count_known(row: Sequence[str], known: Known) -> int:
    cells = (cell.strip()[:100] for cell in row if cell.strip() and not _numeric(cell))
    return sum(known(cell) for cell in cells)


def _numeric(cell: str) -> bool:
    return cell.strip().replace(".", "").replace(",", "").lstrip("-").isdigit()


def unique_names(header) -> tuple[str, ...]:
    """Names without doubles: a second 'Weight' is 'Weight (2)', one without a header 'column 7'."""
    names: list[str] = []
    for n, cell in enumerate(header, 1):
        name = stem = " ".join(str(cell).split()) or f"column {n}"
        count = 1
        while name in names:
            count += 1
            name = f"{stem} ({count})"
        names.append(name)
    return tuple(names)
