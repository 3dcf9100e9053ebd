"""One opener for every table that a person hands in: which file, which letters, which separator?

Tables of any length become columns (columns.py), a batch sheet a page of cells, each with its place
(`text_page`, workbook.py). Both are made by the same steps: `load` takes the file, `utf8` its letters.
A reader of sheets, records, logs, tube tests, weighed links or rules only says what it knows.
"""

import codecs
import csv
import io
import os
import re
import tomllib
from pathlib import Path

from kit.errors import KitError
from kit.faults import Cell, Faults
from kit.files import unguarded
from kit.reading.shapes import FileLimits, Page
from kit.reading.words import words

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)

NOT_UTF8 = "not UTF-8"


# --- the file ---


def load(source, name: str, limits: FileLimits) -> tuple[bytes, str]:
    """(bytes, file name) of a path, text with line breaks, or bytes with the file's `name`.

    Raises Faulty where the file cannot be opened, ends in another suffix or is too large; KitError
    for anything else that is given.
    """
    if isinstance(source, str) and ("\n" in source or "\r" in source):
        return source.encode("utf-8", "surrogatepass"), name
    if isinstance(source, (bytes, bytearray, memoryview)):
        need_size(len(source), name, limits)
        return bytes(source), name
    if not isinstance(source, (str, os.PathLike)):
        kind = type(source).__name__
        raise KitError(f"this cannot be read from a {kind}; give a path, text, bytes or a table")
    path = Path(source)
    faults = Faults(path.name)
    need_suffix(path.name, limits, faults)
    try:
        need_size(path.stat().st_size, path.name, limits)
        return path.read_bytes(), path.name
    except OSError as cause:
        why = cause.strerror
        faults.stop(f"the file cannot be opened ({why})", remedy="check the name and the folder")
    except KitError:
        raise
    except ValueError:
        what = "the path holds a character that no file name can hold"
        faults.stop(what, remedy="check the name and the folder")


def need_suffix(name: str, limits: FileLimits, faults: Faults) -> None:
    """Stop at a file whose name ends in none of the suffixes."""
    suffix, known = Path(name).suffix.lower(), ", ".join(limits.suffixes)
    if suffix in limits.suffixes or not limits.suffixes:
        return
    if not suffix:
        faults.stop(f"{name[:80]!r} does not say its form", remedy=f"save it as one of {known}")
    old = " (macros are neither read nor run)" if suffix == ".xlsm" else ""
    what = f"{name[:80]!r} ends in {suffix[:20]!r}{old}; what is read here ends in {known}"
    faults.stop(what, remedy=f"save it as one of {known}")


def need_size(size: int, name: str, limits: FileLimits) -> None:
    """Stop at a file of more bytes than the limit."""
    if size > limits.bytes:
        what = f"the file holds {size:,} bytes; the limit is {limits.bytes:,}"
        Faults(name).stop(what, remedy=limits.split)


def is_workbook(whole: bytes) -> bool:
    """Does it begin as a zipped workbook does?"""
    return whole.startswith(b"PK\x03\x04")


def need_no_old_workbook(whole: bytes, faults: Faults) -> None:
    """Stop at a workbook of before 2007, and at one that is locked, which begins alike."""
    if whole.startswith(b"\xd0\xcf\x11\xe0"):
        what = "the file is a workbook of the old binary kind, or is locked by a password"
        faults.stop(what, remedy="save it without a password as .xlsx, or as CSV UTF-8")


# --- its letters ---


def utf8(whole: bytes, faults: Faults) -> tuple[bytes, tuple[str, ...]]:
    """The text as UTF-8 without its mark and with plain line ends, and what was taken on trust.

    UTF-16 and UTF-32 are told by their mark, UTF-16 also by its zero bytes; what is none of them nor
    UTF-8 is read as Windows text, Western (cp1252) or, where that spells more of the words that are
    known, Central European (cp1250), and a note says in which row that first mattered.
    """
    if is_workbook(whole):
        what = "the file is a zipped file such as a workbook, not text"
        faults.stop(what, remedy="save it under its right ending (.xlsx), or as CSV UTF-8")
    need_no_old_workbook(whole, faults)
    encoding = next((encoding for bom, encoding in _MARKS if whole.startswith(bom)), "")
    notes: tuple[str, ...] = ()
    zeros = [whole[:1000][first::2].count(0) for first in (0, 1)]
    if not encoding and max(zeros) > 400 * min(1000, len(whole)) / 1000 and not min(zeros):
        encoding = "utf-16-be" if zeros[0] else "utf-16-le"
    if not encoding and b"\x00" in whole:
        row = whole[: whole.index(0)].count(b"\n") + 1
        what = "the file holds zero bytes; it is not text, or UTF-16 without its mark"
        faults.stop(what, Cell(None, row), remedy="save it again as CSV UTF-8")
    try:
        text = whole.decode(encoding or "utf-8")
    except UnicodeDecodeError as cause:
        if encoding not in ("", "utf-8-sig"):
            what = f"the file begins as {encoding.upper()} but goes on as something else"
            faults.stop(what, remedy="save it again as CSV UTF-8")
        tried = (cause.object.decode(code, "replace") for code in ("cp1252", "cp1250"))
        western, central = ((_known_words(one), one) for one in tried)
        name, text = "Western", western[1]
        if central[0] > western[0]:
            name, text = "Central European", central[1]
        row = cause.object[: cause.start].count(b"\n") + 1
        notes = (f"{NOT_UTF8} (first in row {row}): letters read as Windows {name} text",)
    plain = text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text
    return plain.encode("utf-8", "surrogatepass"), notes


def _known_words(text: str) -> int:
    """How many words with other letters than the English ones are known, in the first rows."""
    found = set(re.findall(r"[^\W\d_]+", text[:20_000].casefold()))
    known = {part for group in words().values() for word in group for part in word.split()}
    return sum(word in known for word in found if not word.isascii())


# --- TOML ---

_MOST_PARTS = 200
"""between points of a key; tomllib's memory grows with their square"""
_DEEP_REMEDY = "a file has few tables, and none in another; see an example of such a file"
_TOML_REMEDY = 'text stands in "quotes", numbers do not, each key once; 5 kg is written as "5 kg"'


def toml_of(whole: bytes, faults: Faults) -> tuple[dict, str, tuple[str, ...]]:
    """(data, text, what was taken on trust) of a TOML file."""
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    for row, line in enumerate(text.split("\n"), 1):
        if line.partition("=")[0].count(".") > _MOST_PARTS:
            what = "a key has too many parts between points"
            faults.stop(what, Cell(None, row), remedy=_DEEP_REMEDY)
    try:
        return tomllib.loads(text), text, notes
    except ValueError as cause:
        hit = re.search(r"\(at line (\d+), column (\d+)\)", str(cause))
        why = re.sub(r" \(at .*\)$", "", str(cause))
        if not isinstance(cause, tomllib.TOMLDecodeError):
            why = "a number is too long"
        what = f"this is not TOML: {why}"
        if re.search(r"overwrite|mutate|twice|namespace", why):
            what = f"a key or table is given twice ({why})"
        faults.stop(what, Cell(None, int(hit[1]) if hit else None), remedy=_TOML_REMEDY)
    except RecursionError:
        faults.stop("tables or lists are nested too deeply", remedy=_DEEP_REMEDY)


# --- a small file: a page of cells ---


def text_page(whole: bytes, faults: Faults, limits: FileLimits) -> Page:
    """The cells of a small text file."""
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    sign = separator_of(text)
    return Page("", text_rows(text, sign, faults, limits), notes=notes, separator=sign)


def separator_of(text: str) -> str:
    """The sign that stands most often in the first filled line; a comma where none does."""
    first = next((line for line in text.split("\n") if line.strip()), "")
    return max(",;\t|", key=lambda sign: (first.count(sign), sign == ","))


def text_rows(text: str, separator: str, faults: Faults, limits: FileLimits) -> list[list[str]]:
    """The cells of a text table. What guards a cell against being run as a formula is taken off."""
    rows: list[list[str]] = []
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        for number, row in enumerate(reader, 1):
            if number > limits.rows or len(row) > limits.columns:
                what = f"the table goes on beyond row {limits.rows} or column {limits.columns}"
                faults.stop(what, Cell(None, number), remedy=limits.split)
            rows.append([unguarded(cell) for cell in row])
    except csv.Error as cause:
        remedy = 'check the quotes: text with a comma stands in "quotes", a quote in it is doubled'
        what = f"the table cannot be taken apart: {cause}"
        faults.stop(what, Cell(None, len(rows) + 1), remedy=remedy)
    return rows


def column_letter(n: int) -> str:
    """'A' for column 1, 'AA' for 27, as a spreadsheet counts."""
    return (column_letter((n - 1) // 26) if n > 26 else "") + chr(65 + (n - 1) % 26)
