"""What does this header, stage or kind mean? The words of data/records/words.csv (English, and the kit's own) and data/words/headers.csv (other languages), and how a header is taken apart with them."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from kit.tables import read_rows, rows_by
from kit.yields.ledger import GIVEAWAY, IN, OUT, SIGN

ATTRIBUTES = ("lot", "operator", "smokehouse", "scale")
LABELS = ("supplier", "line", "product", "recipe", "shift")
"""a code under such a header, or one of ATTRIBUTES, is a label, whatever it looks like"""
ROLES = ("batch", "date", "clock", "stage", "kind", "name", "unit", *ATTRIBUTES, *LABELS)
"""what a column can be, besides a weight"""
ALONG = (IN, *SIGN, OUT, GIVEAWAY)
"""the kinds as they follow each other within a stage"""
LEFT_OUT = "leave out"
"""what a mapping says of a stage or kind that is no part of the mass balance"""
PARTS = {"smoke": "cook", "link": "stuff", "shower": "chill"}
"""part of a stage that plants may weigh by itself -> the stage"""
UNKNOWN = "?"
"""a kind that a word leaves open, such as 'rework': into the batch, or out of it"""
_ALONE = ("whole", "min", "max", "sd", "carry")
"""of words of total rows: those that no number follows, for 'Maxi 3' is a batch"""
_FILLERS = ("addition", "additions", "added", "add", "in", "into", "of")
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
_OTHER_UNITS = ("c", "f", "mm", "min", "s")
_NO_WEIGHT = re.compile(
    r"%|(?<![nN])°|[€$£]|/\s*(?:kg|g|lbs?|oz|t|h|hr|std|min)\b|\b(?:kg|lbs?)\s*/|"
    r"\b(?:per|pro|je)\s",
    re.I,
)
"""a share, a temperature, a price or a rate: 'Yield %', 'T°', '€/kg'"""
_JOINED = re.compile(r"\s*(?:[/+&,]|\b(?:and|und|y|et|e|en|i|og)\b)\s*")
_NUMBERED = (["no"], ["nr"], ["number"], ["id"], ["code"], ["num"])
"""how a header ends that names the number of a thing: 'Supplier no'"""
_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "æ": "ae", "ø": "oe", "å": "aa"})
_BARE = str.maketrans({"ø": "o", "æ": "ae", "ł": "l", "œ": "oe"})


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
    part: str = ""
    """of PARTS, where the header names one"""


@lru_cache(maxsize=1)
def _rows() -> tuple[tuple[str, str, set[str], str], ...]:
    """(language, group, spellings, meaning) of every word; English where none is named."""
    rows = [*read_rows("words", "headers.csv"), *read_rows("records", "words.csv")]
    return tuple(
        (r.get("language", "en"), r["group"], _spellings(r["word"]), r["means"]) for r in rows
    )


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Those whose words are known; English is always read with them."""
    return tuple(dict.fromkeys(language for language, *_ in _rows()))


@lru_cache(maxsize=16)
def words(language: str = "") -> dict[str, dict[str, str]]:
    """group -> {word: meaning}: of English and `language`, whose own words win; of all where none is named."""
    found: dict[str, dict[str, str]] = {}
    own = [row for row in _rows() if row[0] == "en"]
    other = [row for row in _rows() if row[0] != "en" and language in ("", row[0])]
    for _, group, spellings, means in [*own, *other] if language else [*other, *own]:
        found.setdefault(group, {}).update(dict.fromkeys(spellings, means))
        if group == "role" and means in LABELS:
            found.setdefault("aside", {}).update(dict.fromkeys(spellings, means))
    found["part"] = {word: m for word, m in found["stage"].items() if m in PARTS}
    found["stage"] = {word: PARTS.get(m, m) for word, m in found["stage"].items()}
    return found


def _spellings(word: str) -> set[str]:
    """The word, and how a keyboard without its letters writes it: 'kühlen', 'kuehlen', 'kuhlen'."""
    if word.isascii():
        return {word}
    bare = unicodedata.normalize("NFD", word.translate(_BARE))
    return {
        word,
        word.translate(_LETTERS),
        "".join(c for c in bare if not unicodedata.combining(c)),
    }


def note(key: str, **said) -> str:
    """A note on what was read, its gaps filled."""
    return rows_by("key", "records", "notes.csv")[key]["says"].format(**said)


def first_few(items: Iterable[str], most: int = 6) -> str:
    """The first of them, and how many more there are."""
    items = list(items)
    more = f" and {len(items) - most} more" if len(items) > most else ""
    return ", ".join(items[:most]) + more


def plain(text: str) -> str:
    """Small letters and digits, other signs turned to single blanks: 'Batch-No.' and 'batch no' are the same word."""
    return " ".join(re.sub(r"[\W_]+", " ", text.casefold()).split())


def meaning(group: str, text: str, language: str = "") -> str:
    """What `text` means in a group of words, '' where it is not known; 'Smoke/Cook' where all its parts mean one thing."""
    known = words(language)[group]
    if plain(text) in known:
        return known[plain(text)]
    meant = {known.get(plain(part), "") for part in _JOINED.split(text.casefold())}
    return meant.pop() if len(meant) == 1 else ""


def is_total(text: str) -> bool:
    """'Total', 'Subtotal:', 'TOTAL MARCH', 'Week 12 total', 'Zwischensumme KW 23', 'Average'."""
    said, (first, begins, ends, periods) = plain(text), _total_words()
    if first.isdisjoint(said.split()):
        return False
    known = words()["total"]
    if said in known or said.startswith(begins) or said.endswith(ends):
        return True
    rest = " ".join(part for part in said.split() if not part.isdigit())
    bare = " ".join(periods.sub("", rest).split())
    return any(known.get(left, "whole") not in _ALONE for left in (rest, bare))


def total_pattern() -> str:
    """In every total of plain letters this is found."""
    return rf"(?:^|[\W_])(?:{'|'.join(map(re.escape, _total_words()[0]))})(?:[\W_]|$)"


@lru_cache(maxsize=1)
def _total_words() -> tuple[frozenset[str], tuple[str, ...], tuple[str, ...], re.Pattern[str]]:
    """The first words of all totals; how a total may begin, and end; the periods that one may name."""
    known = words()["total"]
    begins = tuple(f"{word} " for word, how in known.items() if how in ("both", "begins"))
    ends = tuple(f" {word}" for word, how in known.items() if how == "both")
    periods = "|".join(map(re.escape, (*words()["period"], *words()["month"])))
    first = frozenset(word.split()[0] for word in known)
    return first, begins, ends, re.compile(rf"\b(?:{periods})\w*\b")


def known_header(text: str) -> bool:
    """Is this header one of a batch, date, stage, kind, weight or another role?"""
    head = read_header(text[:100])
    return bool(head.role or head.measure)


@lru_cache(maxsize=4000)
def read_header(text: str, language: str = "") -> Header:
    """The header taken apart. Nothing is guessed from the rest: a header with a word of another trade ('cook end temp') is no weight."""
    known = words(language)
    bracketed = [plain(said) for said in _BRACKETS.findall(text)]
    unit = next((known["unit"][said] for said in bracketed if said in known["unit"]), "")
    other = [said for said in bracketed if said not in known["unit"] and said in _OTHER_UNITS]
    aside = bool(other or _NO_WEIGHT.search(text))
    said = plain(_BRACKETS.sub(" ", text) if unit else text).split()
    if not unit and len(said) > 1 and said[-1] in known["unit"]:
        unit, said = known["unit"][said[-1]], said[:-1]
    whole = " ".join(said)
    whole = whole if whole in known["role"] else re.sub(r" (?:de|du|di|del) ", " ", whole)
    role = known["role"].get(whole) or (
        said[-1:] in _NUMBERED and known["role"].get(" ".join(said[:-1]), "")
    )
    if role and not unit and not aside:
        return Header(role=role)
    if aside or whole == "t":
        return Header(unit=unit)
    if whole in known["entry"]:
        stage, kind, name = known["entry"][whole].split("/")
        return Header("", "weight", stage, kind, name, unit)
    if whole in known["measure"] and whole not in known["stage"]:
        return Header(measure=known["measure"][whole], unit=unit)
    if whole in known["unit"]:
        return Header(measure="weight", unit=known["unit"][whole])
    said = [part for word in said for part in _split(word, known)]
    # 'casing fill' and 'peso frío' are stages as a whole, though a word of them means something else
    phrase, beside = _taken(said, "stage", known)
    whole_phrase = phrase and len(said) - len(beside) > 1
    if _taken(beside if whole_phrase else said, "aside", known)[0]:
        return Header(unit=unit)
    measure, rest = ("", said) if whole_phrase else _taken(said, "measure", known)
    if whole in known["stage"] and (measure or any(map(whole.endswith, known.get("ending", ())))):
        measure, rest = "weight", said
    stage, left = _taken(rest, "stage", known)
    # 'po wędzeniu' is after the smoke
    way = [word for word in rest if word not in left and known["kind"].get(word) in (IN, OUT)]
    rest = [*left, *(way if len(way) < len(rest) - len(left) and stage != "receive" else ())]
    part = _taken(said, "part", known)[0]
    while stage and (again := _taken(rest, "stage", known))[0] == stage:
        rest, part = again[1], ""
    kind, left = _taken(rest, "kind", known)
    kind_only = kind and (measure or unit or whole in known["kind"])
    if not (kind_only or stage and (kind or measure or unit)):
        return Header(measure="weight" if unit else "", unit=unit)
    # 'chop ice' is an addition named ice; 'cook in cart 1' is a weight in, named cart 1
    own = [word for word in rest if word not in _FILLERS] if kind == "addition" else left
    name = "" if kind in (UNKNOWN, "rework in", "rework out") else " ".join(own)
    return Header("", measure or "weight", stage, kind, name, unit, part)


def _split(word: str, known: dict[str, dict[str, str]]) -> list[str]:
    """The parts of a compound such as 'kuttergewicht' or 'brühverlust', the first as the stage that begins so; a long word with another last letter than a stage, as that; else the word."""
    if any(word in group for group in known.values()):
        return [word]
    ends = [name for name in known["stage"] if name[:-1] == word[:-1]] if len(word) > 6 else []
    if len({known["stage"][name] for name in ends}) == 1:
        return ends[:1]
    for ending in known.get("ending", ()):
        stem = word.removesuffix(ending)
        if len(stem) > 2 and stem != word:
            stages = (name for name in known["stage"] if name.startswith(stem) and " " not in name)
            return [next(stages, stem), ending]
    return [word]


def _taken(said: list[str], group: str, known: dict[str, dict[str, str]]) -> tuple[str, list[str]]:
    """The meaning of the longest run of words known in `group`, and the words that remain."""
    for length in range(min(3, len(said)), 0, -1):
        for at in range(len(said) - length + 1):
            hit = known[group].get(" ".join(said[at : at + length]))
            if hit:
                return hit, said[:at] + said[at + length :]
    return "", list(said)
