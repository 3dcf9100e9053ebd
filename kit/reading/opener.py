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
        faults.stop("not opened", why=cause.strerror)
    except KitError:
        raise
    except ValueError:
        faults.stop("odd path")


def need_suffix(name: str, limits: FileLimits, faults: Faults) -> None:
    """Stop at a file whose name ends in none of the suffixes."""
    suffix, known = Path(name).suffix.lower(), ", ".join(limits.suffixes)
    if suffix in limits.suffixes or not limits.suffixes:
        return
    key = "macros" if suffix == ".xlsm" else "suffix" if suffix else "no suffix"
    faults.stop(key, file=name[:80], suffix=suffix[:20], known=known)


def need_size(size: int, name: str, limits: FileLimits) -> None:
    """Stop at a file of more bytes than the limit."""
    if size > limits.bytes:
        Faults(name).stop("too large", size=size, limits=limits)


def is_workbook(whole: bytes) -> bool:
    """Does it begin as a zipped workbook does?"""
    return whole.startswith(b"PK\x03\x04")


def need_no_old_workbook(whole: bytes, faults: Faults) -> None:
    """Stop at a workbook of before 2007, and at one that is locked, which begins alike."""
    if whole.startswith(b"\xd0\xcf\x11\xe0"):
        faults.stop("old workbook")


# --- its letters ---


def utf8(whole: bytes, faults: Faults) -> tuple[bytes, tuple[str, ...]]:
    """The text as UTF-8 without its mark and with plain line ends, and what was taken on trust.

    UTF-16 and UTF-32 are told by their mark, UTF-16 also by its zero bytes; what is none of them nor
    UTF-8 is read as Windows text, Western (cp1252) or, where that spells more of the words that are
    known, Central European (cp1250), and a note says in which row that first mattered.
    """
    if is_workbook(whole):
        faults.stop("zipped")
    need_no_old_workbook(whole, faults)
    encoding = next((encoding for bom, encoding in _MARKS if whole.startswith(bom)), "")
    notes: tuple[str, ...] = ()
    zeros = [whole[:1000][first::2].count(0) for first in (0, 1)]
    if not encoding and max(zeros) > 400 * min(1000, len(whole)) / 1000 and not min(zeros):
        encoding = "utf-16-be" if zeros[0] else "utf-16-le"
    if not encoding and b"\x00" in whole:
        faults.stop("zero bytes", Cell(None, whole[: whole.index(0)].count(b"\n") + 1))
    try:
        text = whole.decode(encoding or "utf-8")
    except UnicodeDecodeError as cause:
        if encoding not in ("", "utf-8-sig"):
            faults.stop("two encodings", encoding=encoding.upper())
        tried = (cause.object.decode(code, "replace") for code in ("cp1252", "cp1250"))
        western, central = ((_known_words(one), one) for one in tried)
        name, text = "Western", western[1]
        if central[0] > western[0]:
            name, text = "Central European", central[1]
        row = cause.object[: cause.start].count(b"\n") + 1
        notes = (f"not UTF-8 (first in row {row}): letters read as Windows {name} text",)
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


def toml_of(whole: bytes, faults: Faults) -> tuple[dict, str, tuple[str, ...]]:
    """(data, text, what was taken on trust) of a TOML file."""
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    for row, line in enumerate(text.split("\n"), 1):
        if line.partition("=")[0].count(".") > _MOST_PARTS:
            faults.stop("key parts", Cell(None, row))
    try:
        return tomllib.loads(text), text, notes
    except ValueError as cause:
        hit = re.search(r"\(at line (\d+), column (\d+)\)", str(cause))
        why = re.sub(r" \(at .*\)$", "", str(cause))
        if not isinstance(cause, tomllib.TOMLDecodeError):
            why = "a number is too long"
        twice = re.search(r"overwrite|mutate|twice|namespace", why)
        place = Cell(None, int(hit[1]) if hit else None)
        faults.stop("key twice" if twice else "no TOML", place, why=why)
    except RecursionError:
        faults.stop("nested")


# --- a small file: a page of cells ---


def text_page(whole: bytes, faults: Faults, limits: FileLimits) -> Page:
    """The cells of a small text file. What guards a cell against being run as a formula is taken off.

    They are parted by the sign that stands most often in the first filled line; a comma where none does.
    """
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    first = next((line for line in text.split("\n") if line.strip()), "")
    sign = max(",;\t|", key=lambda sign: (first.count(sign), sign == ","))
    rows: list[list[str]] = []
    try:
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=True):
            rows.append([unguarded(cell) for cell in row])
            if len(rows) > limits.rows or len(row) > limits.columns:
                faults.stop("page too large", Cell(None, len(rows)), limits=limits)
    except csv.Error as cause:
        faults.stop("quotes", Cell(None, len(rows) + 1), why=cause)
    return Page("", rows, notes=notes, separator=sign)


def column_letter(n: int) -> str:
    """'A' for column 1, 'AA' for 27, as a spreadsheet counts."""
    return (column_letter((n - 1) // 26) if n > 26 else "") + chr(65 + (n - 1) % 26)
