"""Records held against something outside the kit: standards of files, calendars and units, and independent readers."""
import io
import math
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from openpyxl.utils.datetime import from_excel
from scipy.stats import norm

from kit.records import Mapping, Weight, read_records
from kit.records.values import factor

LONG = Mapping((("batch", "Batch"), ("date", "Date"), ("stage", "Stage"), ("kind", "Kind"), ("name", "Item")), (Weight("Weight", unit="kg"),))


@pytest.mark.parametrize("unit,kg", [("lb", 0.45359237), ("oz", 0.45359237 / 16), ("g", 1e-3), ("t", 1000.0)])
def test_factors_are_those_of_the_international_pound(unit, kg):
    """NIST Special Publication 811 (2008), appendix B: the avoirdupois pound is 0.453 592 37 kg exactly, 16 ounces to the pound. From memory."""
    assert factor(unit) == pytest.approx(kg, rel=1e-14)


@pytest.mark.parametrize("serial,day", [("36526", "2000-01-01"), ("39448", "2008-01-01"), ("36526.25", "2000-01-01 06:00"), ("61", None)])
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
    text = "Batch,Date,Stage,Kind,Item,Weight\n" + "".join(f"B{n},{serial:.4f},cook,in,,100\n" for n, serial in enumerate(serials))
    own = read_records(text, LONG).tidy["time"].dt.to_pydatetime()
    assert [abs((a - from_excel(round(float(s), 4))).total_seconds()) <= 1 for a, s in zip(own, serials, strict=True)] == [True] * len(serials)


def test_the_rules_of_csv():
    """RFC 4180, section 2, rules 5 to 7: fields in double quotes may hold separators, line ends and doubled quotes."""
    text = 'Batch,Date,Stage,Kind,Item,Weight\r\nB1,2026-03-01,cook,in,"b ""CRLF""\r\nbb",100\r\n"B,2",2026-03-01,cook,in,"zzz","100"\r\n'
    tidy = read_records(text, LONG).tidy
    assert tidy["batch"].tolist() == ["B1", "B,2"] and tidy["name"].tolist()[0].splitlines() == ['b "CRLF"', "bb"] and tidy["row"].tolist() == [2, 3]


def test_dates_of_iso_8601_against_the_standard_library():
    """Python's datetime.fromisoformat as the independent reader, over odd moments of leap and common years."""
    moments = [datetime(year, month, day, hour, minute, second) for year in (1999, 2000, 2024, 2025) for month, day in ((1, 1), (2, 28), (12, 31), (3, 1))
               for hour, minute, second in ((0, 0, 0), (23, 59, 59), (12, 30, 0))] + [datetime(2000, 2, 29), datetime(2024, 2, 29, 23, 59)]
    for shape in (" ", "T"):
        text = "Batch,Date,Stage,Kind,Item,Weight\n" + "".join(f"B{n},{m.isoformat(shape)},cook,in,,1\n" for n, m in enumerate(moments))
        assert read_records(text, LONG).tidy["time"].tolist() == [pd.Timestamp(datetime.fromisoformat(m.isoformat())) for m in moments]
    assert read_records("Batch,Date,Stage,Kind,Item,Weight\nB1,1900-02-29,cook,in,,1\nB1,2023-02-29,cook,in,,1\n", LONG).report.rows_set_aside == 2


def test_sums_against_plain_pandas():
    """An independent reading of the same invented file: pandas' own parser, then a pivot of sums. Sums of two-decimal weights, to rounding."""
    rng = np.random.default_rng(7)
    rows = [(f"B{rng.integers(60)}", "2026-03-01", ("chop", "cook", "pack")[rng.integers(3)], ("in", "out", "scrap")[rng.integers(3)], f"cart {n}", f"{rng.uniform(1, 400):.2f}") for n in range(3000)]
    text = pd.DataFrame(rows, columns=["Batch", "Date", "Stage", "Kind", "Item", "Weight"]).to_csv(index=False)
    outside = pd.read_csv(io.StringIO(text)).pivot_table(index="Batch", columns=["Stage", "Kind"], values="Weight", aggfunc="sum")
    s = read_records(text, LONG).summary
    assert len(s.keys) == 9
    for n, key in enumerate(s.keys):
        np.testing.assert_allclose(s.kg[:, n], outside[key].reindex(s.batches).to_numpy(), rtol=1e-12)


def test_the_robust_deviation_is_that_of_the_normal_distribution():
    """1.4826 of the findings is 1 / Phi^-1(3/4), as SciPy has it, to the digits written."""
    assert 1 / norm.ppf(0.75) == pytest.approx(1.4826, abs=5e-5) and math.isclose(norm.cdf(1 / 1.4826), 0.75, abs_tol=1e-4)
