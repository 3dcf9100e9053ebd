"""The batch form as a control: a table of text that becomes a sheet, with every fault beside its field."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any

import anywidget
import traitlets as T

from kit import units
from kit.errors import Fault, Faulty
from kit.faults import Faults
from kit.files import number_text
from kit.lab.panels.plan import known
from kit.materials.composition import offered
from kit.plan.mix import BASES, FINISHED
from kit.rules.rule_sets import rule_sets
from kit.sheet import Sheet
from kit.sheet.draft import MANY, Draft, draft_of
from kit.sheet.entries import Field, fields
from kit.sheet.sheet import sheet_of_draft
from kit.tables import read_rows

HERE = Path(__file__).parent
IN_GRAMS = ("scale_step_g", "meat_scale_step_g")
"""a scale's step stays in grams in US units too"""
ACTIONS = (
    ("Save the sheet (TOML)", "toml"),
    ("Save as a workbook (XLSX)", "xlsx"),
    ("Blank workbook", "blank"),
    ("Keep this batch", "keep"),
    ("Plan the next batch from this one", "next"),
    ("Use this batch in lessons 01 to 08", "use"),
)


class BatchForm(anywidget.AnyWidget):
    """`value`: {part: {field: text}} or, for lines, steps and weighings, a list of such."""

    _esm = HERE / "form.js"
    _css = HERE / "form.css"
    sections = T.List().tag(sync=True)
    value = T.Dict().tag(sync=True)
    faults = T.Dict().tag(sync=True)
    actions = T.List().tag(sync=True)
    said = T.Unicode("").tag(sync=True)
    found = T.List().tag(sync=True)
    """what a search in plain words found: (name, what it is) for each"""


@dataclass(frozen=True)
class FormSpec:
    """The control spec of a batch form; its value is the text of every field."""

    key: str
    label: str
    value: Mapping[str, Any]
    group: str = ""

    def build(self) -> BatchForm:
        """The widget, in metric units."""
        actions = [list(one) for one in ACTIONS]
        return BatchForm(sections=sections(units.METRIC), value=dict(self.value), actions=actions)

    def use(self, widget: BatchForm, value: Mapping, before: str, after: str) -> Mapping:
        """The form in other units: its labels, and the text with every bare number turned."""
        if before == after:
            return value
        widget.sections = sections(after)
        return in_other_units(value, before, after)


@cache
def shown_fields() -> list[dict[str, str]]:
    """What the form shows, in order: a row for each field; `each` names one entry of a section that is a list."""
    return read_rows("words", "form.csv")


def sections(system: str) -> list[dict]:
    """The sections of the form, in order, with the labels of the unit system."""
    found = []
    for title, rows in groupby(shown_fields(), itemgetter("section")):
        rows = list(rows)
        part, each, is_open = (rows[0][key] for key in ("part", "each", "open"))
        about = [_about(row, system) | {"part": row["part"], "width": row["width"]} for row in rows]
        how = {"part": part, "one": each, "columns": about} if each else {"fields": about}
        found.append({"title": title, "open": is_open == "yes", **how})
    return found


def _about(row: Mapping[str, str], system: str) -> dict:
    part, key, label, hint = (row[name] for name in ("part", "key", "label", "hint"))
    if key == "known":
        return {"key": key, "label": label, "hint": hint, "help": known.HELP}
    field = fields(part)[key]
    about: dict[str, Any] = {"key": key, "label": label, "hint": hint, "help": field.meaning}
    if key in IN_GRAMS:
        about["unit"] = "g"
    elif field.reads == "quantity" and field.unit not in ("", "%", "min", "1/kg"):
        about["unit"] = units.shown_unit(field.unit, system)
        about["hint"] = _in_system(hint, field.unit, system)
    if key == "rule":
        about["options"] = [["no rule", ""], *([str(one), k] for k, one in rule_sets().items())]
    elif field.choices:
        first = "US" if key == "cure_rule" else BASES[FINISHED] if key == "fat_target_basis" else ""
        names = BASES if key == "fat_target_basis" else {}
        about["options"] = [[first, ""], *([names.get(c, c), c] for c in field.choices)]
    elif part == "line" and key == "name":
        about |= {"options": [[name, name] for name in (*offered(), "salt")], "free": True}
    return about


def _in_system(hint: str, unit: str, system: str) -> str:
    """The figures of a hint in the unit that is shown."""
    if system == units.METRIC:
        return hint
    return re.sub(
        r"-?\d+(?:\.\d+)?", lambda hit: f"{units.to_shown(float(hit[0]), unit, system):.3g}", hint
    )


# --- text <-> sheet ---


def state_of(data: Mapping) -> dict:
    """The text of every field of a sheet's plain data (`Sheet.as_dict()`); what the form has no column for is kept as it is."""

    def text(value) -> str:
        return value if isinstance(value, str) else number_text(value)

    state: dict[str, Any] = {"batch": {}, "process": {}, "line": [], "cook": [], "weighing": []}
    for key, value in data.items():
        if key in MANY:
            state[key] = [{k: text(v) for k, v in entry.items()} for entry in value]
        elif key == "process":
            state[key] = {k: text(v) for k, v in value.items()}
        else:
            state["batch"][key] = text(value)
    state["line"] = [known.folded(line) for line in state["line"]]
    return state


WEIGHED = ("chop", "stuff", "rest", "cook", "chill", "peel", "pack", "grill")


def with_stages(state: dict) -> dict:
    """The same with a row for each stage that is usually weighed, to be filled after the batch; a row without a weight does not count."""
    there = {row.get("stage") for row in state["weighing"]}
    blank = [{"stage": stage} for stage in WEIGHED if stage not in there]
    return state | {"weighing": [*state["weighing"], *blank]}


def start_of(sheet: Sheet) -> dict:
    """The text of a sheet, with a row for each stage to be weighed."""
    return with_stages(state_of(sheet.as_dict()))


def state_of_draft(draft: Draft) -> dict:
    """The same of a file that may be faulty."""
    data: dict[str, Any] = {part: [] for part in MANY} | {"process": {}}
    for record in draft.records:
        cells = {
            name: cell.value
            for name, cell in record.cells.items()
            if isinstance(cell.value, (str, int, float)) and not isinstance(cell.value, bool)
        }
        if record.part in MANY:
            data[record.part].append(cells)
        elif record.part == "process":
            data["process"] |= cells
        else:
            data |= cells
    return state_of(data)


def sheet_of_state(state: Mapping, system: str = units.METRIC) -> Sheet:
    """The sheet that the form's text says. Raises Faulty with every fault; rows left empty do not count."""
    faults = Faults("", "This form cannot be used yet")
    data: dict[str, Any] = dict(_with_units("batch", state.get("batch", {}), system))
    data["process"] = _with_units("process", state.get("process", {}), system)
    for part in MANY:
        rows = [row for row in state.get(part, []) if _counts(part, row)]
        rows = [known.unfolded(row) if part == "line" else row for row in rows]
        data[part] = [_with_units(part, row, system) for row in rows]
    draft = draft_of(data, faults)
    draft.typed = False
    return sheet_of_draft(draft, faults, "batch")


_BARE = re.compile(r"\s*[-−+]?\d+(?:[.,]\d+)?\s*")


def _counts(part: str, row: Mapping) -> bool:
    """Does this row say anything? A stage alone is a row still to be filled."""
    said = {name for name, text in row.items() if str(text).strip()}
    return bool(said - {"stage"} if part == "weighing" else said)


def _turns(field: Field | None, text) -> bool:
    """A bare number that stands for another amount in the other unit system."""
    return (
        field is not None
        and field.reads == "quantity"
        and field.name not in IN_GRAMS
        and bool(_BARE.fullmatch(str(text)))
    )


def _turned(part: str, entry: Mapping, turn: Callable[[Field, str], str]) -> dict[str, str]:
    """The entry with `turn` of every bare number that stands for another amount in the other unit system."""
    about = fields(part)
    return {n: turn(about[n], t) if _turns(about.get(n), t) else t for n, t in entry.items()}


def _with_units(part: str, entry: Mapping, system: str) -> dict[str, str]:
    """A bare number in the unit that the form shows beside it, with a decimal point."""
    numbers = {name for name, field in fields(part).items() if field.reads == "quantity"}
    found = {n: units.lone_comma(str(t)) if n in numbers else t for n, t in entry.items()}

    def turn(field: Field, text: str) -> str:
        unit = "/ lb" if field.unit == "1/kg" else units.shown_unit(field.unit, system)
        return f"{text} {unit}".strip()

    return _turned(part, found, turn) if system == units.US else found


def in_other_units(state: Mapping, before: str, after: str) -> dict:
    """The same text with every bare number in the units of the other system."""

    def turn(field: Field, text: str) -> str:
        number = float(str(text).replace("−", "-").replace(",", "."))
        if field.unit == "1/kg":
            per_lb = units.to_shown(1.0, "kg", units.US)
            return f"{number / per_lb if after == units.US else number * per_lb:.6g}"
        inside = units.from_shown(number, field.unit, before)
        return f"{float(units.to_shown(inside, field.unit, after)):.6g}"

    return {
        part: [_turned(part, row, turn) for row in entry]
        if part in MANY
        else _turned(part, entry, turn)
        for part, entry in state.items()
    }


def placed(error: Faulty, state: Mapping) -> dict[str, str]:
    """{place of the field in the form: fault and remedy}, as far as a fault belongs to one field."""
    found: dict[str, str] = {}
    for fault in error.faults:
        place = _place(fault, state)
        if place:
            said = f"{fault.what}; {fault.remedy}" if fault.remedy else fault.what
            found[place] = f"{found[place]} {said}" if place in found else said
    return found


def _place(fault: Fault, state: Mapping) -> str:
    words = fault.field.split(" ")
    if words[0] in MANY and len(words) > 1 and words[1].isdigit():
        part, key = words[0], words[2] if len(words) > 2 else ""
        filled = [n for n, row in enumerate(state.get(part, [])) if _counts(part, row)]
        n = int(words[1]) - 1
        columns = [row["key"] for row in shown_fields() if row["part"] == part]
        if n >= len(filled):
            return ""
        shown = key if key in columns else "known" if part == "line" and key else columns[0]
        return f"{part}.{filled[n]}.{shown}"
    part, key = ("process", words[-1]) if words[0] == "process" else ("batch", words[0])
    there = any((row["part"], row["key"]) == (part, key) for row in shown_fields())
    return f"{part}.{key}" if there else ""
