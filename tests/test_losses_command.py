"""The weekly run from a command line: one paragraph, an exit status that means something, results in a folder; and files of prices and targets."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import kit.__main__ as doorway
from kit.batches.compare import compare
from kit.batches.groups import parts_of
from kit.batches.target import LossTarget
from kit.errors import Faulty
from kit.lab.command import main
from kit.reading.line_values import line_of, read_prices, read_targets
from kit.reading.plant import arranged
from kit.reading.records import read_mapping, read_records
from kit.tables import data_path

CSV, MAP = (str(data_path("demo", f"demo_records.{end}")) for end in ("csv", "toml"))


def test_the_weekly_run_says_one_paragraph_and_writes_everything(tmp_path, capsys):
    prices, targets, out = tmp_path / "p.csv", tmp_path / "t.toml", tmp_path / "week 6"
    prices.write_text("stage;price\nKochen;0,8\nstuff;5\nthaw;1\n", encoding="utf-8")
    targets.write_text("cook = 9.5\n[A]\ncook = 9\n", encoding="utf-8")
    wanted = [
        "--mapping",
        MAP,
        "--prices",
        str(prices),
        "--targets",
        str(targets),
        "--out",
        str(out),
    ]
    for _ in range(2):  # the second week in the same folder
        assert main(["losses", CSV, *wanted]) == 0
        said, beside = capsys.readouterr()
        assert said.count("\n") == 1 and said.startswith("demo_records.csv: 120 of 120 rows used")
        assert "largest: cook, 6,191 kg" in said and "First finding: Cook loses" in said
        assert "cook, A: mean loss" in said and "34 of 120 batches met it" in said
        cost = 0.8 * 6191.47 + 5 * 667.27
        assert f"{cost:,.0f} (your currency)" in said
        assert beside == "prices without such a line in these records: thaw\n"
    assert {"findings.html", "losses.xlsx", "weighings.csv", "mapping.toml"} <= {
        p.name for p in out.iterdir()
    }
    assert read_mapping(out / "mapping.toml") == read_mapping(MAP)
    (out / "mine.txt").write_text("keep")
    assert main(["losses", CSV, "--mapping", MAP, "--out", str(out)]) == 1
    assert "holds other files (mine.txt)" in capsys.readouterr().err


def test_open_questions_are_printed_and_a_mapping_to_edit_is_written_once(tmp_path, capsys):
    file, out = tmp_path / "q.csv", tmp_path / "out"
    file.write_text("Charge;Wert\n1;3\n2;4\n", encoding="utf-8")
    assert (
        main(["losses", str(file)]) == 3
        and "no column is known as a weight" in capsys.readouterr().err
    )
    assert main(["losses", str(file), "--out", str(out)]) == 3
    assert capsys.readouterr().out == f"mapping to edit: {out / 'mapping.toml'}\n"
    (out / "mapping.toml").write_text("edited = true", encoding="utf-8")
    assert main(["losses", str(file), "--out", str(out)]) == 3
    assert (out / "mapping.toml").read_text(encoding="utf-8") == "edited = true"


@pytest.mark.parametrize(
    "wrong",
    [
        ["none.csv"],
        [CSV, "--mapping", "none.toml"],
        [CSV, "--mapping", MAP, "--prices", "none.csv"],
    ],
)
def test_what_cannot_be_used_is_status_1(wrong, capsys):
    assert main(["losses", *wrong]) == 1 and "none." in capsys.readouterr().err


def test_a_wrong_call_is_status_2(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["losses"])
    assert caught.value.code == 2


def test_the_door_hands_the_call_on_with_its_status(tmp_path, monkeypatch):
    monkeypatch.setattr(doorway, "ensure", lambda *pins: None)
    monkeypatch.setattr(doorway, "PYTHON", Path(sys.executable))
    monkeypatch.chdir(tmp_path)
    assert doorway.main(["losses", str(tmp_path / "none.csv")]) == 1
    assert doorway.main(["losses", "--nonsense"]) == 2


def test_more_batches_than_are_searched_at_once_are_searched_by_product_and_period(
    tmp_path, capsys
):
    """2,800 batches of two products, and of one too few to stand alone: one product loses more at cook from some day on. What the parts are, by hand:
    2,590 of A in two periods, 200 of B with 10 of C."""
    rng, n = np.random.default_rng(2), 2800
    product = np.repeat(["A", "B", "C"], [2590, 200, 10])[rng.permutation(n)]
    start = rng.uniform(380, 420, n).round(2)
    mine = np.flatnonzero(product == "A")[2000:]
    loss = rng.normal(9, 0.4, n) + (product == "B")
    loss[mine] += 0.6
    frame = pd.DataFrame(
        {
            "Batch": np.arange(1, n + 1),
            "Date": pd.date_range("2020-01-01", periods=n, freq="4h"),
            "Product": product,
            "Cook in (kg)": start,
            "Cook out (kg)": (start * (1 - loss / 100)).round(2),
        }
    )
    file, out = tmp_path / "many.csv", tmp_path / "out"
    frame.to_csv(file, index=False)
    assert main(["losses", str(file), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "2800 batches" in said
    found = pd.read_csv(out / "findings.csv")
    days = frame["Date"][np.flatnonzero(product == "A")[1295:]].dt.date
    part = f"Product A, {days.iloc[0]} to {days.iloc[-1]}"
    assert len(found) == 1 and found["finding"][0].startswith(f"{part}: Cook loses 0.")
    assert found["finding"][0] in said and abs(found["from batch"][0] - (mine[0] + 1)) <= 20
    page = (out / "findings.html").read_text()
    assert "2,800 batches were searched in 3 parts" in page and part in page
    assert main(["losses", str(file), "--product", "B", "--out", str(out)]) == 0
    assert "200 batches" in capsys.readouterr().out
    weighings = pd.read_csv(out / "weighings.csv")
    assert len(weighings) == 2 * n and (weighings["analysed"] == "yes").sum() == 2 * 200
    assert main(["losses", str(file), "--first", "2020-01-01", "--last", "2020-03-30"]) == 0
    assert "540 batches, 2020-01-01 to 2020-03-30" in capsys.readouterr().out
    table, _ = arranged(read_records(file))
    parts = parts_of(table)
    assert [len(rows) for rows in parts.values()] == [1295, 1295, 210]
    assert part in parts and list(parts)[2].startswith("All other products, 2020-")
    line = compare(table, "product B", "product A").line("cook")
    assert line.difference.value == pytest.approx(-1, abs=0.2) and sum(line.batches) == n - 10


# --- prices and targets ---


def test_prices_in_every_form_a_person_writes():
    want = {"cook": 0.8, "stuff": 5.0}
    assert read_prices("stage,price per kg\ncook,0.8\nstuff,5\n") == want
    assert read_prices("Stufe;Preis\nKochen;0,8\nFüllen;5,00\n") == want
    assert read_prices(b"cook = 0.8\nstuff = 5\n", "p.toml") == want
    assert read_prices('\ncook,"0,8"\n\nstuff,5\n') == want
    assert read_prices("cook to chill\t1.5\n") == {"cook to chill": 1.5}


def test_targets_with_and_without_products():
    want = (LossTarget("cook", 9.5, "4011"), LossTarget("overall", 16.0))
    assert read_targets("Product,Stage,Target (%)\n4011,cook,9.5\n,overall,16 %\n") == want
    assert read_targets("Stage,Product,Target\ncook,4011,9.5\ntotal,,16\n") == want
    assert read_targets(b"[4011]\ncook = 9.5\n", "t.toml") == want[:1]


@pytest.mark.parametrize(
    ("text", "row", "said"),
    [
        ("stage,price\ncok,3\n", 2, "names no stage"),
        ("stage,price\ncook,dear\n", 2, "holds no number"),
        ("cook,1\ncook,2\n", 2, "two prices"),
        ("cook,-1\n", 1, "below 0"),
        ("stage,price\ncook,0,8\n", 2, "holds two numbers"),
        ("cook,9,5\n", 1, "holds two numbers"),
        ("a,b,cook,3\n", 1, "holds more than that"),
        ("A,cook,3\n", 1, "price of its own"),
        ("cook,1,250\n", 1, "holds two numbers"),
        ("stage,price\n", None, "no entry"),
        ("stage,price\ncook,nan\n", 2, "holds no number"),
    ],
)
def test_a_price_that_is_none_is_told_with_its_row(text, row, said):
    with pytest.raises(Faulty) as caught:
        read_prices(text)
    assert [fault.row for fault in caught.value.faults] == [row]
    assert said in caught.value.faults[0].what and caught.value.faults[0].remedy


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("cook,101\n", "101 %"),
        ("cook to chill,1\n", "cook to chill"),
        ("cook,1\ncook,2\n", "two targets"),
    ],
)
def test_a_target_that_is_none_is_told(text, said):
    with pytest.raises(Faulty, match=said):
        read_targets(text)


def test_lines_are_known_in_several_languages():
    assert [
        line_of(word) for word in ("Cook", "Räuchern", "cook to chill", "Total", "freezing", "")
    ] == ["cook", "cook", "cook to chill", "overall", "", ""]
