"""Guesses, exercises and questions as one small panel: type or click, and a sentence answers. The page holds questions only; what is right stays in the kernel until it is asked for."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import anywidget
import traitlets as T

from kit import units
from kit.errors import KitError
from kit.lab.lessons import Choosing, Exercise, Guess
from kit.lab.panels.view import said

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Reply:
    """One sentence and the lines below it; `tone` is "right", "wrong" or "note"."""

    text: str
    tone: str = "note"
    more: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class Doing:
    """A line to type in, none where it `asks` for nothing, and buttons with functions of their own. `example` stands beside it; `typed` is in the line already."""

    question: str
    unit: str
    acts: Mapping[str, Callable[[str], Reply]]
    asks: str = "number"
    """"number", "words" or "": how wide the line is"""
    typed: str = ""
    example: tuple[str, ...] = ()

    def __repr__(self):
        return self.question


class Ask(anywidget.AnyWidget):
    """A set of guesses, exercises or questions. `panels`: the panels of the page by name, for questions that a panel can show."""

    _esm = HERE / "ask.js"
    _css = HERE / "ask.css"
    title = T.Unicode().tag(sync=True)
    items = T.List(T.Dict()).tag(sync=True)
    replies = T.Dict().tag(sync=True)
    """number of the item -> the last reply, with a count that tells two alike apart"""

    def __init__(self, title: str, asked: Sequence, panels: Mapping | None = None):
        self.asked, self.panels, self._hints = list(asked), dict(panels or {}), [0] * len(asked)
        super().__init__(title=title, items=[self._item(one) for one in self.asked])
        self.on_msg(lambda _, content, buffers: self.press(content))

    def use(self, title: str, asked: Sequence) -> None:
        """Ask something else; the replies to what was asked go."""
        self.asked, self._hints = list(asked), [0] * len(asked)
        with self.hold_sync():
            self.replies, self.title = {}, title
            self.items = [self._item(one) for one in asked]

    def _item(self, one) -> dict:
        if isinstance(one, Doing):
            shown = {key: value for key, value in vars(one).items() if key != "question"}
            return shown | {"ask": one.question, "acts": list(one.acts)}
        if isinstance(one, Choosing):
            shows = ["Show it in the panel"] if one.panel in self.panels else []
            return {"ask": one.question, "options": list(one.options), "acts": shows}
        acts = ["Commit", "Compare"] if isinstance(one, Guess) else ["Check", "Hint", "Show"]
        return {"ask": one.question, "unit": one.unit, "acts": acts}

    def press(self, content: Mapping) -> Reply:
        """What a click gives: `n` the item, `act` the words of its button or "choose", `text` what was typed or chosen."""
        n, act, text = (content.get(key, "") for key in ("n", "act", "text"))
        fault = None
        try:
            reply = self._acts(n)[act](text)
        except Exception as error:
            fault = None if isinstance(error, KitError) else error
            words = said(error)
            reply = Reply(f"{words[:1].upper()}{words[1:]}.")
        tick = self.replies.get(str(n), {}).get("tick", 0) + 1
        self.replies = self.replies | {
            str(n): vars(reply) | {"tick": tick, "act": act, "given": text}
        }
        if fault:
            raise fault
        return reply

    def _acts(self, n: int) -> dict[str, Callable[[str], Reply]]:
        one = self.asked[n]
        if isinstance(one, Doing):
            return dict(one.acts)
        if isinstance(one, Choosing):
            return {
                "choose": partial(_chosen, one),
                "Show it in the panel": partial(self._shown, one),
            }
        if isinstance(one, Guess):
            return {"Commit": partial(self._commit, n), "Compare": lambda _: _compared(one)}
        return {
            "Check": partial(_checked, one),
            "Hint": lambda _: self._hint(n),
            "Show": lambda _: _solved(one),
        }

    def _commit(self, n: int, text: str) -> Reply:
        self.asked[n] = guess = self.asked[n].commit(text)
        return Reply(
            f"Your guess: {guess.guessed:g} {guess.unit}. Look at the panel first, then press Compare."
        )

    def _hint(self, n: int) -> Reply:
        hints = self.asked[n].hints
        self._hints[n] = number = self._hints[n] % len(hints) + 1
        return Reply(f"Hint {number} of {len(hints)}: {self.asked[n].hint(number)}")

    def _shown(self, one: Choosing, _: str) -> Reply:
        panel = self.panels[one.panel]
        before = panel.values
        panel.press(one.state) if isinstance(one.state, str) else panel.reset().set(**one.state)
        moved = [
            _control(panel, key) for key, value in panel.values.items() if value != before[key]
        ]
        return Reply(
            f"The panel “{panel.title}” now shows: {panel.error or panel.shown.sentence}",
            more=tuple(moved),
        )

    def __repr__(self):
        lines = [
            f"{n}. {one!r}" if len(self.asked) > 1 else repr(one)
            for n, one in enumerate(self.asked, 1)
        ]
        return "\n".join([self.title, *lines])

    def _repr_mimebundle_(self, **kwargs):
        view = {"version_major": 2, "version_minor": 0, "model_id": self._model_id}
        return {"text/plain": repr(self), "application/vnd.jupyter.widget-view+json": view}


def _chosen(one: Choosing, option: str) -> Reply:
    right, _, source = one.judge(option)
    return Reply(one.check(option), "right" if right else "wrong", (source,))


def _compared(guess: Guess) -> Reply:
    return Reply(guess.compare())


def _checked(one: Exercise, text: str) -> Reply:
    words = one.check(text)
    return Reply(words, "right" if words.startswith("Right") else "wrong")


def _solved(one: Exercise) -> Reply:
    answer, *working = one.solution().splitlines()
    return Reply(f"Answer: {answer}", more=tuple(working))


def _control(panel, key: str) -> str:
    spec, value = panel.controls[key].spec, panel.values[key]
    unit = getattr(spec, "unit", "")
    return f"{spec.label}: {units.show(value, unit, panel.system) if unit else value}"
