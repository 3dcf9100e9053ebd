"""Records held against something outside the kit: standards of files, calendars and units, and independent readers."""

import io
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from openpyxl.utils.datetime import from_excel
from scipy.stats import norm

from kit.reading.amounts import factor
from kit.reading.records import Mapping, WeightColumn, read_records
from kit.tables import value

LONG = Mapping(
    (("batch", "Batch"), ("date", "Date"), ("stage", "Stage"), ("kind", "Kind"), ("name", "Item")),
    (WeightColumn("Weight", unit="kg"),),
)


@pytest.mark.parametrize(
    "unit,kg", [("lb", 0.45359237), ("oz", 0.45359237 / 16), ("g", 1e-3), ("t", 1000.0)]
)
def test_factors_are_those_of_the_international_pound(unit, kg):
    """NIST Special Publication 811 (2008), appendix B: the avoirdupois pound is 0.453 592 37 kg exactly, 16 ounces to the pound. From memory."""
    assert factor(unit) == pytest.approx(kg, rel=1e-14)


@pytest.mark.parametrize(
    "serial,day",
    [
        ("36526", "2000-01-01"),
        ("39448", "2008-01-01"),
        ("36526.25", "2000-01-01 06:00"),
        ("61", None),
    ],
)
def test_serial_days_of_spreadsheets(serial, day):
    """ISO/IEC 29500-1, 18.17.4.1, 1900 date system: whole days, with 2000-01-01 as 36526 and 2008-01-01 as 39448 (from memory); fractions are of a day.
    61 (1900-03-01) lies outside what the reader takes for a date, and is set aside, not guessed."""
    records = read_records(f"Batch,Date,Stage,Kind,Item,Weight\nB1,{serial},cook,in,,100\n", LONG)
    if day is None:
        assert records.report.rows_set_aside == 1
    else:
        assert records.tidy["time"].iloc[0] == pd.Timestamp(day)


def test_serial_days_against_an_independent_reader():
    """openpyxl's own conversion, over days from 1970 to 2099. Both round to whole seconds, so a second may lie between."""
    serials = np.arange(25_600, 73_000, 97) + np.round(np.linspace(0, 0.999, 489), 4)
    text = "Batch,Date,Stage,Kind,Item,Weight\n" + "".join(
        f"B{n},{serial:.4f},cook,in,,100\n" for n, serial in enumerate(serials)
    )
    own = read_records(text, LONG).tidy["time"].dt.to_pydatetime()
    assert [
        abs((a - from_excel(round(float(s), 4))).total_seconds()) <= 1
        for a, s in zip(own, serials, strict=True)
    ] == [True] * len(serials)


def test_the_rules_of_csv():
    """RFC 4180, section 2, rules 5 to 7: fields in double quotes may hold separators, line ends and doubled quotes."""
    text = 'Batch,Date,Stage,Kind,Item,Weight\r\nB1,2026-03-01,cook,in,"b ""CRLF""\r\nbb",100\r\n"B,2",2026-03-01,cook,in,"zzz","100"\r\n'
    tidy = read_records(text, LONG).tidy
    assert (
        tidy["batch"].tolist() == ["B1", "B,2"]
        and tidy["name"].tolist()[0].splitlines() == ['b "CRLF"', "bb"]
        and tidy["row"].tolist() == [2, 3]
    )


def test_dates_of_iso_8601_against_the_standard_library():
    """Python's datetime.fromisoformat as the independent reader, over odd moments of leap and common years."""
    moments = [
        datetime(year, month, day, hour, minute, second)
        for year in (1999, 2000, 2024, 2025)
        for month, day in ((1, 1), (2, 28), (12, 31), (3, 1))
        for hour, minute, second in ((0, 0, 0), (23, 59, 59), (12, 30, 0))
    ] + [datetime(2000, 2, 29), datetime(2024, 2, 29, 23, 59)]
    for shape in (" ", "T"):
        text = "Batch,Date,Stage,Kind,Item,Weight\n" + "".join(
            f"B{n},{m.isoformat(shape)},cook,in,,1\n" for n, m in enumerate(moments)
        )
        assert read_records(text, LONG).tidy["time"].tolist() == [
            pd.Timestamp(datetime.fromisoformat(m.isoformat())) for m in moments
        ]
    assert (
        read_records(
            "Batch,Date,Stage,Kind,Item,Weight\nB1,1900-02-29,cook,in,,1\nB1,2023-02-29,cook,in,,1\n",
            LONG,
        ).report.rows_set_aside
        == 2
    )


def test_sums_against_plain_pandas():
    """An independent reading of the same invented file: pandas' own parser, then a pivot of sums. Sums of two-decimal weights, to rounding."""
    rng = np.random.default_rng(7)
    rows = [
        (
            f"B{rng.integers(60)}",
            "2026-03-01",
            ("chop", "cook", "pack")[rng.integers(3)],
            ("in", "out", "scrap")[rng.integers(3)],
            f"cart {n}",
            f"{rng.uniform(1, 400):.2f}",
        )
        for n in range(3000)
    ]
    text = pd.DataFrame(rows, columns=["Batch", "Date", "Stage", "Kind", "Item", "Weight"]).to_csv(
        index=False
    )
    outside = pd.read_csv(io.StringIO(text)).pivot_table(
        index="Batch", columns=["Stage", "Kind"], values="Weight", aggfunc="sum"
    )
    s = read_records(text, LONG).summary
    assert len(s.keys) == 9
    for n, key in enumerate(s.keys):
        np.testing.assert_allclose(
            s.kg[:, n], outside[key].reindex(s.batches).to_numpy(), rtol=1e-12
        )


def test_the_robust_deviation_is_that_of_the_normal_distribution():
    """A normal standard deviation is 1 / Phi^-1(3/4) median absolute deviations, as SciPy has it."""
    assert value("sd_per_mad") == pytest.approx(1 / norm.ppf(0.75), rel=1e-12)


@pytest.mark.parametrize(
    "words, kg",
    [
        ("lb typed where kg were meant", 0.45359237),
        ("kg typed where lb were meant", 1 / 0.45359237),
        ("oz typed where kg were meant", 0.45359237 / 16),
    ],
)
def test_a_slip_between_pounds_ounces_and_kilograms_is_that_of_the_international_pound(words, kg):
    """NIST Special Publication 811, appendix B: 0.453 592 37 kg, and 16 ounces of 28.349 523 125 g to it (avoirdupois; a troy ounce is 31.10 g, 10 %
    more). Thirty batches, one with a single weight in the other unit: the finding prints the factor to four figures."""
    rng = np.random.default_rng(3)
    lines = ["Batch,Date,Stage,Kind,Item,Weight"]
    for n in range(30):
        size = rng.uniform(90, 110)
        for stage, kind, share in (
            ("chop", "in", 1),
            ("chop", "out", 1),
            ("cook", "in", 0.99),
            ("cook", "out", 0.9),
            ("pack", "out", 0.88),
        ):
            shown = (
                size
                * share
                * rng.normal(1, 0.002)
                / (kg if n == 17 and (stage, kind) == ("cook", "out") else 1)
            )
            lines.append(f"B{n},2026-03-{n % 28 + 1:02d},{stage},{kind},,{shown:.3f}")
    (found,) = [
        one
        for one in read_records("\n".join(lines) + "\n", LONG).findings
        if one.kind == "unit error"
    ]
    assert (
        found.batch == "B17"
        and words in found.what
        and f"would be {1 / kg:.4g} times" in found.what
    )
