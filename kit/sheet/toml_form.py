"""The sheet as TOML, for writing by hand.

name = "..."            batch entries stand at the top
[process]               one table
[[line]]                one per ingredient; likewise [[cook]] for the steps of the cook, [[weighing]] for the stages weighed
"""

import json
import re
import tomllib
from collections.abc import Mapping

from kit.files import number_text
from kit.reading.faults import Cell, Faults
from kit.reading.opener import Limits, utf8
from kit.sheet.fields import PARTS, fields
from kit.sheet.records import Draft, Record
from kit.sheet.values import near

LIMITS = Limits((".toml",), 200_000, "a sheet is one batch; split it")
_MANY = ("line", "cook", "weighing")
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
    found = draft_of(data, text, faults)
    found.notes += notes
    return found


def draft_of(data: Mapping, text: str, faults: Faults) -> Draft:
    """A Draft of nested data. `text` is the TOML it came from, if any: it gives the rows."""
    rows = _rows(text)
    known = {*fields("batch"), *PARTS} - {"batch"}
    for key in data:
        if key not in known:
            faults.add(
                f"the sheet has no entry {str(key)[:60]!r}; nearest: {near(str(key), known)}",
                Cell(None, rows.get(("", 0, str(key)))),
                str(key)[:60],
                "correct the name or take it out",
            )
    records = [
        _record(
            "batch",
            {key: value for key, value in data.items() if key in fields("batch")},
            0,
            rows,
            "",
        )
    ]
    if "process" in data:
        if isinstance(data["process"], Mapping):
            records.append(_record("process", data["process"], 0, rows, "process"))
        else:
            faults.add(
                f"process is {_kind(data['process'])}; it needs to be one table",
                Cell(None, rows.get(("", 0, "process"))),
                "process",
                "write [process]",
            )
    for part in _MANY:
        records += _many(part, data.get(part, []), rows, faults)
    return Draft(records)


def _many(part: str, entries, rows: dict, faults: Faults) -> list[Record]:
    if not isinstance(entries, (list, tuple)):
        row = rows.get((part, 0, ""), rows.get(("", 0, part)))
        faults.lost = True
        faults.add(
            f"{part} is {_kind(entries)}; it needs to be a list of tables",
            Cell(None, row),
            part,
            f"write [[{part}]] above each entry",
        )
        return []
    records = []
    for n, entry in enumerate(entries):
        if isinstance(entry, Mapping):
            records.append(_record(part, entry, n, rows, f"{part} {n + 1}"))
        else:
            faults.lost = True
            faults.add(
                f"{part} {n + 1} is {_kind(entry)}; it needs to be a table",
                Cell(None, rows.get(("", 0, part))),
                part,
                f"write [[{part}]] above each entry",
            )
    return records


def _record(part: str, entry: Mapping, n: int, rows: dict, label: str) -> Record:
    table = "" if part == "batch" else part
    place = Cell(None, rows.get((table, n, "")), label=label)
    return Record(
        part,
        place,
        {
            str(key): Cell(value, rows.get((table, n, str(key)), place.row), label=label)
            for key, value in entry.items()
        },
    )


def _rows(text: str) -> dict[tuple[str, int, str], int]:
    """Row of each header and key, as (table, number of the table, key): a light reading, for messages only."""
    rows, count, table, number = {}, {}, "", 0
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


def _kind(value) -> str:
    kinds = {
        bool: "a yes or no",
        str: "text",
        int: "a number",
        float: "a number",
        dict: "a single table",
        list: "a list",
    }
    return kinds.get(type(value), "of another kind")


def written(data: Mapping) -> bytes:
    """The TOML of `Sheet.as_dict()`."""
    blocks = [_entries({key: value for key, value in data.items() if key not in PARTS})]
    if "process" in data:
        blocks.append("[process]\n" + _entries(data["process"]))
    for part in _MANY:
        blocks += [f"[[{part}]]\n" + _entries(entry) for entry in data.get(part, [])]
    return "\n".join(block for block in blocks if block).encode()


def _entries(entries: Mapping) -> str:
    def literal(value):
        return (
            json.dumps(value, ensure_ascii=False) if isinstance(value, str) else number_text(value)
        )

    return "".join(f"{key} = {literal(value)}\n" for key, value in entries.items())
