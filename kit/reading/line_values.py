"""Prices and targets by stage, from a file of a few lines: CSV with a line and a number each, or TOML such as `cook = 0.8`.

A product may stand beside a target: 'Frankfurter, cook, 9.5', or in TOML a table of that name. Stages may be written in any language that records are read in.
"""

from collections.abc import Iterator
from math import isfinite

from kit.batches.compare import OVERALL
from kit.batches.target import LossTarget
from kit.errors import nearest
from kit.faults import Cell, Faults
from kit.reading.opener import load, text_page, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.words import meaning, plain
from kit.stages import STAGES
from kit.units import lone_comma

_FILE = FileLimits((".csv", ".tsv", ".txt", ".toml"), 1_000_000, "a few lines are enough", 5000, 20)


def read_prices(source, name: str = "prices.csv") -> dict[str, float]:
    """{stage or transfer: your price of a kilogram lost there} of a path, text with line breaks, or bytes with their `name`. Faulty with every fault."""
    faults = Faults(name, "The prices cannot be used")
    found: dict[str, float] = {}
    for line, product, value, at in _values(source, name, faults):
        if product or line == OVERALL:
            faults.say("no price of its own", at, line=product or line)
        elif line in found or value < 0:
            faults.say(
                "two prices" if line in found else "price below 0", at, line=line, value=value
            )
        found[line] = value
    faults.stop_if_any()
    return found


def read_targets(source, name: str = "targets.csv") -> tuple[LossTarget, ...]:
    """Target losses in %, each for a stage or 'overall', and for a product where one stands beside it; otherwise as `read_prices`."""
    faults = Faults(name, "The targets cannot be used")
    found: dict[tuple[str, str], LossTarget] = {}
    for line, product, value, at in _values(source, name, faults):
        if (product, line) in found:
            faults.say("two targets", at, line=line)
        elif " to " in line or not 0 <= value <= 100:
            faults.say("no target", at, line=line, value=value)
        found[product, line] = LossTarget(line, value, product)
    faults.stop_if_any()
    return tuple(found.values())


def _values(source, name: str, faults: Faults) -> Iterator[tuple[str, str, float, Cell]]:
    """(line, product, number, place) of each entry that can be read; what cannot be is noted, and raised where nothing is left."""
    whole, faults.file = load(source, name, _FILE)
    count = columns = 0
    rows = _toml if faults.file.lower().endswith(".toml") else _rows
    for cells, at, width in rows(whole, faults):
        numbers = [k for k, cell in enumerate(cells) if _number(cell) is not None]
        lines = [k for k, cell in enumerate(cells) if line_of(cell)]
        if not (count or columns or numbers):
            columns = width  # the headers
            continue
        count += 1
        said = ", ".join(cells)[:80]
        rest = [cells[k] for k in range(len(cells)) if k not in (*lines[:1], *numbers[-1:])]
        if not numbers:
            faults.say("no number", at, said=said)
        elif not lines:
            near = ", ".join(nearest(cells[0][:60], STAGES))
            faults.say("no stage", at, said=said, near=near)
        elif lines[0] < numbers[0] < numbers[-1] and not numbers[-1] < width <= columns:
            faults.say("two numbers", at, said=said)
        elif len(rest) > 1:
            faults.say("more than a number", at, said=said)
        else:
            yield line_of(cells[lines[0]]), "".join(rest), _number(cells[numbers[-1]]) or 0.0, at
    if not count:
        faults.stop("no entry")


def _rows(whole: bytes, faults: Faults) -> Iterator[tuple[list[str], Cell, int]]:
    """Filled cells of each row, its place, and up to which column it is filled."""
    page = text_page(whole, faults, _FILE)
    for row, cells in enumerate(page.rows, 1):
        filled = {k: str(cell).strip() for k, cell in enumerate(cells, 1) if str(cell).strip()}
        said = list(filled.values())
        if page.separator != ",":
            said = [cell.replace(",", ".") if _number(cell) is None else cell for cell in said]
        if filled:
            yield said, Cell(None, row), max(filled)


def _toml(whole: bytes, faults: Faults) -> Iterator[tuple[list[str], Cell, int]]:
    for key, value in toml_of(whole, faults)[0].items():
        beside = value.items() if isinstance(value, dict) else [(key, value)]
        for line, number in beside:
            product = [key] if isinstance(value, dict) else []
            yield [*product, line, str(number)], Cell(None, label=key), 0


def _number(text: str) -> float | None:
    try:
        value = float(lone_comma(text.rstrip("% ").replace("−", "-")))
    except ValueError:
        return None
    return value if isfinite(value) else None


def line_of(text: str) -> str:
    """'cook', 'cook to chill' or 'overall' as the kit calls it, from a stage in any known language; '' where it is none."""
    said = plain(text)
    if said in (OVERALL, "total"):
        return OVERALL
    ends = [end if end in STAGES else meaning("stage", end) for end in said.split(" to ")]
    return " to ".join(ends) if all(ends) and len(ends) < 3 else ""
