"""The shared panel: controls on the left; one sentence, charts and tables on the right, changed together.

The picture of each chart is sent once; moving a control sends one message that holds rows and words only. A PNG and
a text form travel with it for places where nothing runs.
"""

import json
import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache, partial
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any
from weakref import WeakSet

import anywidget
import ipywidgets as W
import traitlets as T

from kit import units
from kit.errors import Faulty, KitError, UnknownName, need_known
from kit.lab import words
from kit.lab.charts.alt import SHELF, shelved
from kit.lab.panels.controls import Choice, Control, Day, Entry, File, Slider, Switch, values_of
from kit.lab.panels.current import at_current_batch
from kit.lab.panels.in_units import in_units
from kit.lab.panels.sheets import current_system, faults_view
from kit.lab.panels.view import Row, Table, View, row, said

__all__ = [
    "Choice",
    "Day",
    "Entry",
    "File",
    "Panel",
    "Row",
    "Slider",
    "Switch",
    "Table",
    "View",
    "row",
]
HERE = Path(__file__).parent
WORKED = "Redo it with a pencil"
PICTURES = "COLD_BATTER_PICTURES"
"""an environment variable: "words" puts the rows of every folded table into a panel's stored form, where notebooks are compared; "yes" a PNG too, where they are stored"""


@lru_cache(maxsize=1)
def runtime():
    """The chart library, sent to the page once for all panels of a kernel."""

    class Runtime(anywidget.AnyWidget):
        _esm = bundled()
        terms = T.Dict({word.term: word.meaning for word in words.terms()}).tag(sync=True)

    return Runtime()


def bundled(script: str = "", shelf: Path = SHELF, **keep: bool) -> str:
    """`script` (none: runtime.js) with the chart library in it. Making it takes two seconds and 100 MB, so it is kept on `shelf`, under what it is made of."""
    script = script or (HERE / "runtime.js").read_text(encoding="utf-8")
    made_of = f"{version('vl-convert-python')}\n{script}".encode()

    def bundle() -> str:
        import vl_convert

        return vl_convert.javascript_bundle(script)

    return shelved(shelf / f"runtime-{sha256(made_of).hexdigest()[:32]}.js", bundle, **keep)


class Picture(anywidget.AnyWidget):
    """The right-hand side: draws `specs` once, then follows `show`, which sends of an answer only the parts that changed."""

    _esm = HERE / "panel.js"
    _css = HERE / "panel.css"
    specs = T.Dict().tag(sync=True)
    opened = T.List(T.Unicode()).tag(sync=True)
    """captions of the folds that the person has opened: tables, and the working"""
    sentence = T.Unicode().tag(sync=True)
    error = T.Unicode().tag(sync=True)
    data = T.Dict().tag(sync=True)
    """JSON text of each set of rows, so that the page compares and reads only what changed"""
    text = T.Dict().tag(sync=True)
    tables = T.List().tag(sync=True)
    notes = T.List().tag(sync=True)
    steps = T.List().tag(sync=True)
    has_steps = T.Bool().tag(sync=True)
    sources = T.List().tag(sync=True)
    cautions = T.List().tag(sync=True)
    page = T.Unicode().tag(sync=True)
    picture = T.Int().tag(sync=True)
    tick = T.Int().tag(sync=True)

    def show(self, payload: dict, **more) -> None:
        """One message with what is new in `payload`, and with `more` traits."""
        self.payload = payload
        data = {
            chart: {name: json.dumps(rows, separators=(",", ":")) for name, rows in sets.items()}
            for chart, sets in payload["data"].items()
        }
        with self.hold_sync():
            for name, value in {**more, **payload, "data": data}.items():
                setattr(self, name, value)


class Panel(W.Box):
    """Controls, one core call, one view.

    controls: specs in the fixed order meat block, ice, binder, cure, process, what is shown; or, where they depend on what is chosen, a function of the values.
    compute(values) -> result: pure; errors are shown in place, and one that is none of ours is raised once it is shown.
    view(result, values, system) -> View: pure.
    charts: {name: function of the unit system that gives a Vega-Lite dict}, each drawn once per unit system.
    presets: {button text: {key: value}}: "break it on purpose"; each is the start with its own changes. A function of the values where they depend on what is chosen.
    faulty: what a Faulty of `compute` is about ("This file"), and the cautions of it: then its faults are the view, as a table; else they are said above the last picture.
    follows: a panel whose result `compute` reads; whenever that one says something new, this one answers again.
    """

    def __init__(
        self,
        title: str,
        controls: Sequence | Callable[[Mapping], Sequence],
        compute: Callable[[Mapping], Any],
        view: Callable[[Any, Mapping, str], View],
        charts: Mapping[str, Callable[[str], dict]] | None = None,
        presets: Mapping[str, Mapping] | Callable[[Mapping], Mapping[str, Mapping]] | None = None,
        system: str | None = None,
        follows: "Panel | None" = None,
        faulty: tuple[str, ...] = (),
    ):
        self.title, self.compute, self.view, self.charts = title, compute, view, charts or {}
        self.system, self.faulty = system or current_system(), faulty
        self.result = self.shown = self.error = self._stood_on = self._answered = None
        self._tick = self._picture = 0
        fixed = () if callable(controls) else at_current_batch(controls)
        self._specs = controls if callable(controls) else lambda values: fixed
        self.controls: dict[str, Control] = {}
        self.follows, self._followers = follows, WeakSet[Panel]()
        if follows is not None:
            follows._followers.add(self)
        self._presets_of = presets if callable(presets) else lambda values: presets or {}
        self.presets: Mapping[str, Mapping] = {}
        runtime()
        self.picture = Picture()
        self.picture.observe(lambda change: self._changed(), names="opened")
        self.picture.on_msg(self._send_page)
        self._switch = W.ToggleButtons(
            options=list(units.SYSTEMS),
            value=self.system,
            description="Shown in",
            style={"button_width": "auto"},
        )
        self._switch.observe(lambda change: self.use(change["new"]), names="value")
        self._buttons, self._left = self._pressed_by(), W.VBox()
        self._left.add_class("cb-controls")
        super().__init__([self._left, self.picture])
        self.add_class("cb-box")
        self.picture.add_class("cb-right")
        self._draw(specs=True)

    def _pressed_by(self) -> W.Box:
        """The buttons of the presets, and the one that goes back."""
        acts, buttons = {name: partial(self.press, name) for name in self.presets}, []
        for name, press in (*acts.items(), ("Back to the start", self.reset)):
            button = W.Button(description=name, tooltip=name)
            button.on_click(lambda _, press=press: press())
            buttons.append(button)
        row = W.Box(buttons)
        row.add_class("cb-presets")
        return row

    def _offer(self):
        """The controls that go with what is chosen now. One whose spec is as before stays; of a choice that is offered anew, the value stays where it is one of the options."""
        with suppress(KitError):  # `compute` says what is wrong; the controls stay as they are
            specs = tuple(self._specs(self.values))
            if specs == tuple(held.spec for held in self.controls.values()):
                return
            before, self.controls = self.controls, {}
            for spec in specs:
                held = before.get(spec.key)
                as_before = held is not None and held.spec == spec
                self.controls[spec.key] = held if as_before else self._made(spec, held)
            if (offered := self._presets_of(self.values)) != self.presets:
                self.presets = dict(offered)
                self._buttons = self._pressed_by()
            self._lay()

    def _made(self, spec, before: Control | None) -> Control:
        made = Control(spec, self._changed)
        made.use(self.system)
        if before is not None and isinstance(spec, Choice) and before.value in values_of(spec):
            made.set(before.value, tell=False)
        return made

    def _lay(self):
        """The column of controls, under the headings of their groups."""
        children, group = [], None
        for held in self.controls.values():
            if held.spec.group and held.spec.group != group:
                group = held.spec.group
                heading = W.Label(group)
                heading.add_class("cb-group")
                children.append(heading)
            children.append(held.widget)
        self._left.children = [*children, self._buttons, self._switch]
        for button, preset in zip(self._buttons.children, self.presets.values()):
            button.disabled = not all(self._offers(*move) for move in preset.items())

    def _offers(self, key: str, value) -> bool:
        """Whether a control can be moved there: what the demo holds need not be in a file of the person's own."""
        spec = self.controls[key].spec if key in self.controls else None
        return spec is not None and (not isinstance(spec, Choice) or value in values_of(spec))

    @property
    def values(self) -> dict:
        return {key: held.value for key, held in self.controls.items()}

    def set(self, **values) -> "Panel":
        """Move controls by key, as one change: files first, then what they bring along; what goes with a file that is taken away is gone."""
        before = set(self.controls)
        while values:
            here = values.keys() & self._files() or values.keys() & self.controls.keys()
            if not here and values.keys() <= before:
                break
            if not here:
                raise UnknownName("control", min(values.keys() - before), self.controls)
            for key in here:
                if not self._offers(key, values[key]):
                    options = values_of(self.controls[key].spec)
                    raise UnknownName(self.controls[key].spec.label, values[key], options)
                self.controls[key].set(values.pop(key), tell=False)
            self._offer()
        self._changed()
        return self

    def press(self, name: str) -> "Panel":
        """A preset: the start with its own changes, whatever was moved before. A file that a person chose stays, and what goes with it; one that a preset put in goes."""
        need_known("preset", name, self.presets)
        chosen = {
            key: held.value
            for key, held in self.controls.items()
            if getattr(held.spec, "stays", False)
            and not any(held.value == preset.get(key) for preset in self.presets.values())
        }
        return self.set(**{**self.start, **chosen, **self.presets[name]})

    @property
    def start(self) -> dict:
        """Where the controls that are there now start."""
        return {key: held.spec.value for key, held in self.controls.items()}

    def _files(self) -> dict:
        """The files that an answer stands on."""
        return {k: held.value for k, held in self.controls.items() if isinstance(held.spec, File)}

    def reset(self) -> "Panel":
        """Every control back to where it started."""
        return self.set(**self.start)

    def use(self, system: str) -> "Panel":
        """Show in metric or US units. What is computed does not change."""
        need_known("unit system", system, units.SYSTEMS)
        self.system = system
        self._switch.value = system
        for held in self.controls.values():
            held.use(system)
        self._draw(specs=True)
        return self

    def _changed(self):
        self._draw()

    def _draw(self, specs: bool = False):
        """One answer, one message. After an error the last good picture stays, greyed, under the error's words; that of another file does not."""
        self._offer()
        values, fault = self.values, None
        self._tick += 1
        said_before = (self.result, self.error)
        try:
            result = self._computed(values)
            shown = self._seen(result, values)
            self.result, self.shown, self.error, self._answered = result, shown, None, values
            self._stood_on = (self._files(), self.follows and self.follows.result)
            sentence = shown.sentence
        except Exception as error:
            self.error = units.in_text(said(error), self.system)
            fault = None if isinstance(error, KitError) else error
            sentence = self._keep_last(specs)
        shown = (self.shown or View("")).filled(self.picture.opened)
        for key, held in self.controls.items():
            held.rest(values, "" if self.error else shown.idle.get(key, ""))
        self._picture += specs
        body = shown.payload(WORKED in self.picture.opened) | {
            "sentence": sentence,
            "error": self.error or "",
            "tick": self._tick,
            "picture": self._picture,
        }
        drawn = {name: draw(self.system) for name, draw in self.charts.items()} if specs else {}
        self.picture.show(body, **({"specs": drawn} if specs else {}))
        if said_before[0] is not self.result or said_before[1] != self.error:
            for follower in self._followers:
                follower._draw()
        for error in (fault, *(table.fault for table in shown.tables)):
            if error:
                raise error

    def _computed(self, values: dict):
        try:
            return self.compute(values)
        except Faulty as error:
            if not self.faulty:
                raise
            return error

    def _seen(self, result, values: dict) -> View:
        """The view of a result, in the units of the panel."""
        if self.faulty and isinstance(result, Faulty):
            return in_units(faults_view(result, *self.faulty), self.system)
        return in_units(self.view(result, values, self.system), self.system)

    def _keep_last(self, specs: bool) -> str:
        """What to say of the last good answer, which is dropped where it came from another file."""
        files, followed = self._stood_on or ({}, None)
        other = files != self._files() or self.follows and followed is not self.follows.result
        if self.shown is None or other:
            self.result = self.shown = None
            return "This cannot be computed."
        if specs:
            self.shown = self._seen(self.result, self._answered)
        return "This cannot be computed. The picture below is the last one that could."

    def _send_page(self, picture: Picture, content: dict, buffers: list) -> None:
        """The page of this answer, made when a person saves or prints it."""
        name, html = self.shown.page
        try:
            picture.send({"name": name, "html": html()})
        except KitError as error:
            self.tell(error=said(error))

    def tell(self, **parts: str) -> None:
        """The same answer with other words, after a press that moves no control."""
        self._tick += 1
        self.picture.show(self.picture.payload | parts | {"tick": self._tick})

    def text(self, whole: bool = True) -> str:
        """The panel in words: the sentence, the error if any, the tables; not `whole`: without the rows that a fold calculates when it is opened."""
        if self.shown is None:
            return f"{self.title}\n{self.error}"
        parts = [
            self.title,
            self.picture.payload["sentence"],
            self.error or "",
            *((table.filled() if whole else table).as_text() for table in self.shown.tables),
        ]
        return "\n".join(part for part in parts if part)

    def png(self) -> bytes:
        """The charts as one picture, for places where nothing runs."""
        from kit.lab.panels.still import png_of  # loads what draws without a browser

        return png_of(self.picture.specs, self.picture.payload["data"])

    def _repr_mimebundle_(self, **kwargs):
        stored = os.environ.get(PICTURES, "")
        bundle = {"text/plain": self.text(whole=bool(stored))}
        if self.picture.payload["data"] and stored == "yes":
            from base64 import b64encode

            bundle["image/png"] = b64encode(self.png()).decode()
        bundle["application/vnd.jupyter.widget-view+json"] = {
            "version_major": 2,
            "version_minor": 0,
            "model_id": self._model_id,
        }
        return bundle
