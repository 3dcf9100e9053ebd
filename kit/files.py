"""A file that the kit writes appears whole or not at all, lies over no other file unasked, and holds nothing that a spreadsheet would run."""

import csv
import io
import json
import os
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from secrets import token_hex
from tempfile import TemporaryDirectory

from kit.errors import KitError

RISKY = ("=", "+", "-", "@", "\t", "\r")
"""a text cell that begins so may be run as a formula (OWASP guidance on formula injection, from memory)"""


def put(
    path, whole: bytes | str, suffixes: Iterable[str] = (), overwrite: bool | None = False
) -> Path:
    """Write `whole` at `path` and return it; text goes as UTF-8, and half a surrogate pair in it as '?'. `overwrite=None`: never over another file.

    KitError if the name ends with none of `suffixes`, if a file is there and `overwrite` is not True, or if it cannot be written: what was there before
    is then as it was, and no draft is left.
    """
    target, suffixes = Path(path), tuple(suffixes)
    if suffixes and target.suffix.lower() not in suffixes:
        ends = " or ".join(filter(None, (", ".join(suffixes[:-1]), suffixes[-1])))
        raise KitError(f"{target.name!r} does not say its form; end the name with {ends}")
    if target.exists() and not overwrite:
        way_out = "choose another name" + ("" if overwrite is None else ", or say overwrite=True")
        raise KitError(f"{target.name} exists and is left as it is; {way_out}")
    try:
        _replace(target, whole.encode("utf-8", "replace") if isinstance(whole, str) else whole)
    except OSError as cause:
        raise KitError(
            f"{target.name} could not be written ({cause.strerror or cause}); check that the folder exists, may be written to and has room"
        ) from None
    return target


def put_folder(
    folder,
    files: Mapping[str, bytes | str],
    overwrite: bool = False,
    earlier: Iterable[str] = (),
) -> Path:
    """Write all of `files`, {name: content}, into a folder of their own, or none of them. `earlier`: other names that go with an old folder.

    KitError if it cannot be written, or if the folder is there and `overwrite` is not True or it holds a file of another name: it is then as it was.
    """
    target = Path(folder)
    try:
        there = {one.name for one in target.iterdir()} if target.is_dir() else set()
        others = sorted(there - {*files, *earlier})
        if target.exists() and (others or not overwrite or not target.is_dir()):
            why = f"holds other files ({', '.join(others[:3])})" if others else "exists"
            raise KitError(f"{target.name} {why} and is left as it is; choose another folder")
        target.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(
            ".part", f".{target.name[:40]}-", target.parent, ignore_cleanup_errors=True
        ) as draft:
            whole, before = Path(draft, "new"), Path(draft, "old")
            whole.mkdir()
            for name, content in files.items():
                put(whole / name, content)
            if target.exists():
                target.rename(before)
            try:
                whole.rename(target)
            except BaseException:
                if before.exists():
                    before.rename(target)
                raise
    except OSError as cause:
        raise KitError(
            f"the folder {target.name} could not be written ({cause.strerror or cause}); check that the folder above it may be written to and has room"
        ) from None
    return target


def csv_text(names: Iterable[str], rows: Iterable[Mapping[str, str | float]]) -> str:
    """A table as CSV, empty where a row lacks a name: text as `guarded` leaves it, numbers as `number_text` does."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, tuple(names))
    writer.writeheader()
    for row in rows:
        cells = {k: guarded(v) if isinstance(v, str) else number_text(v) for k, v in row.items()}
        writer.writerow(cells)
    return out.getvalue()


def file_stem(name: str) -> str:
    """A name as the name of a file: letters, digits and underscores."""
    return re.sub(r"\W+", "_", name, flags=re.ASCII).strip("_").lower()[:60] or "batch"


def number_text(value: float) -> str:
    """The shortest text that reads back as the same float: '25', '0.1', '1e-07'."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


def toml_value(value) -> str:
    """Text, a number, yes or no, a list or a table of these as TOML writes them on one line."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        held = (f"{toml_value(key)} = {toml_value(of)}" for key, of in value.items())
        return f"{{ {', '.join(held)} }}"
    if isinstance(value, Iterable):
        return f"[{', '.join(map(toml_value, value))}]"
    return number_text(value)


def toml_lines(held: Mapping) -> str:
    """Lines of key = value. The keys are bare: letters, digits, _ and -."""
    return "".join(f"{key} = {toml_value(value)}\n" for key, value in held.items())


def toml_text(held: Mapping, header: str = "") -> str:
    """The text of a TOML file: first the values, then what is below them. A mapping is a [table], a list holds one [[table]] after the other."""
    below = {key: its for key, its in held.items() if isinstance(its, (Mapping, list))}
    lines = toml_lines({key: its for key, its in held.items() if key not in below})
    blocks = [f"[{header}]\n{lines}" if header else lines]
    for key, its in below.items():
        name = f"{header}.{key}".lstrip(".")
        if isinstance(its, Mapping):
            blocks.append(toml_text(its, name))
        else:
            blocks += [toml_text(one, f"[{name}]") for one in its]
    return "\n".join(filter(None, blocks))


def guarded(text: str) -> str:
    """The text behind an apostrophe where a spreadsheet could run it; `unguarded` takes just that apostrophe off again."""
    return f"'{text}" if text.startswith(RISKY) or _is_guarded(text) else text


def unguarded(text: str) -> str:
    return text[1:] if _is_guarded(text) else text


def _is_guarded(text: str) -> bool:
    return text[:1] == "'" and text[1:].startswith((*RISKY, "'"))


def _replace(target: Path, whole: bytes) -> None:
    draft = target.parent / f".{target.stem[:40]}-{token_hex(8)}.part"
    try:
        with draft.open("xb") as out:
            out.write(whole)
            out.flush()
            os.fsync(out.fileno())
        draft.replace(target)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
