"""What a person can move. A control holds its value in the unit the core uses; metric or US is only how it is shown."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import log10
from types import MappingProxyType

import ipywidgets as W

from kit import units
from kit.tables import read_rows


@dataclass(frozen=True)
class Needs:
    """What one of the controls `keys` must hold for another to have an effect: anything but 0 or nothing, or one of `values`. `why`: what is said where none does."""

    keys: tuple[str, ...]
    why: str
    values: tuple = ()

    def met(self, held: Mapping) -> bool:
        return any(held[key] in self.values if self.values else held[key] for key in self.keys)


@dataclass(frozen=True)
class Slider:
    key: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    value: float
    group: str = ""
    needs: Needs | None = None


@dataclass(frozen=True)
class Choice:
    """`options` are (text shown, value) pairs, or values whose text is themselves."""

    key: str
    label: str
    options: tuple
    value: object
    group: str = ""
    stays: bool = False
    """under a preset, as a file does"""
    needs: Needs | None = None


def needing(specs: Iterable, needs: Mapping[str, Needs]) -> tuple:
    """The controls, those of these keys with what they need."""
    return tuple(replace(s, needs=needs[s.key]) if s.key in needs else s for s in specs)


def controls_of(scope: str, *keys: str, options: Mapping = MappingProxyType({}), **start) -> tuple:
    """Controls as rows of data/words/controls.csv write them, all of a scope where no keys are given.

    options: of each choice, by its key. start: where a control starts, by its key; else where its row says, a choice at its first option. A slider
    whose start lies beyond its usual ends is widened.
    """
    rows = {row["key"]: row for row in read_rows("words", "controls.csv") if row["scope"] == scope}
    return tuple(_made(rows[key], options.get(key, ()), start) for key in keys or rows)


def _made(row: Mapping[str, str], options: Iterable, start: Mapping):
    key, label, group = row["key"], row["label"], row["group"]
    if row["kind"] == "file":
        return File(key, label, row["hint"], group)
    if row["kind"] == "switch":
        return Switch(key, label, start.get(key, row["value"] == "yes"), group)
    needs = _needed(row["needs"])
    if row["kind"] == "entry":
        return Entry(key, label, start.get(key, row["value"]), row["hint"], group, needs=needs)
    if row["kind"] == "choice":
        of = tuple(options)
        first = of[0][1] if isinstance(of[0], tuple) else of[0]
        return Choice(key, label, of, start.get(key, first), group, needs=needs)
    low, high, step, usual = (json.loads(row[name]) for name in ("low", "high", "step", "value"))
    at = start.get(key, usual)
    return Slider(key, label, row["unit"], min(low, at), max(high, at), step, at, group, needs)


def _needed(said: str) -> Needs | None:
    """'dry_min: its time is 0', 'chop_log or house_log: no log is chosen', 'what=weight: lengths are measured'."""
    if not said:
        return None
    held, why = said.split(": ", 1)
    keys, _, value = held.partition("=")
    return Needs(tuple(keys.split(" or ")), why, (value,) if value else ())


def values_of(spec: Choice) -> list:
    return [option[1] if isinstance(option, tuple) else option for option in spec.options]


@dataclass(frozen=True)
class Switch:
    key: str
    label: str
    value: bool = False
    group: str = ""
    needs: Needs | None = None


@dataclass(frozen=True)
class Entry:
    """A line of text: an amount such as '5 lb', a name, a list of numbers. The core reads it and may refuse it."""

    key: str
    label: str
    value: str = ""
    hint: str = ""
    group: str = ""
    stays: bool = False
    needs: Needs | None = None


@dataclass(frozen=True)
class Day:
    """A day between two others; its value is a date, or None where none is said."""

    key: str
    label: str
    low: date
    high: date
    group: str = ""
    value: None = None
    stays: bool = True


@dataclass(frozen=True)
class File:
    """A file of the person's own; its value is (name, bytes), or None before one is chosen."""

    key: str
    label: str
    accept: str = ".toml,.csv,.xlsx"
    group: str = ""
    value: None = None
    stays: bool = True


class Control:
    """A control and its widget. `value` is in the core's unit; the widget shows it in `system`."""

    def __init__(self, spec, changed):
        self.spec, self.value, self.changed = spec, spec.value, changed
        self.system, self._quiet = units.METRIC, False
        self.needs, self.idle = getattr(spec, "needs", None), ""
        self.widget = _BUILD[type(spec)](spec) if type(spec) in _BUILD else spec.build()
        self.widget.observe(self._moved, names="value")

    def set(self, value, *, tell=True):
        self.value = value
        self._show()
        if tell:
            self.changed()

    def use(self, system: str):
        """Show in another unit system; the value held does not change, but that of a form, which is text."""
        if hasattr(self.spec, "use"):
            self.value = self.spec.use(self.widget, self.value, self.system, system)
        self.system = system
        self._show()

    def rest(self, values: Mapping, why: str = ""):
        """Grey while it has no effect beside these values of all controls, or, as the answer says, for the reason `why`; its name gives the reason."""
        if self.needs and not self.needs.met(values):
            why = self.needs.why
        if why != self.idle:
            self.idle, self.widget.disabled = why, bool(why)
            self.widget.description = self._name()

    def _name(self) -> str:
        named = _named(self.spec, self.system) if isinstance(self.spec, Slider) else self.spec.label
        return f"{named} (no effect: {self.idle})" if self.idle else named

    def _moved(self, change):
        if self._quiet:
            return
        self.value = self._inward(change["new"])
        self.changed()

    def _inward(self, shown):
        spec = self.spec
        if isinstance(spec, Slider):
            inside = units.from_shown(shown, spec.unit, self.system)
            return min(max(float(f"{inside:.10g}"), spec.low), spec.high)
        if isinstance(spec, File):
            return (shown[0]["name"], bytes(shown[0]["content"])) if shown else None
        return shown

    def _show(self):
        spec, widget = self.spec, self.widget
        self._quiet = True
        try:
            if isinstance(spec, Slider):
                widget.continuous_update = False  # or the page answers every change with the nearest step, as if a hand had moved it
                low, high, now = (
                    units.to_shown(v, spec.unit, self.system)
                    for v in (spec.low, spec.high, self.value)
                )
                with widget.hold_trait_notifications():
                    widget.min, widget.max = min(low, widget.min), max(high, widget.max)
                    widget.step = spec.step if self.system == units.METRIC else _us_step(spec)
                    widget.readout_format = f".{_places(widget.step)}f"
                    widget.description = self._name()
                    widget.value = now
                    widget.min, widget.max = low, high
            elif not isinstance(spec, File):
                widget.value = self.value
            elif widget.value and self.value != self._inward(widget.value):
                widget.value = ()  # or the button would still count a file that is no longer used, and would not take the same one again
        finally:
            if isinstance(spec, Slider):
                widget.continuous_update = True
            self._quiet = False


def _us_step(spec: Slider) -> float:
    """A round step near the metric one: 1, 2 or 5 times a power of ten."""
    scale = units.to_shown(1.0, spec.unit, units.US) - units.to_shown(0.0, spec.unit, units.US)
    raw = abs(spec.step * scale)
    if not units.of(spec.unit, "us_pint"):
        return spec.step
    power = 10.0 ** int(log10(raw) // 1)
    return min((1 * power, 2 * power, 5 * power, 10 * power), key=lambda step: abs(step - raw))


def _places(step: float) -> int:
    text = f"{step:.6f}".rstrip("0")
    return len(text.split(".")[1]) if "." in text else 0


def _named(spec: Slider, system: str) -> str:
    unit = units.shown_unit(spec.unit, system)
    return f"{spec.label} ({unit})" if unit else spec.label


_BUILD = {
    Slider: lambda spec: W.FloatSlider(value=spec.value, min=spec.low, max=spec.high),
    Choice: lambda spec: W.Dropdown(
        options=list(spec.options), value=spec.value, description=spec.label
    ),
    Switch: lambda spec: W.Checkbox(value=spec.value, description=spec.label, indent=False),
    Entry: lambda spec: W.Text(
        value=spec.value, description=spec.label, placeholder=spec.hint, continuous_update=False
    ),
    Day: lambda spec: W.DatePicker(description=spec.label, min=spec.low, max=spec.high),
    File: lambda spec: W.FileUpload(accept=spec.accept, multiple=False, description=spec.label),
}
