"""Batch sheets as files: TOML by hand, CSV or a workbook (sheet_grid.py says the columns).

TOML:
name = "..."            batch entries stand at the top
[process]               one table
[[line]]                one per ingredient; likewise [[cook]] for the steps of the cook, [[weighing]] for the stages weighed
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from kit.faults import Faults, hidden_character
from kit.reading.opener import load, need_size, need_suffix, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.sheet_grid import CSV, XLSX, draft_csv, draft_xlsx
from kit.rules.rule_sets import rule_sets
from kit.sheet import Sheet
from kit.sheet.draft import MAX_TEXT, Draft, draft_of, near
from kit.sheet.sheet import NAMELESS, sheet_of_draft

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]*?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*[=.]""")


def read_sheet(source, name: str = "") -> Sheet:
    """The sheet held by a file, text, bytes or plain data.

    source: a path (.toml, .csv, .xlsx), TOML or CSV text of more than one line, a dict in the shape of the TOML form, or the bytes of a file
    name: the file name that goes with bytes or text; its suffix says the form. Text without it is TOML if its first line holds '=' or '[', else CSV
    Returns Sheet.
    Raises Faulty with every fault at once: file, sheet, row, column, field, why, and what to try.
    Source: the file.
    """
    if isinstance(source, Mapping):
        faults = Faults(name)
        return _checked(draft_of(source, faults), faults, name)
    text = isinstance(source, str) and (bool(name) or "\n" in source or "\r" in source)
    if text:
        whole, suffix = source.encode("utf-8", "surrogatepass"), Path(name).suffix.lower()
        suffix = suffix if suffix in _FORMS else ".toml" if _looks_like_toml(whole) else ".csv"
    else:
        whole, name = load(source, name, _ANY)
        suffix = ""
    faults = Faults(name)
    return _checked(draft_of_file(whole, name, faults, suffix), faults, name)


def _checked(draft: Draft, faults: Faults, name: str) -> Sheet:
    """The sheet; a rule set of an unknown name is one fault among the others."""
    for entry in draft.records:
        cell = entry.cells.get("rule") if entry.part == "batch" else None
        key = str(cell.value).strip() if cell else ""
        if cell and len(key.split()) == 1 and key not in rule_sets():
            said = {"rule_set": key[:60], "near": near(key, rule_sets())}
            faults.say("no rule set", cell, "rule", **said)
    return sheet_of_draft(draft, faults, _stem(name))


def draft_of_file(whole: bytes, name: str, faults: Faults, suffix: str = "") -> Draft:
    """A file taken apart but not checked, for a form that shows what is in it beside its faults. Raises Faulty where nothing can be taken apart."""
    if not suffix:
        need_suffix(name, _ANY, faults)
    limits, draft = _FORMS[suffix or Path(name).suffix.lower()]
    need_size(len(whole), name, limits)
    return draft(whole, faults)


def _looks_like_toml(text: bytes) -> bool:
    lines = (line.strip() for line in text.splitlines())
    first = next((line for line in lines if line and not line.startswith(b"#")), b"")
    return first.startswith(b"[") or b"=" in first


def _stem(name: str) -> str:
    stem = Path(name).stem.strip()
    fits = stem and len(stem) <= MAX_TEXT and "\n" not in stem and not hidden_character(stem)
    return stem if fits else NAMELESS


# --- TOML ---


def draft_toml(whole: bytes, faults: Faults) -> Draft:
    """The entries of a TOML file."""
    data, text, notes = toml_of(whole, faults)
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
            name = next(part for part in key.groups() if part is not None)
            rows.setdefault((table, number, name), row)
    return rows


_TOML = FileLimits((".toml",), 200_000, "a sheet is one batch; split it")
_FORMS = {".toml": (_TOML, draft_toml), ".csv": (CSV, draft_csv), ".xlsx": (XLSX, draft_xlsx)}
_ANY = replace(XLSX, suffixes=tuple(_FORMS))
