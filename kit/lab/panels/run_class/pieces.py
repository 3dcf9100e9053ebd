"""What the panels of a class share: one plan that is handed from panel to panel, a button that does something, the cautions."""

import asyncio
import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as W

from kit import allergens
from kit.classroom.plan import ClassPlan
from kit.cure import cautions as cure
from kit.errors import KitError
from kit.lab.pages.class_cards import eaten_words
from kit.lab.pages.class_teacher import ASK, HYGIENE
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.sheets import current_sheet, kitchen_sheet
from kit.reading.class_plan import read_plan
from kit.rules.verdicts import CAUTION
from kit.sheet import Sheet
from kit.trial.question import factors

REST_S = 0.3
"""a plan is taken over when its panel has rested for so long"""
PLAN = "plan.toml"
Act = Callable[[Any, Mapping], str | None]


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


def plan_from(above: Panel | None) -> Callable[[], ClassPlan]:
    """What gives the plan of the panel above; without one, the plan to start with."""
    start = None if above else start_plan()
    return lambda: start or result_of(above).plan


def result_of(above: Panel | None) -> Any:
    """What a panel answers; KitError where it cannot."""
    assert above
    if above.error:
        raise KitError(f"the panel above has an error: {above.error}")
    return above.result


class ClassPanel(Panel):
    """A panel of a class: its answer stays the same object as long as it is asked the same, so that the panels below stay as they are.

    asked(values) -> what the answer is made from, by the values and `system`; answer(asked) -> the answer. charts: name -> what makes it.
    above: the panel whose answer it takes over when that has rested; at once where no kernel runs.
    acts: words of a button above the presets -> what a press does with the answer and the values, giving words that are said once; and what is said where it fails.
    """

    def __init__(
        self,
        title: str,
        controls,
        asked: Callable[[Mapping], Any],
        answer: Callable[[Any], Any],
        view: Callable[[Any, Mapping, str], View],
        charts: Mapping[str, Callable[[str], dict]],
        presets: Mapping[str, Mapping] | None = None,
        *,
        above: Panel | None = None,
        acts: Mapping[str, tuple[Act, str]] | None = None,
    ):
        self._asked, self._answer, self._view = asked, answer, view
        self._last, self._said, self._timer = (), "", None
        self._acts = [W.Button(description=words, tooltip=words) for words in acts or ()]
        for button, act in zip(self._acts, (acts or {}).values()):
            button.on_click(partial(self._press, *act))
        super().__init__(title, controls, self._compute, self._told, charts, presets)
        if above:
            self._taken = above.error or above.result
            above.picture.observe(partial(self._soon, above), names="tick")

    def _lay(self):
        super()._lay()
        *controls, presets, switch = self._left.children
        self._left.children = (*controls, *self._acts, presets, switch)

    def _compute(self, values: Mapping):
        now = self._asked({**values, "system": self.system})
        if self._last[:1] != (now,):
            self._last = now, self._answer(now)
        return self._last[1]

    def _told(self, result, values: Mapping, system: str) -> View:
        said, self._said = self._said, ""
        view = self._view(result, values, system)
        return replace(view, sentence=f"{said}{view.sentence}")

    def _press(self, act: Act, failed: str, _) -> None:
        if self.error:
            return
        try:
            self._said = act(self.result, self.values) or ""
        except (KitError, OSError) as error:
            self._said = f"{failed}: {str(error).rstrip('.')}. "
        self._changed()

    def _soon(self, above: Panel, _) -> None:
        now = above.error or above.result
        if now is self._taken:
            return
        self._taken = now
        if self._timer:
            self._timer.cancel()
        try:
            self._timer = asyncio.get_running_loop().call_later(REST_S, self._changed)
        except RuntimeError:
            self._changed()


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
    said = (*eaten, CAUTION, *HYGIENE, ASK, *at_step, *(bowl or (cure.NITRITE,)))
    return tuple(dict.fromkeys(filter(None, said)))
