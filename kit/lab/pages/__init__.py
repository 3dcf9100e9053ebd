"""Pages that can be printed."""

from collections.abc import Iterable
from html import escape


def listed(heading: str, items: Iterable[str], kind: str = "ul") -> str:
    """Items under a heading, escaped; nothing where there are none."""
    entries = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<h2>{escape(heading)}</h2><{kind}>{entries}</{kind}>" if entries else ""
