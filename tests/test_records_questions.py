"""What a draft asks, how an answer is given, and what is told with the records. Every record is invented."""

import pandas as pd
import pyarrow as pa
import pytest
from test_languages import weights_of
from test_odd_files import KG, LONG, NAMES, TRUTH, beside, csv, headed, long, numbers, rows_of

from kit.errors import KitError
from kit.reading.plant import arranged
from kit.reading.records import (
    Question,
    draft_mapping,
    read_mapping,
    read_records,
    write_mapping,
)

AFTER = ["Batch", "Date", "Trim kg", "Grind kg", "Mix kg", "Stuff kg", "Cook kg", "Peel kg"]


def test_answers_are_taken_by_key_and_make_a_mapping_that_reads_the_file(tmp_path):
    text = long("Batch,Stage,In/Out,Weight", word=lambda s: "Zone 4" if s == "cook" else s)
    text = text.replace("B100,chop", "B100,Zone 4", 1).replace("B100,Zone 4", "B100,chop", 1)
    drafted = draft_mapping(text)
    asked = {question.key: question for question in drafted.questions}
    assert set(asked) == {"weight 'Weight', unit", "stages, 'Zone 4'"}
    assert all(isinstance(one, Question) and one.options for one in asked.values())
    done = drafted.answer({"weight 'Weight', unit": "kg", "stages, 'Zone 4'": "cook"})
    assert done.questions == () and weights_of(read_records(text, done)) == pytest.approx(LONG)
    saved = read_mapping(write_mapping(done, tmp_path / "map.toml"))
    assert saved == done and weights_of(read_records(text, saved)) == pytest.approx(LONG)
    with pytest.raises(KitError, match="no open question"):
        done.answer({"decimal": ","})
    with pytest.raises(KitError, match="one of: kg"):
        drafted.answer({"weight 'Weight', unit": "stone"})


def test_every_question_of_odd_files_can_be_answered_with_an_option_that_it_offers():
    texts = (
        beside("Other (kg)", numbers(320)),
        beside("Cook out (kg)", numbers(345)),
        headed("Batch", "Whatever"),
        long(show=lambda kg: f"{kg / 100:.3f}"),
        csv(rows_of(days=[f"{1 + b:02d}/06/2026" for b in range(8)])),
        "Batch,Reading 1,Reading 2\nB1,100,90\nB2,101,91\n",
    )
    for text in texts:
        mapping = draft_mapping(text)
        assert mapping.questions
        for _ in range(9):
            if not mapping.questions:
                break
            question = mapping.questions[0]
            assert question.label and set(question.columns) <= set(mapping.used), question
            liked = ("Whatever", "kg", "out", "pack" if "Reading" in text else "leave out")
            wanted = [option for option in liked if option in question.options]
            mapping = mapping.answer({question.key: (wanted or question.options)[0]})
        assert mapping.questions == () and read_records(text, mapping).report.rows_used


def test_a_weight_that_is_left_out_is_carried_along():
    text = beside("Other (kg)", numbers(320))
    mapping = draft_mapping(text).answer({"weight 'Other (kg)', stage": "leave out"})
    records = read_records(text, mapping)
    assert ("Other (kg)", "number") in mapping.carry
    assert weights_of(records) == pytest.approx(TRUTH)


def test_one_weight_after_each_stage_is_asked_once_where_nothing_is_packed():
    rows = [AFTER, *([n, "2026-06-01", *map(str, (*kg[:4], *kg[4:]))] for n, kg in zip(NAMES, KG))]
    (asked,) = draft_mapping(csv(rows)).questions
    assert asked.key == "weights, kind" and asked.options == ("in", "out")
    assert "Trim kg" in asked.text and "Peel kg" in asked.text
    done = draft_mapping(csv(rows)).answer({"weights, kind": "out"})
    assert {(w.stage, w.kind) for w in done.weights} == {
        (stage, "out") for stage in ("trim", "grind", "chop", "stuff", "cook", "peel")
    }


def test_units_are_asked_once():
    bare = csv(rows_of(heads=[h.replace(" (kg)", "") for h in rows_of()[0]]))
    (asked,) = draft_mapping(bare).questions
    assert asked.key == "weights, unit"
    done = draft_mapping(bare).answer({"weights, unit": "kg"})
    assert weights_of(read_records(bare, done)) == pytest.approx(TRUTH)


def test_a_step_that_gains_in_most_batches_is_said_first():
    rows = rows_of()
    rows[0][3] = "Remark"
    rows += [[*rows[1]]]
    first, second = read_records(csv(rows)).findings[:2]
    assert first.kind == "grew without an addition" and "so do" in first.what
    assert second.kind == "duplicate batch"


class Stream:
    """The result of a query of another engine, as the Arrow interface hands it over."""

    def __init__(self, table):
        self.table = table

    def __arrow_c_stream__(self, requested_schema=None):
        return self.table.__arrow_c_stream__(requested_schema)


@pytest.mark.parametrize("rows", [1, 7, 1000])
def test_a_table_of_any_engine_is_read_as_the_file_is(rows, monkeypatch):
    monkeypatch.setattr("kit.reading.columns.FRAME_ROWS", rows)
    frame = pd.DataFrame(rows_of()[1:], columns=rows_of()[0])
    frame = frame.astype(dict.fromkeys(frame.columns[2:], "float64"))
    frame.loc[3, "Cook out (kg)"] = -5
    batches = pa.Table.from_pandas(frame, preserve_index=False).to_batches(max_chunksize=2)
    result = read_records(Stream(pa.Table.from_batches(batches)))
    whole = read_records(csv([rows_of()[0], *frame.astype(str).to_numpy().tolist()]))
    assert weights_of(result) == pytest.approx(weights_of(whole))
    assert result.report.by_reason == whole.report.by_reason == (("negative", 1),)
    assert [f.row for f in result.faults] == [f.row for f in whole.faults]


def test_facts_are_named_by_the_mapping_and_what_is_not_searched_is_said():
    text = beside("KT", numbers(70)).replace("Date", "Wetterlage", 1)
    mapping = read_mapping(f'{draft_mapping(text)}\n[facts]\nKT = "cook_end_C"\n')
    table, notes = arranged(read_records(text, mapping))
    assert table.facts["cook_end_C"].tolist() == [70 + b % 5 for b in range(8)]
    assert any("not searched" in note and "'Wetterlage'" in note for note in notes)


def test_a_code_stays_a_label_even_where_a_mapping_carries_it_as_a_number():
    text = beside("House", numbers(2))
    mapping = draft_mapping(text).answered(carry=(("House", "number"),))
    columns = tuple(pair for pair in mapping.columns if pair[0] != "smokehouse")
    table, _ = arranged(read_records(text, mapping.answered(columns=columns)))
    assert table.labels["smokehouse"].tolist() == [str(2 + b % 5) for b in range(8)]
    assert table.facts == {}
