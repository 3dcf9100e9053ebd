"""A view's words in the unit system of its panel: quantities in notes, cautions, tables and charts follow the switch; sources and working stay as printed."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from kit import units
from kit.lab.panels.view import Row, Table, View

_NUMBER = {float, int, bool, type(None)}
WORKING = "The working below is calculated in metric units."


def in_units(view: View, system: str) -> View:
    """`view` with the quantities in its texts rewritten for `system` (`units.in_text`)."""
    say = partial(units.in_text, system=system)
    notes = tuple(map(say, view.notes))
    if view.steps and system == units.US:
        notes = (*notes, WORKING)
    return replace(
        view,
        sentence=say(view.sentence),
        data=_words(view.data, say),
        text=_words(view.text, say),
        tables=tuple(_table(table, say) for table in view.tables),
        notes=notes,
        steps=tuple(
            step if step.what == (what := say(step.what)) else replace(step, what=what)
            for step in view.steps
        ),
        cautions=tuple(map(say, view.cautions)),
    )


def _words(part, say: Callable[[str], str]):
    """Every text in a nest of rows; numbers and arrays as they are."""
    if isinstance(part, str):
        return say(part)
    if isinstance(part, dict):
        if all(map(_NUMBER.__contains__, map(type, part.values()))):
            return part
        return {key: _words(item, say) for key, item in part.items()}
    if isinstance(part, (list, tuple)) and part and not isinstance(part[0], (int, float)):
        return [_words(item, say) for item in part]
    return part


def _table(table: Table, say: Callable[[str], str]) -> Table:
    def rows(found: tuple[Row, ...]) -> tuple[Row, ...]:
        return tuple(replace(row, cells=tuple(map(say, row.cells))) for row in found)

    later = table.later
    return replace(
        table,
        caption=say(table.caption),
        columns=tuple(map(say, table.columns)),
        rows=rows(table.rows),
        later=(lambda: rows(later())) if later else None,
    )
