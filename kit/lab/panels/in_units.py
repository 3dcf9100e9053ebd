"""A view's words in the unit system of its panel: quantities in notes, cautions, tables and charts follow the switch; sources stay as printed, and the working is metric with US units beside."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from kit import units
from kit.lab.panels.view import Row, Table, View
from kit.working import Step

_NUMBER = {float, int, bool, type(None)}
WORKING = "Calculated in metric units, with the US value beside each. "
BESIDE = ("kg", "°C", "K", "mm", "m", "kJ/kg")
"""units of the working that are said in US units too; a scale's grams, and grams of 100 g, stay grams"""


def in_units(view: View, system: str) -> View:
    """`view` with the quantities in its texts rewritten for `system` (`units.in_text`)."""
    say = partial(units.in_text, system=system)
    steps = view.steps
    if system == units.US:
        steps = tuple(_beside(step, "" if n else WORKING) for n, step in enumerate(steps))
    return replace(
        view,
        sentence=say(view.sentence),
        data=_words(view.data, say),
        text=_words(view.text, say),
        tables=tuple(_table(table, say) for table in view.tables),
        notes=tuple(map(say, view.notes)),
        steps=tuple(
            step if step.what == (what := say(step.what)) else replace(step, what=what)
            for step in steps
        ),
        cautions=tuple(map(say, view.cautions)),
    )


def _beside(step: Step, head: str) -> Step:
    """The step with the US value of its terms and of its answer in words beside them."""

    def us(value: float, unit: str) -> tuple[str, ...]:
        return (units.show(value, unit, units.US),) if unit in BESIDE else ()

    terms = tuple(
        replace(t, meaning="; ".join(filter(None, (*us(t.value, t.unit), t.meaning))))
        for t in step.terms
    )
    answer = "".join(f" ({shown})" for shown in us(step.answer, step.unit))
    return replace(step, what=f"{head}{step.what}{answer}", terms=terms)


def _words(part, say: Callable[[str], str]):
    """Every text in a nest of rows; numbers and arrays as they are."""
    if isinstance(part, str):
        return say(part)
    if isinstance(part, dict):
        return {k: v if type(v) in _NUMBER else _words(v, say) for k, v in part.items()}
    if isinstance(part, (list, tuple)) and part and not isinstance(part[0], (int, float)):
        return [_words(item, say) for item in part]
    return part


def _table(table: Table, say: Callable[[str], str]) -> Table:
    def opened() -> tuple[Row, ...]:
        return _table(replace(table, rows=table.later(), later=None), say).rows

    return replace(
        table,
        caption=say(table.caption),
        columns=tuple(map(say, table.columns)),
        rows=tuple(Row(tuple(map(say, row.cells)), row.mark) for row in table.rows),
        later=opened if table.later else None,
    )
