"""The form in which a batch is planned: text in, a plan or faults beside the fields out."""

import copy
from dataclasses import replace

import pytest

from kit.chain import cook as chain_cook
from kit.lab.panels.plan import plan_panel
from kit.lab.panels.plan.files import handle
from kit.lab.panels.plan.form import in_other_units, sheet_of_state, state_of
from kit.lab.panels.plan.known import folded, unfolded
from kit.lab.panels.plan.lookup import find
from kit.lab.panels.sheets import current_sheet, demo_sheet, kitchen_sheet
from kit.reading import read_records, read_sheet
from kit.reading.kept import write_kept_records
from kit.reading.records import draft_mapping
from kit.reading.written import write_sheet
from kit.sheet import Weighing
from kit.tables import data_path

ORDINARY = sorted(data_path("demo").glob("ordinary_*.toml"))


@pytest.fixture(scope="module")
def made():
    return plan_panel(kitchen_sheet())


@pytest.fixture
def panel(made):
    """One panel for all, at its start: tests/panels/test_every_panel.py holds that it then says what a new one says."""
    assert made.reset().error is None and sheet_of_state(made.values["sheet"]) == kitchen_sheet()
    return made


def state(panel):
    return copy.deepcopy(panel.values["sheet"])


def press(panel, what, buffers=(), **more):
    form = panel.controls["sheet"].widget
    sent = []
    form.send = lambda content, buffers: sent.append((content, buffers))
    handle(panel, form, {"do": what, **more}, list(buffers))
    return form, sent


@pytest.mark.parametrize("sheet", [kitchen_sheet(), demo_sheet(), *map(read_sheet, ORDINARY)])
def test_a_sheet_in_the_form_is_the_same_sheet(sheet):
    assert sheet_of_state(state_of(sheet.as_dict())) == sheet


@pytest.mark.parametrize("sheet", [kitchen_sheet(), demo_sheet()])
def test_us_units_turn_the_text_and_keep_the_amounts(sheet):
    us = in_other_units(state_of(sheet.as_dict()), "metric", "US")
    turned = sheet_of_state(us, "US")
    assert turned.kg == pytest.approx(sheet.kg, rel=1e-6)
    assert turned.process.stuffed_mm == pytest.approx(sheet.process.stuffed_mm, rel=1e-5)
    assert turned.process.scale_step_g == sheet.process.scale_step_g
    assert turned.process.cook[0].dry_bulb_C == pytest.approx(
        sheet.process.cook[0].dry_bulb_C, abs=1e-3
    )
    assert us["process"]["chop_end_C"] != state_of(sheet.as_dict())["process"]["chop_end_C"]


@pytest.mark.parametrize(
    ("name", "said", "fields"),
    [
        ("pork trim", "15 to 25 %", {"fat_low_pct": "15", "fat_high_pct": "25", "species": "pork"}),
        ("beef", "about 20 % fat", {"fat_low_pct": "15", "fat_high_pct": "25", "species": "beef"}),
        ("trim", "80/20; beef", {"lean": "80/20", "species": "beef"}),
        ("pork", "90CL", {"lean": "90CL", "species": "pork"}),
        ("x", "as pork trim 50", {"material": "pork trim 50"}),
        ("spice, own", "as spice, generic", {"material": "spice, generic"}),
        ("premix", "6,25 % nitrite", {"nitrite_pct": "6,25"}),
        (
            "p",
            "moisture 60, protein 17, fat 22; pork",
            {
                "moisture_pct": "60",
                "protein_pct": "17",
                "fat_pct": "22",
                "species": "pork",
                "kind": "meat",
            },
        ),
        ("paprika", "", {"material": "spice, generic"}),
        ("skim milk powder", "", {"material": "nonfat dry milk"}),
        ("curing salt", "", {}),
        ("old batter", "same recipe", {"composition": "same recipe"}),
        ("x", "no such thing", {"material": "no such thing"}),
    ],
)
def test_what_is_known_of_an_ingredient(name, said, fields):
    row = {"name": name, "known": said}
    assert unfolded(row) == {"name": name} | fields


def test_what_has_no_column_is_kept():
    line = {"name": "a", "amount": "1 kg", "note": "two; parts\nand lines", "pH": "5.9"}
    assert unfolded(folded(line)) == line


@pytest.mark.parametrize("written", ["4 lb 6 oz", "1 1/2 lb", "½ oz", "1,8 kg", "1.9 kg"])
def test_weights_as_people_write_them(panel, written):
    now = state(panel)
    now["line"][0]["amount"] = written
    assert panel.set(sheet=now).error is None and hasattr(panel.result, "plan")


def test_faults_stand_beside_their_fields_and_go_when_mended(panel):
    now = state(panel)
    now["line"][0]["amount"], now["process"]["casing"] = "3", "paper"
    now["cook"][1]["dry_bulb_C"] = "warm"
    now["line"].insert(1, {})
    form = panel.set(sheet=now).controls["sheet"].widget
    assert set(form.faults) == {"line.0.amount", "process.casing", "cook.1.dry_bulb_C"}
    assert "has no unit" in form.faults["line.0.amount"]
    assert "cannot be used yet" in panel.picture.payload["sentence"]
    panel.reset()
    assert form.faults == {} and "kg of meat" in panel.picture.payload["sentence"]


def test_a_fault_beyond_an_empty_row_is_beside_its_own_row(panel):
    now = state(panel)
    now["line"].insert(0, {})
    now["line"][2]["amount"] = "2"
    assert set(panel.set(sheet=now).controls["sheet"].widget.faults) == {"line.2.amount"}


def test_the_question_of_a_small_maker(panel):
    panel.press("Trim 3 kg (6.6 lb), target 25 % fat")
    sent = panel.picture.payload
    assert "add 0.44 kg of pork backfat (89 % fat), or accept 17.4 % fat" in sent["sentence"]
    tables = {table["caption"]: table["rows"] for table in sent["tables"]}
    names = [row["cells"][1] for row in tables["Weigh sheet"]]
    assert "pork trim" in names and any(name.startswith("ice") for name in names)
    assert any("limit for the chopping temperature" in row["cells"][0] for row in tables["Batter"])
    name, page = panel.shown.page
    assert sent["page"] == name and page().startswith("<!DOCTYPE html>")


def test_more_cooks_are_calculated_only_for_an_open_fold_or_the_page(monkeypatch):
    asked = []
    for name in ("probe_range", "air_range"):
        real = getattr(chain_cook, name)
        spy = lambda *given, real=real, name=name: asked.append(name) or real(*given)
        monkeypatch.setattr(chain_cook, name, spy)
    panel = plan_panel(kitchen_sheet())
    panel.text(whole=False)
    assert asked == []
    uncertain = next(t for t in panel.shown.tables if t.caption.startswith("Uncertainty of the"))
    panel.picture.opened = [uncertain.caption]
    tables = {table["caption"]: table["rows"] for table in panel.picture.payload["tables"]}
    assert (
        asked == ["air_range", "probe_range"]
        and "90 % interval" in tables[uncertain.caption][-1]["cells"][1]
    )
    panel.shown.page[1]()
    assert asked == ["air_range", "probe_range"], "calculated once for a plan"


def test_a_cure_over_its_ceiling_stops_the_panel(panel):
    now = state(panel)
    now["line"][4]["amount"] = "10 g/kg of meat"
    sent = panel.set(sheet=now).picture.payload
    assert sent["sentence"].startswith("STOP") and sent["page"] == ""


def test_a_file_opens_in_the_form_with_its_faults(panel):
    text = b'name = "mine"\n[[line]]\nname = "pork trim 50"\namount = "5"\n[[line]]\nname = "salt"\namount = "2 % of batch"\n'
    form, _ = press(panel, "open", [text], name="mine.toml")
    assert form.value["line"][0]["name"] == "pork trim 50" and set(form.faults) == {"line.0.amount"}
    before = form.value
    form, _ = press(panel, "open", [b"\xff\x00 [["], name="mine.toml")
    assert form.said.startswith("Nothing was done") and form.value == before


def test_an_ingredient_list_becomes_a_sheet_in_the_form(panel):
    table = b"Ingredient,Weight (lb)\npork trim 50,4\nice,1\nsalt,0.1\n"
    form, _ = press(panel, "open", [table], name="list.csv")
    assert "ingredient list" in form.said
    assert [row["amount"] for row in form.value["line"]] == ["4 lb", "1 lb", "0.1 lb"]
    assert form.faults == {} and panel.result.sheet.meat_kg == pytest.approx(4 * 0.45359237)


@pytest.mark.parametrize("what", ["toml", "xlsx"])
def test_a_saved_sheet_reads_back(panel, what, tmp_path):
    _, sent = press(panel, what)
    content, (whole,) = sent[0]
    assert content["name"] == f"teaching_kitchen.{what}"
    assert read_sheet(whole, content["name"]) == kitchen_sheet()


def test_a_faulty_form_is_not_saved(panel):
    now = state(panel)
    now["line"][0]["amount"] = "3"
    panel.set(sheet=now)
    form, sent = press(panel, "toml")
    assert sent == [] and "has faults" in form.said


def test_the_batch_is_kept_and_handed_to_the_lessons(panel, tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path / "mine"))
    assert current_sheet() is None
    press(panel, "use")
    assert current_sheet().lines == kitchen_sheet().lines
    form, _ = press(panel, "keep")
    assert len(list((tmp_path / "mine").glob("*_teaching_kitchen.toml"))) == 1
    assert "holds no weight yet" in form.said
    now = state(panel)
    now["weighing"][0] |= {"in_kg": "3", "out_kg": "2.98"}
    panel.set(sheet=now)
    form, _ = press(panel, "keep")  # the same batch, weighed: in the place of the first
    assert "holds 1 weighed batch" in form.said
    now["line"][0]["amount"] = "2 kg"
    panel.set(sheet=now)
    form, _ = press(panel, "keep")  # another batch of the same name and day
    assert "holds 2 weighed batches" in form.said


def test_a_current_batch_that_was_spoilt_is_said_and_can_be_saved_anew(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    (tmp_path / "current.toml").write_text("[[line", encoding="utf-8")
    panel = plan_panel()
    form = panel.controls["sheet"].widget
    assert "cannot be read" in form.said and "current.toml" in form.said
    press(panel, "use")
    assert current_sheet().lines == kitchen_sheet().lines


def test_batches_kept_in_a_folder_are_records_of_lesson_09(tmp_path):
    cook = Weighing(stage="cook", in_kg=2.95, out_kg=2.6)
    for day, name, weighed in (
        (1, "=SUM(A1)", (cook,)),
        (2, "plain", (replace(cook, out_kg=2.5),)),
        (3, "bare", ()),
    ):
        sheet = replace(kitchen_sheet(), name=name, weighings=weighed)
        write_sheet(sheet, tmp_path / f"2026-11-0{day}_batch_{day}.toml")
    (tmp_path / "2026-11-04_spoilt.toml").write_text("[[line", encoding="utf-8")
    (tmp_path / "current.toml").write_text("not a kept batch", encoding="utf-8")
    path, count, left_out = write_kept_records(tmp_path)
    assert count == 2 and len(left_out) == 2
    assert "holds no weight" in left_out[0] and "spoilt" in left_out[1]
    assert "'=SUM" in path.read_text(encoding="utf-8")
    records = read_records(path)
    assert records.report.rows_used == 2 and not draft_mapping(path).questions


def test_after_the_batch_measured_stands_beside_predicted_and_the_next_plan_takes_it(panel):
    now = state(panel)
    now["process"]["chop_end_measured_C"] = "18"
    stages = {row["stage"]: row for row in now["weighing"]}
    stages["cook"] |= {"in_kg": "2.95", "out_kg": "2,55"}
    stages["chill"] |= {"in_kg": "2.55", "out_kg": "2.53"}
    sent = panel.set(sheet=now).picture.payload
    assert sent["sentence"].startswith("Chopping ended at 18.0 °C, 2.4 °C above the limit")
    table = next(t for t in sent["tables"] if t["caption"].startswith("Predicted and measured"))
    assert [row["cells"][0] for row in table["rows"]][:2] == [
        "final chopping temperature",
        "lost in cook",
    ]
    press(panel, "next")
    taken = panel.values["sheet"]["process"]
    assert float(taken["cook_yield_pct"]) == pytest.approx(100 * 2.53 / 2.95, abs=0.01)
    assert "chop_end_measured_C" not in taken


def test_words_are_found_in_three_languages_and_no_cure_is_offered():
    assert find("skim milk powder")[0][0] == "nonfat dry milk"
    assert find("Rückenspeck")[0][0] == "pork backfat"
    assert find("pimentón")[0][0] == "spice, generic"
    assert any(name == "wet_bulb_C" for name, _ in find("wet bulb"))
    assert any("rule set" in what for _, what in find("frankfurter"))
    for word in ("Pökelsalz", "curing salt", "sal de cura"):
        found = find(word)
        assert not any(name == "salt" for name, _ in found)
        assert all("nitrite" not in name for name, _ in found)
    assert find("zzz") == () and find("") == ()
