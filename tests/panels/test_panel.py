"""The shared panel without a browser: one message an answer, our errors in place, anything else raised, two unit systems."""

import json
import re
from contextlib import nullcontext
from dataclasses import replace
from datetime import datetime

import pytest

from kit.errors import OutOfRange, UnknownName, need
from kit.lab.charts.marks import across, layer
from kit.lab.charts.style import COLOUR, finished
from kit.lab.panels.controls import Entry, Needs, needing
from kit.lab.panels.in_units import in_units
from kit.lab.panels.panel import (
    PICTURES,
    Choice,
    File,
    Panel,
    Row,
    Slider,
    Table,
    View,
    bundled,
)
from kit.lab.panels.view import plain
from kit.units import show
from kit.working import step


def one_chart(system):
    points = layer("points", "dot", x="x:Q", y="y:Q", colour="water")
    return finished(points.properties(width=100, height=80), f"in {system}")


charts = {"one": one_chart}


def compute(values):
    need(values["kg"] < 9, f"kg is {values['kg']:g}; at most 9")
    if values["kind"] == "bug":
        raise ZeroDivisionError("not ours")
    return 2 * values["kg"]


def view(result, values, system):
    return View(
        f"Twice is {show(result, 'kg', system)}.",
        {"one": {"points": [{"x": 1.0, "y": result}]}},
        {"one": "a point"},
        (Table("Twice", ("what", "value"), (Row(("twice <b>", show(result, "kg", system))),)),),
    )


def make():
    return Panel(
        "Twice",
        (
            Slider("kg", "Amount", "kg", 0, 10, 0.5, 3),
            Choice("kind", "Kind", ("fine", "bug"), "fine"),
        ),
        compute,
        view,
        charts,
        {"Too much": {"kg": 9.5}},
    )


def test_moving_a_slider_sends_one_new_answer():
    panel = make()
    before = panel.picture.payload["tick"]
    panel.controls["kg"].widget.value = 4
    assert panel.result == 8
    assert panel.picture.payload["tick"] == before + 1
    assert panel.picture.payload["sentence"] == "Twice is 8.00 kg."


def test_our_error_is_shown_in_place_and_the_last_answer_stays():
    panel = make().set(kg=9.5)
    payload = panel.picture.payload
    assert "at most 9" in payload["error"]
    assert payload["data"]["one"]["points"] == [{"x": 1.0, "y": 6.0}]
    assert panel.set(kg=2).picture.payload["error"] == ""


def test_any_other_error_is_raised_and_the_panel_says_so_instead_of_standing_on_an_old_answer():
    panel = make()
    with pytest.raises(ZeroDivisionError):
        panel.set(kind="bug")
    payload = panel.picture.payload
    assert (
        payload["sentence"].startswith("This cannot be computed")
        and "ZeroDivisionError: not ours" in payload["error"]
    )
    assert panel.set(kind="fine").picture.payload["error"] == ""


def test_us_units_change_what_is_shown_and_not_what_is_computed():
    panel = make()
    metric = panel.result
    panel.use("US")
    slider = panel.controls["kg"].widget
    assert panel.result == metric
    assert "lb" in panel.picture.payload["sentence"] and "lb" in slider.description
    assert slider.value == pytest.approx(3 / 0.45359237)
    assert panel.values["kg"] == 3
    slider.value = 11.0231131
    assert panel.values["kg"] == pytest.approx(5, abs=1e-6)
    assert panel.use("metric").controls["kg"].widget.value == pytest.approx(5, abs=1e-6)


def test_unknown_control_and_unit_system_are_refused():
    with pytest.raises(UnknownName, match="kg"):
        make().set(kilos=3)
    with pytest.raises(UnknownName, match="metric"):
        make().use("imperial")


def test_controls_come_and_go_with_what_is_chosen_and_a_follower_answers_again():
    def controls(values):
        more = (Slider("more", "More", "kg", 0, values["kg"], 0.5, 1),) if values.get("kg") else ()
        return (Slider("kg", "Amount", "kg", 0, 10, 0.5, 0), *more)

    first = Panel("Twice", controls, lambda values: compute({**values, "kind": ""}), view, charts)
    second = Panel("Again", (), lambda values: first.result + 0, view, charts, follows=first)
    assert list(first.controls) == ["kg"] and second.result == 0
    first.set(kg=3, more=2)
    assert first.values == {"kg": 3, "more": 2} and second.result == 6
    held = first.controls["more"]
    first.set(kg=3)
    assert first.controls["more"] is held
    first.set(kg=4)
    assert first.values["more"] == 1 and first.controls["more"].spec.high == 4
    assert second.picture.payload["sentence"] == "Twice is 8.00 kg."
    before = second.picture.payload["tick"]
    first.set(more=0.5)
    assert second.picture.payload["tick"] == before, "the same answer is not asked for again"
    first.reset()
    assert list(first.controls) == ["kg"] and second.result == 0
    with pytest.raises(UnknownName, match="more"):
        first.set(more=1)


def test_a_preset_begins_at_the_start_and_reset_goes_back_to_it():
    panel = make().set(kg=7)
    assert panel.press("Too much").error
    assert panel.reset().values["kg"] == 3
    with pytest.raises(UnknownName, match="Too much"):
        panel.press("Too mush")


def with_files():
    """A panel of a file and a slider: the file's bytes are its kilograms."""

    def compute(values):
        need(values["kg"] < 9, "at most 9")
        return float(values["file"][1]) + values["kg"] if values["file"] else values["kg"]

    return Panel(
        "Files",
        (File("file", "Choose"), Slider("kg", "Amount", "kg", 0, 10, 0.5, 3)),
        compute,
        view,
        charts,
        {"Too much": {"kg": 9.5}, "Six": {"kg": 6}, "Ours": {"file": ("ours.txt", b"100")}},
    )


def upload(panel, name, content):
    panel.controls["file"].widget.value = (
        {
            "name": name,
            "type": "",
            "size": len(content),
            "content": content,
            "last_modified": datetime(2026, 1, 1),
        },
    )


def test_a_file_that_was_chosen_stays_under_a_preset_and_one_that_a_preset_put_in_goes():
    panel = with_files()
    upload(panel, "own.txt", b"10")
    assert panel.press("Six").result == 16
    assert panel.press("Ours").result == 103 and panel.controls["file"].widget.value == ()
    assert panel.press("Six").result == 6


def test_after_going_back_to_the_start_the_same_file_can_be_chosen_again():
    panel = with_files()
    upload(panel, "own.txt", b"10")
    assert panel.reset().result == 3
    upload(panel, "own.txt", b"10")
    assert panel.result == 13


def test_nothing_of_an_earlier_file_stays_under_one_that_fails():
    panel = with_files()
    upload(panel, "own.txt", b"10")
    assert panel.set(kg=9.5).picture.payload["data"]["one"]["points"][0]["y"] == 13
    upload(panel, "other.txt", b"20")
    assert (
        panel.picture.payload["data"] == {}
        and panel.picture.payload["tables"] == []
        and panel.result is None
    )
    assert (
        panel.picture.payload["sentence"] == "This cannot be computed."
        and panel.picture.payload["error"]
    )
    assert panel.use("US").set(kg=2).picture.payload["error"] == ""


def test_stored_form_has_a_picture_and_words_and_no_address_in_memory(monkeypatch):
    monkeypatch.setenv(PICTURES, "yes")
    bundle = make()._repr_mimebundle_()
    assert bundle["text/plain"].startswith("Twice\nTwice is 6.00 kg.")
    assert len(bundle["image/png"]) > 500
    assert "0x" not in bundle["text/plain"]


def test_a_stored_form_has_its_picture_only_where_that_is_asked_for(monkeypatch):
    monkeypatch.delenv(PICTURES, raising=False)
    without = make()._repr_mimebundle_()
    monkeypatch.setenv(PICTURES, "yes")
    whole = make()._repr_mimebundle_()
    assert set(whole) - set(without) == {"image/png"}
    assert whole["text/plain"] == without["text/plain"]


def test_the_chart_library_is_bundled_once_for_each_script(tmp_path, monkeypatch):
    made, shelf = [], tmp_path / "new" / "shelf"

    def bundle(script):
        made.append(script)
        return f"library ° \r\n {script}"

    monkeypatch.setattr("vl_convert.javascript_bundle", bundle)
    for script in ("one", "one", "two", "one"):
        assert bundled(script, shelf, keep=True) == f"library ° \r\n {script}"
    assert made == ["one", "two"] and len(list(shelf.iterdir())) == 2
    monkeypatch.setattr("kit.lab.panels.panel.version", lambda name: "next")
    assert bundled("one", shelf, keep=True) == "library ° \r\n one" and made == [
        "one",
        "two",
        "one",
    ]


def test_where_nothing_can_be_kept_the_chart_library_is_bundled_anew(tmp_path, monkeypatch):
    monkeypatch.setattr("vl_convert.javascript_bundle", lambda script: f"library {script}")
    (tmp_path / "file").write_text("in the way")
    for shelf in (tmp_path / "file", tmp_path / "file" / "shelf"):
        assert bundled("one", shelf, keep=True) == "library one"
    assert bundled("one", tmp_path / "shared", keep=False) == "library one"
    assert not (tmp_path / "shared").exists()  # a Python that others use too
    monkeypatch.setattr("os.replace", refused)
    assert bundled("one", tmp_path / "shelf", keep=True) == "library one"
    assert list((tmp_path / "shelf").iterdir()) == []  # no half of a file stays


def refused(*_):
    raise PermissionError("read-only")


def test_payload_is_plain_json():
    import numpy as np

    assert plain({"a": np.array([1.0, np.nan, np.inf]), "b": (1, "x", 0.123456789)}) == {
        "a": [1.0, None, None],
        "b": [1, "x", 0.123457],
    }
    assert json.loads(json.dumps(make().picture.payload))["cautions"] == []


def test_a_folded_table_that_costs_time_is_filled_when_it_is_opened_and_when_put_into_words():
    asked = []

    def costly(result, values, system):
        def fill():
            asked.append(result)
            return (Row(("late", f"{result:g}")),)

        return View(
            f"Twice is {result:g} and more.",
            tables=(Table("Late", ("what", "value"), folded=True, later=fill),),
        )

    panel = Panel(
        "Late",
        (Slider("kg", "Amount", "kg", 0, 8, 0.5, 3),),
        lambda values: 2 * values["kg"],
        costly,
    )
    panel.set(kg=4)
    assert asked == [] and panel.picture.payload["tables"][0]["rows"] == []
    panel.picture.opened = ["Late"]
    assert panel.picture.payload["tables"][0]["rows"][0]["cells"] == ["late", "8"]
    assert "late  8" in panel.text()


@pytest.mark.parametrize("error", [OutOfRange("the core is frozen"), ZeroDivisionError("not ours")])
def test_an_error_in_a_folded_table_is_said_there_and_all_else_answers(error):
    def fill():
        raise error

    def folded(result, values, system):
        return View(
            f"Twice is {result:g} and more.",
            tables=(
                Table("Bad", ("what", "value"), folded=True, later=fill),
                Table("Good", ("what",), (Row((f"{result:g}",)),)),
            ),
        )

    panel = Panel(
        "Folded",
        (Slider("kg", "Amount", "kg", 0, 8, 0.5, 3),),
        lambda values: 2 * values["kg"],
        folded,
    )
    ours = isinstance(error, OutOfRange)
    for move in (
        lambda: setattr(panel.picture, "opened", ["Bad"]),
        lambda: panel.set(kg=4),
        panel.text,
    ):
        with nullcontext() if ours else pytest.raises(ZeroDivisionError):
            move()
    sent = panel.picture.payload
    bad, good = sent["tables"]
    assert str(error) in bad["rows"][0]["cells"][0] and len(bad["rows"][0]["cells"]) == 2
    assert (
        good["rows"][0]["cells"] == ["8"]
        and sent["sentence"] == "Twice is 8 and more."
        and sent["error"] == ""
    )


@pytest.mark.parametrize("kind, beyond", [("bar", 46.8), ("bar", -3.0), ("dot", 46.8)])
def test_a_mark_beyond_its_axis_is_not_drawn_like_one_at_its_end(kind, beyond):
    import vl_convert

    def drawn(value):
        mark = layer("one", kind, y="name:N", x=across("value:Q", "", 0, 30, clamp=True))
        return vl_convert.vegalite_to_svg(
            finished(mark, "Bars")
            | {
                "datasets": {
                    "one": [{"name": "all", "value": value}, {"name": "unknown", "value": None}]
                }
            }
        )

    def shapes(svg):
        return re.findall(r' d="([^"]*)"', svg.split('class="mark-text role-title')[0])

    edge = 30.0 if beyond > 0 else 0.0
    assert len(shapes(drawn(edge - 0.3 if edge else 0.3))) == len(shapes(drawn(edge)))
    assert len(shapes(drawn(beyond))) == len(shapes(drawn(edge))) + 1


def _lightness(colour: str) -> float:
    """CIE L* of an sRGB colour, 0 black to 100 white (IEC 61966-2-1 and CIE 15, from memory)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    ]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def test_neighbours_in_the_composition_bar_differ_in_grey():
    from kit.lab.charts.meat_block import PARTS

    light = [_lightness(COLOUR[part]) for part in PARTS]
    assert all(abs(a - b) >= 8 for a, b in zip(light, light[1:])), dict(zip(PARTS, light))
    assert abs(_lightness(COLOUR["cold"]) - _lightness("#ffffff")) > 50


def test_words_stand_out_from_the_page():
    """WCAG 2 contrast of at least 4.5 to 1 for what is read: ink, quiet, fails, meets on white."""
    for name in ("ink", "quiet", "fails", "meets", "limit"):
        y = (
            ((_lightness(COLOUR[name]) + 16) / 116) ** 3
            if _lightness(COLOUR[name]) > 8
            else _lightness(COLOUR[name]) / 903.3
        )
        assert 1.05 / (y + 0.05) >= 4.5, name


def test_a_page_is_made_when_it_is_asked_for_and_an_error_in_it_is_said():
    def page():
        need(panel.values["kg"] < 5, "no page of 5 kg or more")
        return "<p>page</p>"

    panel, sent = make(), []
    panel.view = lambda *given: replace(view(*given), page=("twice.html", page))
    panel.picture.send = lambda content: sent.append(content)
    panel.set(kg=2)._send_page(panel.picture, {}, [])
    assert panel.picture.page == "twice.html"
    assert sent == [{"name": "twice.html", "html": "<p>page</p>"}]
    panel.set(kg=6)._send_page(panel.picture, {}, [])
    assert len(sent) == 1 and "no page of 5 kg" in panel.picture.error


def test_the_working_says_us_units_beside_metric_ones_and_says_so_first():
    first = step("Mass", "m = a + b", 72.0, "kg", a=(70.0, "kg", "meat"), b=(2.0, "kg"))
    share = step("Share of 100 g", "s = m / 2", 36.0, "g", m=(72.0, "", "mass"))
    told = in_units(View("", steps=(first, share)), "US").steps
    assert (
        told[0].what
        == "Calculated in metric units, with the US value beside each. Mass (158.73 lb)"
    )
    assert [term.meaning for term in told[0].terms] == ["154.32 lb; meat", "4.41 lb"]
    assert told[1] == share and told[0].answered == "72 kg"
    assert in_units(View("", steps=(first,)), "metric").steps == (first,)


def test_a_control_without_effect_is_grey_and_says_why_until_it_has_one():
    specs = needing(
        (
            Slider("amount", "Amount", "kg", 0, 4, 0.1, 0),
            Slider("at", "Temperature", "°C", 0, 10, 1, 5),
            Choice("what", "Quantity", ("weight", "length"), "weight"),
            Entry("said", "Declared"),
        ),
        {
            "at": Needs(("amount",), "the amount is 0"),
            "said": Needs(("what",), "weights are measured", ("length",)),
        },
    )
    panel = Panel("x", specs, dict, lambda found, values, system: View("said"))
    at, said = (panel.controls[key].widget for key in ("at", "said"))
    assert at.disabled and at.description == "Temperature (°C) (no effect: the amount is 0)"
    assert said.disabled and said.description == "Declared (no effect: weights are measured)"
    panel.use("US")
    assert at.description == "Temperature (°F) (no effect: the amount is 0)"
    panel.set(amount=2, what="length")
    assert not at.disabled and at.description == "Temperature (°F)" and not said.disabled
    panel.reset()
    assert at.disabled and said.disabled
