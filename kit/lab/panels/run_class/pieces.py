"""What the panels of a class share: one plan that is handed from panel to panel, a button that does something, the cautions."""

import asyncio
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as W

from kit import allergens
from kit.classroom.plan import ClassPlan
from kit.cure import cautions as cure
from kit.errors import KitError
from kit.lab.pages.class_cards import eaten_words
from kit.lab.pages.class_teacher import ASK, HYGIENE
from kit.lab.panels.panel import Panel
from kit.lab.panels.sheets import current_sheet, kitchen_sheet
from kit.reading.class_plan import read_plan
from kit.rules.verdicts import CAUTION
from kit.sheet import Sheet
from kit.trial.question import factors

REST_S = 0.3
"""a plan is taken over when its panel has rested for so long"""
PLAN = "plan.toml"


def classes_folder() -> Path:
    """Where the papers of classes are kept: `my_classes` beside the notebooks, or as COLD_BATTER_CLASSES says."""
    return Path(os.environ.get("COLD_BATTER_CLASSES", "my_classes"))


def printed_classes() -> list[Path]:
    """Folders of printed papers, the newest first."""
    plans = classes_folder().glob(f"*/{PLAN}")
    return [path.parent for path in sorted(plans, key=lambda one: -one.stat().st_mtime_ns)]


def start_plan(sheet: Sheet | None = None) -> ClassPlan:
    """The plan to start with: that of the class printed last, else the usual one, for the current batch or the invented kitchen's."""
    printed = printed_classes()
    if sheet is None and printed:
        return read_plan(printed[0] / PLAN)
    return ClassPlan(sheet or current_sheet() or kitchen_sheet())


def plan_above(above: Panel | None, start: Callable[[], ClassPlan] = start_plan) -> ClassPlan:
    """The plan of the panel above; KitError where that has none."""
    if above is None:
        return start()
    if above.error:
        raise KitError(f"the panel above has an error: {above.error}")
    return above.result.plan


def follow(panel: Panel, above: Panel | None) -> Panel:
    """`panel` takes over what the panel above says when that has rested; at once where no kernel runs."""
    if above is None:
        return panel
    taken, waiting = [_handed(above)], list[asyncio.TimerHandle]()

    def soon(_):
        now = _handed(above)
        if now is taken[0]:
            return
        taken[0] = now
        for timer in waiting:
            timer.cancel()
        try:
            waiting[:] = [asyncio.get_running_loop().call_later(REST_S, panel._changed)]
        except RuntimeError:
            panel._changed()

    above.picture.observe(soon, names="tick")
    return panel


def _handed(above: Panel):
    """What a panel hands on: its error, its results, else its plan."""
    return above.error or getattr(above.result, "results", None) or above.result.plan


class LastAnswer:
    """The answer as before, the same object, as long as what it is made from is equal: the panels below then stay as they are."""

    def __init__(self):
        self._held: tuple = ()

    def __call__(self, made_from, make: Callable[[], Any]):
        if self._held[:1] != (made_from,):
            self._held = made_from, make()
        return self._held[1]


class ActingPanel(Panel):
    """A panel with buttons above the presets. `acts`: words -> what a press does; then the panel answers anew."""

    def __init__(self, *given, acts: Mapping[str, Callable[[], None]], **more):
        self._acts = []
        for words, act in acts.items():
            button = W.Button(description=words, tooltip=words)
            button.on_click(lambda _, act=act: (act(), self._changed()))
            self._acts.append(button)
        super().__init__(*given, **more)

    def _lay(self):
        super()._lay()
        *controls, presets, switch = self._left.children
        self._left.children = (*controls, *self._acts, presets, switch)


def points(low: float, middle: float, high: float, sign: str = "+") -> str:
    """A value with its interval, in percentage points; `sign` "-": only where it is negative."""
    return f"{middle:{sign}.1f} ({low:{sign}.1f} to {high:{sign}.1f})".replace("-", "−")


def cautions(plan: ClassPlan | None = None) -> tuple[str, ...]:
    """What can hurt somebody in a class. Without a plan: for the top of the page; what cure in the bowl adds is said in the panel."""
    known = plan.question.factors if plan else factors().values()
    bowl = (cure.NITRITE, cure.STRENGTH, cure.WEIGH, cure.LAW) if plan and plan.cured else ()
    plan = plan or start_plan()
    eaten = (eaten_words(plan), allergens.caution([line.name for line in plan.sheet.lines]))
    at_step = (f"{one.caution[0].upper()}{one.caution[1:]}." for one in known if one.caution)
    return tuple(
        dict.fromkeys(
            filter(None, (*eaten, CAUTION, *HYGIENE, ASK, *at_step, *(bowl or (cure.NITRITE,))))
        )
    )
