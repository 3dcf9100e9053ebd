"""Pages that can be printed."""

from collections.abc import Iterable, Sequence
from html import escape


class Markup(str):
    """Text that is HTML already."""


def html(text) -> str:
    """Escaped, but what is HTML already."""
    return text if isinstance(text, Markup) else escape(str(text))


def listed(heading: str, items: Iterable[str], kind: str = "ul") -> str:
    """Items under a heading, escaped; nothing where there are none."""
    entries = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<h2>{escape(heading)}</h2><{kind}>{entries}</{kind}>" if entries else ""


def table(
    head: Sequence | Markup,
    rows: Iterable[Sequence],
    kinds: Sequence[str] = (),
    named: bool = False,
) -> str:
    """Rows under a head of cells, or of rows made before. kinds: class of each column. named: the first cell of a row is its heading."""
    whole = head if isinstance(head, Markup) else _line(head, ["th"] * len(head), ())
    for row in rows:
        tags = ["th" if named else "td", *["td"] * (len(row) - 1)]
        whole += _line(row, tags, kinds)
    return f"<table>{whole}</table>"


def _line(cells: Sequence, tags: Sequence[str], kinds: Sequence[str]) -> str:
    marks = [f' class="{one}"' if one else "" for one in kinds] + [""] * len(cells)
    its = (f"<{tag}{mark}>{html(one)}</{tag}>" for one, tag, mark in zip(cells, tags, marks))
    return f"<tr>{''.join(its)}</tr>"
