"""The page for phones: opened as a file it asks for nothing, answers as the model does, and can be read on a small screen."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from kit.chain.emulsion import DRAWS, SEED
from kit.emulsion import hold
from kit.emulsion.factors import FACTORS
from kit.emulsion.spread import cloud, spread
from kit.lab.pages.phone import phone_html
from kit.reading import read_sheet
from kit.reading.class_plan import read_plan
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
BEEF_TOO = replace(
    PLAN, sheet=read_sheet(data_path("demo", "ordinary_pork_beef_milk.toml")), units="US", prices={}
)
SLIDERS = ("ice_g", "salt_pct", "fat_pct", "end_C")
SMALLEST_PX = "Math.min(...[...document.querySelectorAll('body *')].filter(e => e.innerText?.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))"


@pytest.fixture(scope="module", params=[PLAN, BEEF_TOO], ids=["pork", "pork and beef, US"])
def opened(request, page, tmp_path_factory):
    """(plan, text of the page, the page in Chromium, what it asked for)"""
    path, asked = tmp_path_factory.mktemp("phone") / "phone.html", []
    path.write_text(phone_html(request.param), encoding="utf-8")
    tab = page.context.new_page()
    tab.on("request", lambda one: asked.append(one.url))
    tab.route("file://**", lambda route: route.continue_())
    tab.goto(path.as_uri())
    yield request.param, path.read_text(encoding="utf-8"), tab, asked
    tab.close()


def model(batter, ice, salt, fat, end):
    """(margins, cook-out, 5 and 95 %) of the kit's own call, one batter at a time, made by dilution until fat and salt are right."""
    batter = FACTORS["ice_g"].at(batter, ice)
    while abs(batter.fat_pct - fat) + abs(batter.salt_pct - salt) > 1e-6:
        batter = FACTORS["salt_pct"].at(FACTORS["fat_pct"].at(batter, fat), salt)
    batter = batter.but(end_C=end)
    held = hold(batter)
    out = spread(batter, cloud(np.random.default_rng(SEED), DRAWS), DRAWS).total_out_g
    return [*held.margins.values(), held.total_out_g, out[0], out[2]]


def test_it_answers_as_the_model_does_within_what_it_states(opened):
    plan, text, tab, _ = opened
    stated = re.search(
        r"at most ([\d.]+) in a margin, ([\d.]+) g in .*? and ([\d.]+) g at the ends", text
    )
    margin, out, ends = (float(one) for one in stated.groups())
    assert margin <= 0.05 and out <= 0.3 and ends <= 1.5, "worth showing"
    axes = json.loads(re.search(r'"axes": (\[\[.*?\]\])', text)[1])
    rng = np.random.default_rng(2026)
    settings = np.array([rng.uniform(its[0], its[-1], 60) for its in axes]).T
    assert not any(np.isin(point, its).any() for point, its in zip(settings.T, map(np.array, axes)))
    said = np.array(tab.evaluate("all => all.map(answer)", settings.tolist()))
    off = np.abs(said - [model(plan.question.batter, *point) for point in settings]).max(axis=0)
    # half a unit of the last printed digit, and a third more: other settings than those that the page was held against
    assert max(off[:4]) <= 1.33 * margin + 0.005
    assert off[4] <= 1.33 * out + 0.005 and max(off[5:]) <= 1.33 * ends + 0.05


def test_its_python_and_its_script_interpolate_alike(opened):
    plan, _, tab, _ = opened
    at_a_point = [0.0, 0.5, 12.0, 8.0]
    said = tab.evaluate("answer", at_a_point)
    assert said == pytest.approx(model(plan.question.batter, *at_a_point), rel=2e-6)


def test_sliders_move_what_is_said_and_the_button_brings_it_back(opened):
    plan, _, tab, _ = opened
    before = tab.inner_text("main")
    for key in SLIDERS:
        tab.focus(f"#{key}")
        for _ in range(3):
            tab.keyboard.press("ArrowRight")
        assert tab.inner_text("main") != before
        tab.click("button")
        assert tab.inner_text("main") == before
    tab.evaluate(
        "document.querySelector('#end_C').value = 24; document.dispatchEvent(new Event('input'))"
    )
    assert (
        "75 °F" in tab.inner_text("main")
        if plan.units == "US"
        else "24.0 °C" in tab.inner_text("main")
    )
    assert "✗ First limit exceeded: chopping temperature" in tab.inner_text("#said")
    tab.click("button")


@pytest.mark.parametrize("width, height", [(400, 800), (1280, 720)])
def test_it_is_small_stands_alone_and_can_be_read(opened, width, height):
    _, text, tab, asked = opened
    tab.set_viewport_size({"width": width, "height": height})
    assert (
        len(text.encode()) < 1_000_000
        and len(asked) == 1
        and "http:" not in text
        and "https:" not in text
    )
    assert tab.evaluate(SMALLEST_PX) >= 16
    assert tab.evaluate("document.documentElement.scrollWidth <= innerWidth")
    last = tab.evaluate("document.querySelector('li:last-child').getBoundingClientRect().bottom")
    assert last <= height, "sliders, cook-out and all four margins at once"
    words = tab.inner_text("body")
    for needed in (
        "teaching model",
        "predicts no single batch",
        "Nothing made in this lesson is eaten",
        "local codes",
        "Knives",
    ):
        assert needed in words
