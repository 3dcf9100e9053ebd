"""The sheet as TOML, for writing by hand.

name = "..."            batch entries stand at the top
[process]               one table
[[line]]                one per ingredient; likewise [[cook]] for the steps of the cook, [[weighing]] for the stages weighed
"""

import json
import re
import tomllib
from collections.abc import Mapping

from kit.faults import Cell, Faults
from kit.files import number_text
from kit.reading.opener import utf8
from kit.reading.shapes import Limits
from kit.sheet.draft import MANY, Draft, draft_of
from kit.sheet.entries import PARTS

LIMITS = Limits((".toml",), 200_000, "a sheet is one batch; split it")
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]*?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*[=.]""")

# tomllib's memory grows with the square of the parts of a dotted key
_DEEP_KEY = re.compile(
    r"""(?:(?:(?<![A-Za-z0-9_-])[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){40}"""
)
_DEEP_REMEDY = "a sheet has one table [process] and lists of [[line]], [[cook]], [[weighing]]"


def draft(whole: bytes, faults: Faults) -> Draft:
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    deep = _DEEP_KEY.search(text)
    if deep:
        faults.stop(
            "a key has too many parts between points",
            Cell(None, row=text.count("\n", 0, deep.start()) + 1),
            remedy=_DEEP_REMEDY,
        )
    try:
        data = tomllib.loads(text)
    except ValueError as cause:
        hit = re.search(r"\(at line (\d+), column (\d+)\)", str(cause))
        why = (
            re.sub(r" \(at .*\)$", "", str(cause))
            if isinstance(cause, tomllib.TOMLDecodeError)
            else "a number is too long"
        )
        twice = (
            "a key or table is given twice (" + why + ")"
            if re.search(r"overwrite|mutate|twice|namespace", why)
            else f"this is not TOML: {why}"
        )
        faults.stop(
            twice,
            Cell(None, row=int(hit[1]) if hit else None),
            remedy='text stands in "quotes", numbers do not, each key once; 5 kg is written as "5 kg"',
        )
    except RecursionError:
        faults.stop("tables or lists are nested too deeply", remedy=_DEEP_REMEDY)
    found = draft_of(data, faults, _rows(text))
    found.notes += notes
    return found


def _rows(text: str) -> dict[tuple[str, int, str], int]:
    """Row of each header and key, as (table, number of the table, key): a light reading, for messages only."""
    rows: dict[tuple[str, int, str], int] = {}
    count: dict[str, int] = {}
    table, number = "", 0
    for row, line in enumerate(text.split("\n"), 1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            table = header[2]
            number = count.get(table, 0)
            count[table] = number + 1
            rows.setdefault((table, number, ""), row)
        elif key:
            rows.setdefault(
                (table, number, next(part for part in key.groups() if part is not None)), row
            )
    return rows


def written(data: Mapping) -> bytes:
    """The TOML of `Sheet.as_dict()`."""
    blocks = [_entries({key: value for key, value in data.items() if key not in PARTS})]
    if "process" in data:
        blocks.append("[process]\n" + _entries(data["process"]))
    for part in MANY:
        blocks += [f"[[{part}]]\n" + _entries(entry) for entry in data.get(part, [])]
    return "\n".join(block for block in blocks if block).encode()


def _entries(entries: Mapping) -> str:
    def literal(value):
        return (
            json.dumps(value, ensure_ascii=False) if isinstance(value, str) else number_text(value)
        )

    return "".join(f"{key} = {literal(value)}\n" for key, value in entries.items())
