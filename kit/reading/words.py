"""What does this header, stage or kind mean? The words of data/records/words.csv, and how a header is taken apart with them."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from kit.tables import read_rows

ATTRIBUTES = ("lot", "operator", "smokehouse", "scale")
ROLES = ("batch", "date", "clock", "stage", "kind", "name", "unit", *ATTRIBUTES)
"""what a column can be, besides a weight"""
IN, OUT = "in", "out"
SIGN = {"addition": 1, "rework in": 1, "rework out": -1, "sample": -1, "scrap": -1}
"""side flows: +1 comes into the batch at the stage, -1 leaves it"""
KINDS = (IN, OUT, *SIGN, "giveaway")
ALONG = (IN, *SIGN, OUT, "giveaway")
"""the kinds as they follow each other within a stage"""
LEFT_OUT = "leave out"
"""what a mapping says of a stage or kind that is no part of the mass balance"""
_FILLERS = ("addition", "additions", "added", "add", "in", "into", "of")
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
_OTHER_UNITS = ("c", "f", "mm", "min", "s")


@dataclass(frozen=True)
class Header:
    """What a header says: a role; or a weight (`measure`) with as much of stage, kind, name and unit as is written in it."""

    role: str = ""
    measure: str = ""
    """'weight', 'gross', 'tare', or '' where the header names no weight"""
    stage: str = ""
    kind: str = ""
    name: str = ""
    unit: str = ""


@lru_cache(maxsize=1)
def words() -> dict[str, dict[str, str]]:
    """group -> {word: meaning}."""
    found: dict[str, dict[str, str]] = {}
    for row in read_rows("records", "words.csv"):
        found.setdefault(row["group"], {})[row["word"]] = row["means"]
    return found


@lru_cache(maxsize=4)
def sentences(file: str) -> dict[str, dict[str, str]]:
    """key -> what is said of records (faults, findings or notes), with gaps to fill."""
    return {row["key"]: row for row in read_rows("records", file)}


def note(key: str, **said) -> str:
    """A note on records, its gaps filled."""
    return sentences("notes.csv")[key]["says"].format(**said)


def first_few(items: Iterable[str], most: int = 6) -> str:
    """The first of them, and how many more there are."""
    items = list(items)
    more = f" and {len(items) - most} more" if len(items) > most else ""
    return ", ".join(items[:most]) + more


def plain(text: str) -> str:
    """Small letters and digits, other signs turned to single blanks: 'Batch-No.' and 'batch no' are the same word."""
    return " ".join(re.sub(r"[\W_]+", " ", text.casefold()).split())


def meaning(group: str, text: str) -> str:
    """What `text` means in a group of words, '' where it is not known."""
    return words()[group].get(plain(text), "")


def is_total(text: str) -> bool:
    """'Total', 'Subtotal:', 'TOTAL MARCH', 'Week 12 total', 'Average'."""
    said, known = plain(text), words()["total"]
    if said in known or " " not in said:
        return said in known
    begins = (f"{word} " for word, how in known.items() if how != "whole")
    ends = (f" {word}" for word, how in known.items() if how == "both")
    return said.startswith(tuple(begins)) or said.endswith(tuple(ends))


def known_header(text: str) -> bool:
    """Is this header one of a batch, date, stage, kind, weight or another role?"""
    head = read_header(text[:100])
    return bool(head.role or head.measure)


@lru_cache(maxsize=1000)
def read_header(text: str) -> Header:
    """The header taken apart. Nothing is guessed from the rest: a header with a word of another trade ('cook end temp') is no weight."""
    known = words()
    bracketed = [plain(said) for said in _BRACKETS.findall(text)]
    unit = next((known["unit"][said] for said in bracketed if said in known["unit"]), "")
    other = [said for said in bracketed if said not in known["unit"] and said in _OTHER_UNITS]
    aside = "%" in text or bool(other)
    said = plain(_BRACKETS.sub(" ", text) if unit else text).split()
    if not unit and len(said) > 1 and said[-1] in known["unit"]:
        unit, said = known["unit"][said[-1]], said[:-1]
    whole = " ".join(said)
    if whole in known["role"] and not unit:
        return Header(role=known["role"][whole])
    if whole in known["entry"] and not aside:
        stage, kind, name = known["entry"][whole].split("/")
        return Header("", "weight", stage, kind, name, unit)
    if whole in known["measure"]:
        return Header(measure=known["measure"][whole], unit=unit)
    if whole in known["unit"]:
        return Header(measure="weight", unit=known["unit"][whole])
    if aside or set(said) & set(known["aside"]):
        return Header()
    measure, rest = _taken(said, "measure")
    stage, rest = _taken(rest, "stage")
    kind, left = _taken(rest, "kind")
    kind_only = kind and (measure or unit or whole in known["kind"])
    if not (kind_only or stage and (kind or measure or unit)):
        return Header(measure="weight" if unit else "", unit=unit)
    # 'chop ice' is an addition named ice; 'cook in cart 1' is a weight in, named cart 1
    own = [word for word in rest if word not in _FILLERS] if kind == "addition" else left
    return Header("", measure or "weight", stage, kind, " ".join(own), unit)


def _taken(said: list[str], group: str) -> tuple[str, list[str]]:
    """The meaning of the longest run of words known in `group`, and the words that remain."""
    for length in range(min(3, len(said)), 0, -1):
        for at in range(len(said) - length + 1):
            hit = words()[group].get(" ".join(said[at : at + length]))
            if hit:
                return hit, said[:at] + said[at + length :]
    return "", list(said)
