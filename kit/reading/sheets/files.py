"""The door: a sheet from a file, text, bytes or plain data, and back into a file, whole or not at all."""

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from kit.errors import KitError
from kit.faults import Faults, hidden_character
from kit.files import put
from kit.reading.opener import load, need_suffix
from kit.reading.sheets import csv_form, toml_form, xlsx_form
from kit.sheet import Sheet
from kit.sheet.draft import MAX_TEXT, Draft, draft_of
from kit.sheet.sheet import NAMELESS, sheet_of_draft

_FORMS = {".toml": toml_form, ".csv": csv_form, ".xlsx": xlsx_form}
LIMITS = replace(xlsx_form.LIMITS, suffixes=tuple(_FORMS))


def read_sheet(source, name: str = "") -> Sheet:
    """The sheet held by a path (.toml, .csv, .xlsx), by TOML or CSV text, by a dict in the shape of the TOML form, or by the bytes of a file.

    `name` is the file name that goes with bytes or text; its suffix says the form. Text without it is TOML if its first line
    holds '=' or '[', else CSV. Raises Faulty with every fault at once: file, sheet, row, column, field, why, and what to try.
    """
    if isinstance(source, Mapping):
        faults = Faults(name)
        return sheet_of_draft(draft_of(source, faults), faults, _stem(name))
    if (
        isinstance(source, os.PathLike)
        or isinstance(source, str)
        and not name
        and _looks_like_path(source)
    ):
        source, name = load(source, "", LIMITS)
    if isinstance(source, str):
        form = _FORMS.get(Path(name).suffix.lower()) or (
            toml_form if _looks_like_toml(source) else csv_form
        )
        faults, source = Faults(name), source.encode("utf-8", "surrogatepass")
    elif isinstance(source, (bytes, bytearray, memoryview)):
        faults, source = Faults(name), bytes(source)
        need_suffix(name, LIMITS, faults)
        form = _FORMS[Path(name).suffix.lower()]
    else:
        raise KitError(
            f"a sheet cannot be read from a {type(source).__name__}; give a path, text, a dict, or bytes with a file name"
        )
    if len(source) > form.LIMITS.bytes:
        what = f"the file holds {len(source):,} bytes; the limit is {form.LIMITS.bytes:,}"
        faults.stop(what, remedy=form.LIMITS.split)
    draft: Draft = form.draft(source, faults)
    return sheet_of_draft(draft, faults, _stem(name))


def write_sheet(sheet: Sheet, path, overwrite: bool = False) -> Path:
    """Write `sheet` as .toml, .csv or .xlsx; reading it back gives an equal sheet. The file appears whole or not at all.

    KitError if it exists and `overwrite` is not True, or if it cannot be written there.
    """
    form = _FORMS.get(Path(path).suffix.lower())
    return put(path, form.written(sheet.as_dict()) if form else b"", _FORMS, overwrite)


def _looks_like_path(text: str) -> bool:
    if "\n" in text or len(text) > 1000:
        return False
    suffix = Path(text).suffix.lower()
    return suffix in _FORMS or bool(suffix) and "=" not in text and "," not in text


def _looks_like_toml(text: str) -> bool:
    first = next(
        (
            line.strip()
            for line in text.splitlines()
            if line.strip() and not line.lstrip().startswith("#")
        ),
        "",
    )
    return first.startswith("[") or "=" in first


def _stem(name: str) -> str:
    stem = Path(name).stem.strip()
    return (
        stem
        if stem and len(stem) <= MAX_TEXT and "\n" not in stem and not hidden_character(stem)
        else NAMELESS
    )
