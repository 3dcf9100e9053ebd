"""Guesses, exercises and questions as one small panel: type or click, and a sentence answers. The page holds questions only; what is right stays in the kernel until it is asked for."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import cycle
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


CHOOSE = "choose"


@dataclass(frozen=True, repr=False)
class Doing:
    """A line to type in, none where it `asks` for nothing or has `options`, and buttons with functions of their own. `example` stands beside it; `typed` is in the line already."""

    question: str
    unit: str
    acts: Mapping[str, Callable[[str], Reply]]
    asks: str = "number"
    """"number", "words" or "": how wide the line is"""
    typed: str = ""
    example: tuple[str, ...] = ()
    options: tuple[str, ...] | None = None
    """a button each; the act CHOOSE gets the one that is pressed"""

    @property
    def item(self) -> dict:
        """What the page draws."""
        acts = [act for act in self.acts if act != CHOOSE]
        return vars(self) | {"acts": acts}

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
        self.panels = panels or {}
        super().__init__()
        self.use(title, asked)
        self.on_msg(lambda _, content, buffers: self.press(content))

    def use(self, title: str, asked: Sequence) -> None:
        """Ask something else; the replies to what was asked go."""
        self.asked, self.doings = list(asked), [_doing(one, self.panels) for one in asked]
        with self.hold_sync():
            self.replies, self.title = {}, title
            self.items = [one.item for one in self.doings]

    def press(self, content: Mapping) -> Reply:
        """What a click gives: `n` the item, `act` the words of its button or CHOOSE, `text` what was typed or chosen."""
        n, act, text = (content.get(key, "") for key in ("n", "act", "text"))
        fault = None
        try:
            reply = self.doings[n].acts[act](text)
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

    def __repr__(self):
        lines = [
            f"{n}. {one!r}" if len(self.asked) > 1 else repr(one)
            for n, one in enumerate(self.asked, 1)
        ]
        return "\n".join([self.title, *lines])

    def _repr_mimebundle_(self, **kwargs):
        view = {"version_major": 2, "version_minor": 0, "model_id": self._model_id}
        return {"text/plain": repr(self), "application/vnd.jupyter.widget-view+json": view}


def _doing(one, panels: Mapping) -> Doing:
    """The buttons of a guess, an exercise or a question, and what each of them does."""
    if isinstance(one, Doing):
        return one
    if isinstance(one, Guess):
        return Doing(one.question, one.unit, _guessing(one))
    if isinstance(one, Choosing):
        acts = {CHOOSE: partial(_chosen, one)}
        if one.panel in panels:
            acts["Show it in the panel"] = lambda _: _shown(panels[one.panel], one.state)
        return Doing(one.question, "", acts, options=one.options)
    hints = cycle(f"Hint {n} of {len(one.hints)}: {hint}" for n, hint in enumerate(one.hints, 1))
    acts = {"Check": partial(checked, one), "Hint": lambda _: Reply(next(hints))}
    return Doing(one.question, one.unit, {**acts, "Show": lambda _: solved(one)})


def _guessing(guess: Guess) -> dict[str, Callable[[str], Reply]]:
    held = [guess]

    def commit(text: str) -> Reply:
        held[:] = [guess.commit(text)]
        said = f"Your guess: {held[0].guessed:g} {guess.unit}"
        return Reply(f"{said}. Look at the panel first, then press Compare.")

    return {"Commit": commit, "Compare": lambda _: Reply(held[0].compare())}


def _chosen(one: Choosing, option: str) -> Reply:
    right, _, source = one.judge(option)
    return Reply(one.check(option), "right" if right else "wrong", (source,))


def _shown(panel, state: Mapping[str, object] | str) -> Reply:
    """The panel as the answer needs it, and the controls that were moved for that."""
    before = panel.values
    panel.press(state) if isinstance(state, str) else panel.reset().set(**state)
    moved = [_control(panel, key) for key, value in panel.values.items() if value != before[key]]
    says = panel.error or panel.shown.sentence
    return Reply(f"The panel “{panel.title}” now shows: {says}", more=tuple(moved))


def checked(one: Exercise, text: str) -> Reply:
    verdict, words = one.judge(text)
    return Reply(words, "right" if verdict == "right" else "wrong")


def solved(one: Exercise) -> Reply:
    answer, *working = one.solution().splitlines()
    return Reply(f"Answer: {answer}", more=tuple(working))


def _control(panel, key: str) -> str:
    spec, value = panel.controls[key].spec, panel.values[key]
    unit = getattr(spec, "unit", "")
    return f"{spec.label}: {units.show(value, unit, panel.system) if unit else value}"
