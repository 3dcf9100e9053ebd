"""Pages that can be printed."""

import re
from collections.abc import Iterable, Sequence
from functools import cache
from html import escape
from pathlib import Path


class Markup(str):
    """Text that is HTML already."""


def html(text) -> str:
    """Escaped, but what is HTML already."""
    return text if isinstance(text, Markup) else escape(str(text))


def filled(name: str, **parts) -> Markup:
    """A page of `templates`, or a part of one: [[word]] in it is a part, [[word.field:.1f]] of a part what it holds, escaped."""

    def said(hit: re.Match) -> str:
        return html(parts[hit[1]] if hit[1] in parts else f"{{{hit[1]}}}".format(**parts))

    return Markup(re.sub(r"\[\[([a-z][\w.]*(?::[\w.]+)?)\]\]", said, _template(name)))


@cache
def _template(name: str) -> str:
    return Path(__file__).with_name("templates").joinpath(name).read_text(encoding="utf-8")


def listed(heading: str, items: Iterable[str], kind: str = "ul") -> Markup:
    """Items under a heading, escaped; nothing where there are none."""
    entries = "".join(f"<li>{escape(item)}</li>" for item in items)
    return Markup(f"<h2>{escape(heading)}</h2><{kind}>{entries}</{kind}>" if entries else "")


def table(
    head: Sequence | Markup,
    rows: Iterable[Sequence],
    kinds: Sequence[str] = (),
    named: bool = False,
) -> Markup:
    """Rows under a head of cells, or of rows made before. kinds: class of each column. named: the first cell of a row is its heading."""
    whole = head if isinstance(head, Markup) else _line(head, ["th"] * len(head), ())
    for row in rows:
        tags = ["th" if named else "td", *["td"] * (len(row) - 1)]
        whole += _line(row, tags, kinds)
    return Markup(f"<table>{whole}</table>")


def _line(cells: Sequence, tags: Sequence[str], kinds: Sequence[str]) -> str:
    marks = [f' class="{one}"' if one else "" for one in kinds] + [""] * len(cells)
    its = (f"<{tag}{mark}>{html(one)}</{tag}>" for one, tag, mark in zip(cells, tags, marks))
    return f"<tr>{''.join(its)}</tr>"
