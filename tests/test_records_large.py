"""Large files are read in blocks, here of a few rows: the same answers as from the whole, weighing by weighing."""

import numpy as np
import pandas as pd
import pytest

from kit.errors import Faulty, KitError
from kit.reading.records import Mapping, WeightColumn, read, read_records

MAPPING = Mapping(
    (
        ("batch", "Batch"),
        ("date", "Date"),
        ("clock", "Time"),
        ("stage", "Stage"),
        ("kind", "Kind"),
        ("name", "Item"),
        ("lot", "Lot"),
        ("operator", "Crew"),
    ),
    (WeightColumn("Weight", unit="kg"),),
    carry=(("Temp", "number"), ("Mark", "text")),
)


def untidy(rows=600, seed=2):
    """Invented weighings with every sort of fault, batches in shuffled pieces, some past midnight, some twice."""
    rng = np.random.default_rng(seed)
    plan = [
        ("chop", "in", "", 100),
        ("chop", "addition", "ice", 28),
        ("chop", "out", "", 127),
        ("cook", "in", "cart 2", 63),
        ("cook", "in", "cart 1", 63.4),
        ("cook", "out", "", 114),
    ]
    frame = pd.DataFrame(
        [
            (
                f"B{b:03d}",
                f"2026-{1 + b // 28:02d}-{1 + b % 28:02d}",
                f"{(17 + 2 * n) % 24:02d}:{b % 60:02d}",
                stage,
                kind,
                name,
                f"{kg * (1 + rng.normal(0, 0.01)):.2f}",
                f"L{b // 4}",
                rng.choice(["Ann", "Ann ", " Bo", "\u00a0Bo", "'=Bo", ""]),
                f"{rng.normal(70, 1):.1f}",
                'x "y", z' if n % 3 else "",
            )
            for b in range(rows // 6)
            for n, (stage, kind, name, kg) in enumerate(plan)
        ],
        columns=[
            "Batch",
            "Date",
            "Time",
            "Stage",
            "Kind",
            "Item",
            "Weight",
            "Lot",
            "Crew",
            "Temp",
            "Mark",
        ],
    )
    for column, bad in (
        ("Weight", ["x", "-1", "", "250 lb"]),
        ("Date", ["", "2026-99-01"]),
        ("Stage", ["polish"]),
        ("Batch", ["", "Total"]),
        ("Temp", ["hot"]),
        ("Time", ["25:00", ""]),
    ):
        frame.loc[rng.choice(len(frame), 2 * len(bad), replace=False), column] = bad * 2
    frame.loc[100, "Weight"] = "220000"
    return pd.concat(
        [frame, frame.iloc[40:46], frame.iloc[[90]], frame.iloc[[300]].assign(Mark="two\nlines")],
        ignore_index=True,
    )


def assert_same(large, small):
    assert (
        large.report == small.report
        and large.findings == small.findings
        and large.incomplete == small.incomplete
    )
    assert [n for n in large.notes if "midnight" in n] == [
        n for n in small.notes if "midnight" in n
    ]
    order = ["batch", "row", "kind", "stage"]
    pd.testing.assert_frame_equal(
        plain(large.tidy).sort_values(order, ignore_index=True),
        plain(small.tidy).sort_values(order, ignore_index=True),
    )
    pd.testing.assert_frame_equal(
        plain(large.summary.per_batch), plain(small.summary.per_batch), rtol=1e-12
    )
    assert large.summary.keys == small.summary.keys
    for name in ("kg", "count", "row"):
        np.testing.assert_allclose(
            getattr(large.summary, name), getattr(small.summary, name), rtol=1e-12
        )


def plain(frame):
    return frame.astype(
        {
            name: "str"
            for name in frame.columns
            if not (
                pd.api.types.is_numeric_dtype(frame[name])
                or pd.api.types.is_datetime64_any_dtype(frame[name])
            )
        }
        | {
            name: "datetime64[us]"
            for name in frame.columns
            if pd.api.types.is_datetime64_any_dtype(frame[name])
        }
    ).rename(columns=str)


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_blocks_give_the_answers_of_the_whole(tmp_path, monkeypatch, suffix):
    path = tmp_path / f"all{suffix}"
    frame = untidy()
    frame.to_csv(path, index=False) if suffix == ".csv" else frame.to_parquet(path)
    whole = read_records(path, MAPPING)
    monkeypatch.setattr(read, "BLOCK_BYTES", 2000)
    blocks = read_records(path, MAPPING)
    assert whole.report.rows_set_aside > 10 and len(whole.findings) >= 2
    assert any("midnight" in note for note in whole.notes)
    assert_same(blocks, whole)
    own = "=Bo" if suffix == ".csv" else "'=Bo"
    assert set(blocks.tidy["operator"]) == {"Ann", "Bo", own, ""}, (
        "a word is one word, once trimmed"
    )
    pd.testing.assert_frame_equal(blocks.set_aside, whole.set_aside)
    assert blocks.left_out == whole.left_out and len(blocks.fault_table) == len(whole.fault_table)


def test_wide_files_and_several_files(tmp_path, monkeypatch):
    for n in range(2):
        (tmp_path / f"{n}.csv").write_text(
            "Batch,Cook in (kg),Cook out (kg),Ice (kg)\n"
            + "".join(f"B{n}{b},{100 + b / 7},{90 + b / 9},\n" for b in range(50))
            + "B03,1,1,2\n"
        )
    paths = [tmp_path / "0.csv", tmp_path / "1.csv"]
    whole = read_records(paths)
    monkeypatch.setattr(read, "BLOCK_BYTES", 200)
    assert_same(read_records(paths), whole)


def test_what_cannot_be_read_in_blocks_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(read, "BLOCK_BYTES", 300)
    path = tmp_path / "a.csv"
    path.write_text("Batch,Cook in (kg),Cook out (kg)\nB1,100,90\n")
    (tmp_path / "b.csv").write_text(
        'Batch,Cook in (kg),Cook out (kg)\nB1,100,90\n"' + "B2,100,90\n" * 500
    )
    (tmp_path / "c.csv").write_text("Batch,Cook in (kg),Chill out (kg)\nB1,100,90\n")
    for source, mapping, says in (
        (tmp_path / "b.csv", None, "never closed"),
        ([path, tmp_path / "c.csv"], None, "no column"),
        (path, MAPPING, "no column"),
        (tmp_path / "none.csv", None, "cannot be opened"),
        (tmp_path / "a.xlsx", None, "cannot be opened"),
    ):
        with pytest.raises(KitError, match=says):
            read_records(source, mapping)


def test_questions_are_asked_before_anything_is_read(tmp_path):
    (tmp_path / "a.csv").write_text("Batch,Date,Cook in (kg),Cook out (kg)\nB1,03/04/2026,100,90\n")
    with pytest.raises(Faulty, match="day/month or month/day"):
        read_records(tmp_path / "a.csv")


def test_categories_with_gaps_and_blanks_are_the_plain_words():
    frame = untidy()
    held = frame.assign(
        **{
            c: frame[c].replace("", None).astype("category")
            for c in ("Crew", "Lot", "Item", "Weight")
        }
    )
    assert held["Crew"].isna().any() and held["Weight"].isna().any()
    plain_words, categories = read_records(frame, MAPPING), read_records(held, MAPPING)
    assert_same(categories, plain_words)
    pd.testing.assert_frame_equal(categories.set_aside, plain_words.set_aside)
