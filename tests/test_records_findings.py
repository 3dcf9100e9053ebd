"""What can be read but looks wrong: each kind of slip planted once in an invented plant, found by name; a quiet plant has none."""

import numpy as np
import pandas as pd
import pytest

from kit.reading.records import KINDS_OF_FINDING, read_records

PLAN = (
    ("chop", "in", "", 100),
    ("chop", "addition", "ice", 27),
    ("chop", "addition", "salt", 3),
    ("chop", "out", "", 129.2),
    ("stuff", "in", "", 128.9),
    ("stuff", "out", "", 127.4),
    ("cook", "in", "", 127.2),
    ("cook", "out", "", 114.5),
    ("chill", "out", "", 112.6),
    ("pack", "out", "", 110.9),
)
CASES = 25


def plant(seed, batches=40, size_sd=0.04, noise=0.004, cook_noise=0.012):
    """Long records of an invented plant: sizes scatter, scales are noisy, the cook varies."""
    rng = np.random.default_rng(seed)
    size = 3 * np.exp(rng.normal(0, size_sd, batches))
    cook = np.exp(rng.normal(0, cook_noise, batches))
    rows = []
    for b in range(batches):
        for n, (stage, kind, name, share) in enumerate(PLAN):
            kg = size[b] * share * np.exp(rng.normal(0, noise)) * (cook[b] if n >= 7 else 1)
            rows.append(
                (
                    f"B{b}",
                    pd.Timestamp("2026-03-01 06:00") + pd.Timedelta(hours=24 * b + n),
                    stage,
                    kind,
                    name,
                    round(float(kg), 1),
                )
            )
    return pd.DataFrame(rows, columns=["Batch", "Date", "Stage", "Kind", "Item", "Weight (kg)"])


def at(frame, batch, stage, kind, name=""):
    return (
        (frame["Batch"] == batch)
        & (frame["Stage"] == stage)
        & (frame["Kind"] == kind)
        & (frame["Item"] == name)
    )


def found(frame):
    return [(f.kind, f.batch, f.stage) for f in read_records(frame).findings]


def test_quiet_plants_raise_nothing():
    raised = [seed for seed in range(CASES) if found(plant(seed))]
    assert raised == []


@pytest.mark.parametrize(
    "factor,says",
    [
        (2.20462, "lb typed where kg"),
        (1 / 2.20462, "kg typed where lb"),
        (1000, "g typed where kg"),
        (0.001, "t typed where kg"),
        (10, "a digit too many"),
        (0.1, "a digit missing"),
        (35.274, "oz typed"),
    ],
)
@pytest.mark.parametrize(
    "spot",
    [
        ("chop", "in", ""),
        ("cook", "in", ""),
        ("pack", "out", ""),
        ("chop", "addition", "ice"),
        ("chop", "addition", "salt"),
    ],
)
def test_a_slip_of_one_weight_is_found_by_name_and_nothing_else_is(factor, says, spot):
    for seed in range(2):
        frame = plant(seed)
        weight = at(frame, "B17", *spot)
        row = int(np.flatnonzero(weight)[0]) + 2
        frame.loc[weight, "Weight (kg)"] = frame.loc[weight, "Weight (kg)"] * factor
        records = read_records(frame)
        (finding,) = records.findings
        assert (finding.kind, finding.batch, finding.stage, finding.rows) == (
            "unit error",
            "B17",
            spot[0],
            (row,),
        ) and says in finding.what
        assert records.tidy["kg"].max() == frame["Weight (kg)"].max(), "nothing is repaired"


def test_a_batch_typed_in_pounds_throughout():
    frame = plant(3)
    frame.loc[frame["Batch"] == "B9", "Weight (kg)"] *= 2.20462
    (finding,) = read_records(frame).findings
    assert (
        (finding.kind, finding.batch) == ("unit error", "B9")
        and "every weight of the batch" in finding.what
        and "lb typed" in finding.what
    )


def test_a_double_batch_is_no_slip_of_unit():
    frame = plant(4)
    frame.loc[frame["Batch"] == "B9", "Weight (kg)"] *= 2
    frame.loc[frame["Batch"] == "B12", "Weight (kg)"] /= 2
    assert found(frame) == []


def test_where_two_scales_of_three_slip_the_size_of_other_batches_tells_which():
    frame = plant(5)
    frame = frame[frame["Stage"].isin(["cook"]) | (frame["Stage"] == "pack")]
    frame.loc[(frame["Batch"] == "B9") & (frame["Stage"] == "cook"), "Weight (kg)"] *= 2.20462
    (finding,) = read_records(frame).findings
    assert (
        "in at cook" in finding.what
        and "out at cook" in finding.what
        and "pack" not in finding.what
    )


@pytest.mark.parametrize("stage", ["cook", "chop"])
def test_swapped_weights_are_found_by_their_yield(stage):
    for seed in range(5):
        frame = plant(seed)
        one, two = at(frame, "B11", stage, "in"), at(frame, "B11", stage, "out")
        a, b = frame.loc[one, "Weight (kg)"].item(), frame.loc[two, "Weight (kg)"].item()
        frame.loc[one, "Weight (kg)"], frame.loc[two, "Weight (kg)"] = b, a
        records = read_records(frame)
        assert [(f.kind, f.batch, f.stage) for f in records.findings] == [
            ("swapped in and out", "B11", stage)
        ]


def test_growth_without_an_addition_and_the_addition_that_is_not_written():
    frame = plant(1)
    frame.loc[at(frame, "B20", "chill", "out"), "Weight (kg)"] *= 1.12
    assert ("grew without an addition", "B20", "chill") in found(frame)
    frame = plant(2)
    frame = frame[~((frame["Batch"] == "B21") & (frame["Kind"] == "addition"))]
    (finding,) = [f for f in read_records(frame).findings if f.batch == "B21"]
    assert (finding.kind, finding.stage) == (
        "grew without an addition",
        "chop",
    ) and "addition at chop, which most batches have, is not written" in finding.what


def test_a_batch_that_lost_a_row_does_not_seem_to_grow():
    frame = plant(2).astype({"Weight (kg)": "str"})
    frame.loc[at(frame, "B21", "chop", "addition", "ice"), "Weight (kg)"] = "n/a"
    records = read_records(frame)
    assert records.findings == () and records.incomplete == {"B21"} and len(records.faults) == 1


def test_a_step_that_usually_gains_is_told_once():
    frame = plant(1)
    frame.loc[(frame["Stage"] == "chill"), "Weight (kg)"] *= 1.05
    growths = [f for f in read_records(frame).findings if f.kind == "grew without an addition"]
    assert len(growths) == 1 and "so do 40 of 40 batches" in growths[0].what


def test_with_few_batches_growth_is_told_and_nothing_is_called_usual():
    frame = plant(1, batches=2)
    frame.loc[at(frame, "B1", "cook", "out"), "Weight (kg)"] *= 1.3
    assert found(frame) == [("grew without an addition", "B1", "cook")]


def test_a_row_that_holds_both_weights_is_named_once():
    text = "Batch,Date,Cook in (kg),Cook out (kg)\nB1,2026-02-01,500,451\nB2,2026-02-02,455,500\n"
    (finding,) = read_records(text.encode(), name="small.csv").findings
    assert finding.rows == (3,) and "batch B2 (row 3)" in str(finding)


def test_a_batch_entered_twice_and_a_batch_under_two_names():
    frame = plant(1)
    again = frame[frame["Batch"] == "B7"]
    records = read_records(pd.concat([frame, again], ignore_index=True))
    assert [(f.kind, f.batch) for f in records.findings] == [
        ("duplicate batch", "B7")
    ] and "twice" in records.findings[0].what
    assert records.report.rows_used == 410 and records.left_out == {"B7": "duplicate batch"}
    copied = read_records(pd.concat([frame, again.assign(Batch="B7b")], ignore_index=True))
    assert [(f.kind, f.batch) for f in copied.findings] == [
        ("same weights, two names", "B7b")
    ] and "batch B7" in copied.findings[0].what


def test_two_batches_under_one_name():
    frame = plant(1)
    frame.loc[frame["Batch"] == "B30", "Batch"] = "B2"
    kinds = {f.kind for f in read_records(frame).findings if f.batch == "B2"}
    assert kinds == {"duplicate batch", "one name over many days"}


def test_one_weighing_written_twice():
    frame = plant(1)
    row = frame[at(frame, "B7", "cook", "out")]
    records = read_records(pd.concat([frame, row], ignore_index=True))
    (finding,) = [f for f in records.findings if f.kind == "duplicate weighing"]
    assert (finding.batch, finding.stage) == ("B7", "cook") and finding.rows == (
        int(row.index[0]) + 2,
        402,
    )
    apart = row.assign(Date=row["Date"] + pd.Timedelta(minutes=10))
    assert "duplicate weighing" not in {
        f.kind for f in read_records(pd.concat([frame, apart], ignore_index=True)).findings
    }


def test_a_batch_on_two_rows_of_a_wide_file():
    text = (
        "Batch,Cook in (kg),Cook out (kg)\n"
        + "".join(f"B{n},{100 + n},{90 + n}\n" for n in range(8))
        + "B3,104,92\n"
    )
    records = read_records(text)
    (finding,) = [f for f in records.findings if f.kind == "duplicate batch"]
    assert finding.batch == "B3" and finding.rows == (5, 10)


def test_parts_of_one_weight_are_no_duplicates():
    frame = plant(1)
    whole = at(frame, "B0", "cook", "in") | (frame["Stage"].eq("cook") & frame["Kind"].eq("in"))
    carts = [
        frame[whole].assign(
            Item=f"cart {n}", **{"Weight (kg)": frame.loc[whole, "Weight (kg)"] / 2}
        )
        for n in (1, 2)
    ]
    records = read_records(pd.concat([frame[~whole], *carts], ignore_index=True))
    assert records.findings == () and records.report.weighings == 440
    assert records.weights().weights["cook", "in"] == pytest.approx(
        read_records(frame).weights().weights["cook", "in"]
    )


def test_every_kind_of_finding_is_planted_above():
    text = open(__file__, encoding="utf-8").read()
    assert all(f'"{kind}"' in text for kind in KINDS_OF_FINDING)
