"""Every panel of the kit, found by itself: opened whole, moved everywhere, every preset pressed after every other. What stands is always an answer to where the controls are."""

import importlib
import inspect
import json
import pkgutil
import re
from base64 import b64decode
from functools import cache
from importlib.util import find_spec
from io import BytesIO
from itertools import pairwise, permutations
from pathlib import Path

import pytest
from jsonschema import Draft7Validator
from pencil import assert_pencil
from PIL import Image

import kit.lab.panels
from kit.errors import KitError
from kit.lab.charts.marks import layer
from kit.lab.charts.style import finished
from kit.lab.panels.panel import PICTURES, Choice, Day, Entry, File, Panel, Slider, Switch
from kit.lab.panels.plan.form import FormSpec
from kit.lab.panels.sheets import kitchen_sheet, use_in_lessons
from kit.reading import read_sheet
from kit.tables import data_path

MODULES = [
    importlib.import_module(found.name)
    for found in pkgutil.walk_packages(kit.lab.panels.__path__, "kit.lab.panels.")
]
MAKERS = {
    f"{module.__name__.removeprefix('kit.lab.panels.')}.{name}": make
    for module in MODULES
    for name, make in vars(module).items()
    if name.endswith("_panel") and inspect.isfunction(make) and make.__module__ == module.__name__
}
TAKE_A_SHEET = [
    name for name, make in MAKERS.items() if "sheet" in inspect.signature(make).parameters
]

AT_ITS_ENDS = {
    "batches": ".{60}",
    "casing": "links",
    "chop": "inal chopping temp|mechanical energy",
    "cook": "°C|%",
    "cure": ".{20}",
    "diagnosis": ".{20}",
    "emulsion": "eaching model",
    "mass_balance": ".{30}",
    "meat_block": ".{20}",
    "plan": ".{20}",
    "run_class": "of 100 classes|fit this room|cannot carry|panel above|stations",
    "scatter": "links",
    "start": ".{20}",
    "station": ".{20}",
}
"""what a panel of this room says, or why it refuses, with a slider at an end"""
REFUSED = {
    "batches": "groups that do not overlap",
    "casing": "no cellulose size code",
    "cure": "refuses hand dosing",
    "diagnosis": "has no value|both seen and absent|final chopping temperature, °C is 61",
    "emulsion": "choose two different ones|says nothing beyond 50 %",
    "mass_balance": "(?!)",
    "run_class": "a class can take|choose one of them",
    "station": "(?!)",
}
"""the only reason for which a panel of this room refuses a choice or a preset; one refuses none"""
ACT_LATER = {"page", "response", "code", "folder", "action", "reason", "results"}
"""controls of the class pages that change nothing in sight of their own panel: what a press writes or prints, and what the panels below ask"""


@cache
def made(name: str) -> tuple[Panel, str]:
    """The panel, for all its tests, and what it said when it was new."""
    panel = MAKERS[name]()
    return panel, says(panel)


@pytest.fixture(scope="module")
def ground(tmp_path_factory):
    """The demo batch made with a grinder and a mixer, its end and its energy left to the kit."""
    text = data_path("demo", "demo_frankfurter.toml").read_text(encoding="utf-8")
    lines = [
        line
        for line in text.splitlines()
        if not line.startswith(("chop_energy_kJ_per_kg", "chop_end_C"))
    ]
    path = tmp_path_factory.mktemp("sheets") / "ground.toml"
    path.write_text(
        "\n".join(lines).replace('cutter = "bowl cutter"', 'cutter = "grinder and mixer"'),
        encoding="utf-8",
    )
    return read_sheet(path)


def places(spec):
    """Where a control can be put: both ends, every choice, text and files that mean nothing."""
    if isinstance(spec, Slider):
        return spec.low, spec.high
    if isinstance(spec, Choice):
        return tuple(option[1] if isinstance(option, tuple) else option for option in spec.options)
    return {
        Switch: (True, False),
        Day: (getattr(spec, "low", None), getattr(spec, "high", None), None),
        Entry: ("", "?", "5 lb"),
        File: (("some.toml", b"\xff\x00 [["), ("some.csv", b"a;b\n1;2")),
        FormSpec: ({}, {"line": [{"name": "?"}], "process": {"casing": "?"}}),
    }[type(spec)]


def assert_answer(panel: Panel) -> None:
    """With every fold open, what is sent belongs to this move, and each fold has rows or says why not."""
    folds = (
        {table.caption for table in panel.shown.tables if table.folded} if panel.shown else set()
    )
    if not folds <= set(panel.picture.opened):
        panel.picture.opened = sorted(folds.union(panel.picture.opened))
    sent = panel.picture.payload
    assert sent["tick"] == panel._tick
    assert json.dumps(sent, allow_nan=False)
    if panel.error:
        assert sent["error"] and sent["sentence"].startswith("This cannot be computed")
    else:
        assert sent["error"] == "" and sent["sentence"] == panel.shown.sentence
        assert not re.search(r"\b(nan|inf|None)\b", sent["sentence"]), sent["sentence"]
        assert all(table["rows"] for table in sent["tables"] if table["folded"]), [
            table["caption"] for table in sent["tables"] if not table["rows"]
        ]


def answered(panel: Panel) -> dict:
    return {k: v for k, v in panel.picture.payload.items() if k not in ("tick", "picture")}


def idle_keys(panel: Panel) -> set[str]:
    return {key for key, held in panel.controls.items() if held.idle}


def assert_grey_has_no_effect(panel: Panel) -> None:
    """Wherever it is put. What it is that has no effect is named where the control is."""
    start, before = panel.values, answered(panel)
    for key in idle_keys(panel):
        assert panel.controls[key].widget.disabled
        for place in places(panel.controls[key].spec)[:2]:
            panel.set(**{key: place})
            assert answered(panel) == before, (key, place)
        panel.set(**{key: start[key]})


def assert_answers_everywhere(panel: Panel, room: str) -> None:
    """Where a choice or a preset stands, the working is redone too, and only what is known to be refused is refused."""
    assert_answer(panel)
    assert panel.error is None
    new, idle = answered(panel), idle_keys(panel)
    assert_grey_has_no_effect(panel)

    def assert_chosen(where):
        assert_answer(panel)
        if panel.error:
            assert re.search(REFUSED.get(room, ""), panel.error), (where, panel.error)
            return
        said = panel.text()
        assert len(panel.shown.sentence) > 30 or room != "mass_balance", where
        assert not re.search(r"\b(nan|inf|None)\b", said), (where, said)
        if panel.shown.steps:
            assert_pencil(panel.shown.steps)

    dead = set()
    for key, held in panel.controls.items():
        if key in idle:
            continue
        dead.add(key)
        for place in places(held.spec):
            panel.set(**{**panel.start, key: place})
            if answered(panel) != new:
                dead.discard(key)
            if isinstance(held.spec, Choice):
                assert_chosen((key, place))
                continue
            assert_answer(panel)
            if isinstance(held.spec, Slider):
                said = panel.error or panel.shown.sentence
                assert re.search(AT_ITS_ENDS[room], said), (key, place, said)
    later = ACT_LATER if room in ("run_class", "station") else set()
    assert dead <= later, "neither changes the answer nor is grey with a reason"
    assert_answer(panel.reset())
    for name in panel.presets:
        panel.press(name)
        assert_chosen(name)
        assert_grey_has_no_effect(panel)
    panel.reset()


def test_no_panel_is_left_out():
    assert len(MAKERS) > 30 and len(TAKE_A_SHEET) > 10


@pytest.mark.parametrize("name", MAKERS)
def test_every_fold_control_and_preset_answers(name):
    panel, _ = made(name)
    assert_answers_everywhere(panel, name.partition(".")[0])


def test_some_controls_are_grey_at_the_start():
    assert {"weight", "own_on", "end_C", "wanted_mm", "day"} <= set().union(
        *(idle_keys(made(name)[0]) for name in MAKERS)
    )


@pytest.mark.parametrize("name", TAKE_A_SHEET)
def test_every_fold_control_and_preset_answers_for_a_batch_ground_and_mixed(name, ground):
    try:
        panel = MAKERS[name](sheet=ground)
    except KitError as error:
        pytest.fail(f"{name} cannot be made from this sheet: {error}")
    assert_answers_everywhere(panel, name.partition(".")[0])


@pytest.mark.parametrize("name", MAKERS)
def test_every_panel_starts_where_the_current_batch_stands(name, tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    use_in_lessons(kitchen_sheet(), "US")
    panel = MAKERS[name]()
    assert panel.error is None and panel.system == "US"
    now = {
        key: panel.controls[key].value
        for key in ("diameter_mm", "meat_kg", "core_C")
        if key in panel.controls
    }
    there = {"diameter_mm": 24, "meat_kg": 2.35, "core_C": 71}
    for key, value in now.items():
        spec = panel.controls[key].spec
        assert value == min(max(there[key], spec.low), spec.high), key


def test_a_current_batch_that_was_spoilt_is_said(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    (tmp_path / "current.toml").write_text("[[line", encoding="utf-8")
    with pytest.raises(KitError, match="current.toml"):
        MAKERS["emulsion.margins.margins_panel"]()


def says(panel: Panel) -> str:
    """All that a panel says; where it refuses, the refusal alone: the greyed picture below is of what came before."""
    sent = panel.picture.payload
    return sent["error"] or json.dumps(
        [
            *(sent[part] for part in ("sentence", "data", "text", "tables", "notes")),
            *map(str, panel.shown.steps),
        ],
        sort_keys=True,
    )


def every_pair(names: list[str]) -> list[str]:
    """An order in which each name comes once after every other: a b a c a, then b c b, ..."""
    walk = []
    for n, name in enumerate(names):
        walk += [name, *(step for other in names[n + 1 :] for step in (other, name))]
    return walk


def test_the_order_holds_every_pair():
    walk = every_pair(list("abcd"))
    assert set(permutations("abcd", 2)) <= set(pairwise(walk))


@pytest.mark.parametrize("name", MAKERS)
def test_the_stored_form_has_a_picture_where_anything_is_drawn(name, monkeypatch):
    """The rest of the run goes without these pictures."""
    monkeypatch.setenv(PICTURES, "yes")
    panel, _ = made(name)
    stored = panel.reset()._repr_mimebundle_()
    drawn = bool(panel.picture.payload["data"])
    assert ("image/png" in stored) is drawn
    if drawn:
        picture = Image.open(BytesIO(b64decode(stored["image/png"])))
        assert picture.width > 100 and len(picture.convert("RGB").getcolors(64)) > 3


ALTAIR = Path(find_spec("altair").origin).parent / "vegalite" / "v6" / "schema"
"""looked up and not imported, which takes 2 s in each worker"""


@cache
def schema() -> Draft7Validator:
    """Vega-Lite's own, as Altair brings it."""
    path = ALTAIR / "vega-lite-schema.json"
    return Draft7Validator(json.loads(path.read_text(encoding="utf-8")))


def test_a_chart_that_is_not_vega_lite_is_told():
    good = finished(layer("one", "bar", x="x:Q", width=9), "Bars")
    assert schema().is_valid(good) and good["$schema"] in ALTAIR.joinpath("__init__.py").read_text()
    assert not schema().is_valid({**good, "mark": {"type": "bar", "widht": 9}})
    assert not schema().is_valid({**good, "encoding": {"x": {"field": "x", "type": "number"}}})


@pytest.mark.parametrize("name", MAKERS)
def test_every_chart_is_vega_lite(name):
    panel, _ = made(name)
    assert [at for at, spec in panel.picture.specs.items() if not schema().is_valid(spec)] == []


@pytest.mark.parametrize("name", MAKERS)
def test_a_preset_says_the_same_after_every_other(name):
    panel, new = made(name)
    panel.picture.opened = []
    alone = {preset: says(panel.reset().press(preset)) for preset in panel.presets}
    buttons = {b.description: b for b in panel.children[0].children[-2].children}
    for then in every_pair(list(panel.presets)):
        before = panel.values
        buttons[then].click()
        assert says(panel) == alone[then], (before, then)
    assert says(panel.reset()) == new


METRIC_STAYS = (
    r"mg/kg|mg per kg",  # limits of law and doses are printed so
    r"'[^']*\((?:°C|kg)\)' in °C",  # the unit of a column of the person's own file
    r"\((?:°C|kg)\)",  # its name, and the columns of a table of tube tests
    r"[a-z ]+, kg$",  # what such a column was read as
    r"typed where kg were meant|\u00a0k?g",  # mistakes made with units, and what a scale in grams shows
)


@pytest.mark.parametrize("name", MAKERS)
def test_us_units_leave_no_metric_quantity_in_the_texts(name):
    """Sources are cited as printed, the working is calculated in metric units and says so, a page to save has tests of its own."""
    panel, _ = made(name)
    panel.reset().use("US")
    try:
        for change in ({}, *panel.presets.values()):
            panel.set(**{**panel.start, **change})
            if panel.error:
                continue
            folds = [table.caption for table in panel.shown.tables if table.folded]
            panel.picture.opened = folds
            sent = panel.picture.payload
            texts = [*all_texts([sent[key] for key in ("sentence", "tables", "notes", "cautions")])]
            texts += all_texts([sent["data"], list(sent["text"].values())])
            texts += [
                str(getattr(held.widget, "description", "")) for held in panel.controls.values()
            ]
            left = [re.sub("|".join(METRIC_STAYS), "", text) for text in texts]
            assert [text for text in left if re.search(r"°C| kg\b| K\b|\d mm\b", text)] == []
    finally:
        panel.reset().use("metric")


def all_texts(part):
    if isinstance(part, dict):
        part = list(part.values())
    if isinstance(part, str):
        yield part
    elif isinstance(part, (list, tuple)):
        for item in part:
            yield from all_texts(item)
