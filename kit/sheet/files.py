"""The door: a sheet from a file, text, bytes or plain data, and back into a file, whole or not at all."""
import os
from collections.abc import Mapping
from pathlib import Path

from kit.errors import KitError
from kit.files import put
from kit.sheet import csv_form, toml_form, xlsx_form
from kit.sheet.check import check
from kit.sheet.model import Sheet
from kit.sheet.records import MAX_TEXT, Draft, Faults, hidden_character

_FORMS = {".toml": toml_form, ".csv": csv_form, ".xlsx": xlsx_form}
_SUFFIXES = ", ".join(_FORMS)
_NAMELESS = "batch"


def read_sheet(source, name: str = "") -> Sheet:
    """The sheet held by a path (.toml, .csv, .xlsx), by TOML or CSV text, by a dict in the shape of the TOML form, or by the bytes of a file.

    `name` is the file name that goes with bytes or text; its suffix says the form. Text without it is TOML if its first line
    holds '=' or '[', else CSV. Raises Faulty with every fault at once: file, sheet, row, column, field, why, and what to try.
    """
    if isinstance(source, Mapping):
        faults = Faults(name)
        return check(toml_form.draft_of(source, "", faults), faults, _stem(name))
    if isinstance(source, os.PathLike) or isinstance(source, str) and not name and _looks_like_path(source):
        path = Path(source)
        name, source = path.name, _bytes_of(path)
    if isinstance(source, str):
        form = _FORMS.get(Path(name).suffix.lower()) or (toml_form if _looks_like_toml(source) else csv_form)
        faults, source = Faults(name), source.encode("utf-8", "surrogatepass")
    elif isinstance(source, (bytes, bytearray, memoryview)):
        faults, source = Faults(name), bytes(source)
        form = _form(name, faults)
    else:
        raise KitError(f"a sheet cannot be read from a {type(source).__name__}; give a path, text, a dict, or bytes with a file name")
    draft: Draft = form.draft(source, faults)
    return check(draft, faults, _stem(name))


def write_sheet(sheet: Sheet, path, overwrite: bool = False) -> Path:
    """Write `sheet` as .toml, .csv or .xlsx; reading it back gives an equal sheet. The file appears whole or not at all.

    KitError if it exists and `overwrite` is not True, or if it cannot be written there.
    """
    form = _FORMS.get(Path(path).suffix.lower())
    return put(path, form.written(sheet.as_dict()) if form else b"", _FORMS, overwrite)


def _bytes_of(path: Path) -> bytes:
    faults = Faults(path.name)
    form = _form(path.name, faults)
    try:
        size = path.stat().st_size
        if size > form.MAX_BYTES:
            faults.stop(f"the file holds {size:,} bytes; the limit for {path.suffix.lower()} is {form.MAX_BYTES:,}",
                        remedy="a sheet is one batch; take pictures and other tables out, or split it")
        return path.read_bytes()
    except OSError as cause:
        return faults.stop(f"the file cannot be opened ({cause.strerror})", remedy="check the name and the folder")
    except ValueError:
        return faults.stop("the path holds a character that no file name can hold", remedy="check the name and the folder")


def _form(name: str, faults: Faults):
    suffix = Path(name).suffix.lower()
    if suffix not in _FORMS:
        old = " (macros are neither read nor run)" if suffix == ".xlsm" else ""
        faults.stop(f"{name!r} ends in {suffix!r}{old}; a sheet is read from {_SUFFIXES}" if suffix else f"{name!r} does not say its form",
                    remedy=f"save it as one of {_SUFFIXES}")
    return _FORMS[suffix]


def _looks_like_path(text: str) -> bool:
    if "\n" in text or len(text) > 1000:
        return False
    suffix = Path(text).suffix.lower()
    return suffix in _FORMS or bool(suffix) and "=" not in text and "," not in text


def _looks_like_toml(text: str) -> bool:
    first = next((line.strip() for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    return first.startswith("[") or "=" in first


def _stem(name: str) -> str:
    stem = Path(name).stem.strip()
    return stem if stem and len(stem) <= MAX_TEXT and "\n" not in stem and not hidden_character(stem) else _NAMELESS
