"""Reading temperature logs: the usual layouts, what is understood, what is asked, and that nothing is lost silently."""

import io

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import Faulty, OutOfRange, UnknownName
from kit.reading.logs import KINDS, read_log

SIMPLE = "Time s;Core °C\n0;2,0\n30;3,5\n60;4,0\n90;6,5\n"


def rows_with(log, kind):
    return [int(row) for issue in log.issues if issue.kind == kind for row in issue.rows]


def rows(*lines, head="Time;Core °C"):
    return "\n".join([head, *lines]) + "\n"


@pytest.mark.parametrize(
    "text, more",
    [
        (SIMPLE, {}),
        ("time (min),temp_C\n0,2.0\n0.5,3.5\n1,4.0\n1.5,6.5\n", {}),
        ("t [s]\tCore [°F]\n0\t35.6\n30\t38.3\n60\t39.2\n90\t43.7\n", {}),
        ("Elapsed (mm:ss)|Core, deg C\n0:00|2.0\n0:30|3.5\n1:00|4.0\n1:30|6.5\n", {}),
        ("Uhrzeit;Kern (°C)\n08:00:00;2,0\n08:00:30;3,5\n08:01:00;4,0\n08:01:30;6,5\n", {}),
        (
            "Date;Time;Core °C\n31.05.2024;08:00:00;2,0\n31.05.2024;08:00:30;3,5\n31.05.2024;08:01:00;4,0\n31.05.2024;08:01:30;6,5\n",
            {},
        ),
        (
            "Stamp,Core °C\n2024-05-31T08:00:00Z,2.0\n2024-05-31T08:00:30Z,3.5\n2024-05-31T08:01:00Z,4.0\n2024-05-31T08:01:30Z,6.5\n",
            {},
        ),
        (
            "Stamp,Core °C\n5/31/2024 11:59:30 AM,2.0\n5/31/2024 12:00:00 PM,3.5\n5/31/2024 12:00:30 PM,4.0\n5/31/2024 12:01:00 PM,6.5\n",
            {},
        ),
        (
            "Some logger\nSerial;4711\nUnit: °C\n\nNo.;Time;Core;RH %\n;s;;\n1;0;2,0;55\n2;30;3,5;55\n3;60;4,0;56\n4;90;6,5;56\n",
            {},
        ),
        ("0;2,0\n30;3,5\n60;4,0\n90;6,5\n", dict(time="s", unit="°C", time_column="column 1")),
        ("time s;core\n0;2.0 °C\n30;38.3 °F\n60;4.0 °C\n90;6.5 °C\n", {}),
        (
            "2024-05-31 08:00:00 2.0\n2024-05-31 08:00:30 3.5\n2024-05-31 08:01:00 4.0\n2024-05-31 08:01:30 6.5\n",
            dict(unit="°C"),
        ),
    ],
)
def test_the_usual_layouts_read_alike(text, more):
    log = read_log(text, **more)
    assert log.time_s == pytest.approx([0, 30, 60, 90])
    assert log.temperature_C[:, 0] == pytest.approx([2.0, 3.5, 4.0, 6.5])
    assert log.usable.all() and len(log.understood) >= 4


def test_it_says_what_it_understood():
    log = read_log("x\n\nZeit [min:s];Kern °F;RH %\n0:00;35,6;40\n0:30;36,5;40\n1:00;37,4;41\n")
    said = " / ".join(log.understood)
    for part in (
        "semicolon",
        "above row 4",
        "min:s",
        "Kern °F' in °F, turned to °C",
        "decimal commas",
        "left aside: RH %",
        "3 readings over 1.0 min, usually 30 s apart",
    ):
        assert part in said


def test_many_channels_and_their_names():
    log = read_log("Time s;Core °C;Oven °F;RH %\n0;2;140;50\n60;3;150;50\n")
    assert log.channels == ("Core °C", "Oven °F") and log.temperature_C[0] == pytest.approx([2, 60])
    with pytest.raises(OutOfRange, match="2 channels"):
        log.channel()
    with pytest.raises(UnknownName, match="Oven"):
        log.channel("oven")
    assert read_log("Time s;Core °C;Oven °F\n0;2;140\n60;3;150\n", channels=["Oven °F"]).channel()[
        1
    ] == pytest.approx([60, 65.5556], abs=1e-4)


def test_a_workbook_a_frame_and_bytes_read_like_the_text(tmp_path):
    frame = pd.DataFrame({"time s": [0, 30, 60, 90], "Core °C": [2.0, 3.5, 4.0, 6.5]})
    book = tmp_path / "log.xlsx"
    frame.to_excel(book, index=False)
    plain = tmp_path / "log.csv"
    plain.write_bytes(SIMPLE.encode("cp1252"))
    columns = io.BytesIO()
    frame.to_parquet(columns)
    for source in (
        book,
        str(book),
        frame,
        pa.Table.from_pandas(frame),
        columns.getvalue(),
        plain,
        SIMPLE.encode("utf-16"),
        b"\xef\xbb\xbf" + SIMPLE.encode(),
    ):
        log = read_log(source)
        assert (
            log.temperature_C[:, 0] == pytest.approx([2.0, 3.5, 4.0, 6.5]) and log.time_s[-1] == 90
        )
    stamped = tmp_path / "stamped.xlsx"
    pd.DataFrame(
        {
            "When": pd.date_range("2024-05-31 23:59", periods=4, freq="30s"),
            "Core °C": [2.0, 3.5, 4.0, 6.5],
        }
    ).to_excel(stamped, index=False)
    assert read_log(stamped).time_s == pytest.approx([0, 30, 60, 90])
    with pd.ExcelWriter(tmp_path / "two.xlsx") as writer:
        frame.to_excel(writer, sheet_name="a", index=False)
        frame.to_excel(writer, sheet_name="b", index=False)
    with pytest.raises(Faulty, match="2 filled sheets: a, b.*sheet="):
        read_log(tmp_path / "two.xlsx")
    assert read_log(tmp_path / "two.xlsx", sheet="b").time_s.size == 4


def test_every_bad_row_is_listed_with_its_own_number():
    log = read_log(
        rows(
            "0:00;-1,5",
            "0:30;-1,2",
            "",
            "1:00;",
            "1:30;ERR",
            "2:00;0,5",
            "2:00;0,6",
            "2:30;60,5",
            "3:00;2,5;9",
            "3:10;2,7",
            "3:30;3,5",
            "xx;4",
            "3:20;3,3",
            "9:30;5,5",
            "10:00;999",
            *(f"{m}:00;6,0" for m in range(11, 40)),
            head="Time min:s;Core °C",
        )
    )
    found = {issue.kind: list(issue.rows) for issue in log.issues}
    assert found == {
        "torn row": [10],
        "no reading": [5],
        "unreadable": [6],
        "no time": [13],
        "reversed time": [14],
        "repeated time": [8],
        "gap": [15],
        "spike": [9],
        "impossible": [16],
    }
    assert list(rows_with(log, "spike")) == [9] and len(log.faults) == 9
    assert all(f"row {fault.row}" in str(fault) for fault in log.faults)
    time_s, core = log.channel()
    assert (
        time_s.size == core.size == log.usable.sum() and np.isfinite(core).all() and core.max() < 7
    )
    kept = set(log.row)
    lost = {10, 13, 14, 8}
    assert kept | lost | {4} >= set(range(2, 17)) and not kept & lost


@given(
    st.lists(
        st.sampled_from(["ok", "empty", "word", "torn", "notime", "back", "same"]),
        min_size=30,
        max_size=80,
    )
)
def test_no_row_is_lost_silently(kinds):
    """Every data row of the file is a reading or stands in an issue, whatever is wrong with it."""
    lines, t = ["0;1.0", "10;1.1"], 10
    for kind in kinds:
        t += 10
        lines.append(
            {
                "ok": f"{t};1.0",
                "empty": f"{t};",
                "word": f"{t};bad",
                "torn": f"{t};1;2;3",
                "notime": "?;1.0",
                "back": f"{t - 15};1.0",
                "same": f"{t - 10};1.0",
            }[kind]
        )
    try:
        log = read_log(rows(*lines, head="Time s;Core °C"))
    except Faulty as cause:
        assert "goes back" in str(cause)
        return
    told = set(log.row) | {row for issue in log.issues for row in issue.rows}
    assert told == set(range(2, 2 + len(lines)))
    assert (np.diff(log.time_s) > 0).all()


def test_a_clock_that_passes_midnight():
    log = read_log(rows("23:59:00;2", "23:59:30;3", "00:00:00;4", "00:00:30;5"))
    assert log.time_s == pytest.approx([0, 30, 60, 90]) and list(
        rows_with(log, "day rollover")
    ) == [4]
    assert any("passes midnight 1 time" in line for line in log.understood) and not log.faults


def test_newest_first_is_turned_round():
    log = read_log(rows("90;6.5", "60;4", "30;3.5", "0;2", head="Time s;Core °C"))
    assert log.time_s == pytest.approx([0, 30, 60, 90]) and list(log.row) == [5, 4, 3, 2]
    assert any("turned round" in line for line in log.understood)


def test_stamps_to_the_minute_are_spread():
    stamps = [
        f"2024-05-31 08:{m:02d};{2 + 0.1 * (4 * m + k):.1f}" for m in range(5) for k in range(4)
    ]
    log = read_log(rows(*stamps))
    assert log.time_s == pytest.approx(np.arange(20) * 15.0) and any(
        "spread evenly" in line for line in log.understood
    )


def test_unit_in_single_cells_is_converted_and_listed():
    log = read_log(rows("0;2.0 C", "30;38.3 F", "60;4.0 C", head="time s;core"))
    assert list(rows_with(log, "unit change")) == [3] and log.temperature_C[1, 0] == pytest.approx(
        3.5
    )


def test_smooth_fast_rise_and_noise_are_no_spikes():
    t = np.arange(0, 600, 5)
    rise = 2 + 70 * (1 - np.exp(-t / 60)) + np.random.default_rng(0).normal(0, 0.3, t.size)
    log = read_log(rows(*(f"{a};{b:.2f}" for a, b in zip(t, rise)), head="time s;core °C"))
    assert log.usable.all() and not log.issues


@pytest.mark.parametrize(
    "text, question, more",
    [
        (rows("08:15;2", "08:16;3"), "hours and minutes or minutes and seconds.*time='h:min'", {}),
        (rows("0;2", "1;3"), "not in which unit.*time='s'", {}),
        (rows("0;2", "1;3", head="Time s;Core"), "unit of column 'Core' is not written.*unit=", {}),
        (
            rows("01/02/2024 08:00:00;2", "02/02/2024 08:00:30;3"),
            "day/month or month/day.*day_first",
            {},
        ),
        (rows("13/02/2024 08:00:00;2", "02/13/2024 08:00:30;3"), "day first in some rows", {}),
        (
            rows("0;12,5", "30;13.5", "60;14,5", head="Time s;Core °C"),
            "decimal commas and others decimal points",
            {},
        ),
        (
            rows("0;1,250", "30;1,300", head="Time s;Core °C"),
            "decimals or thousands.*decimal_comma",
            {},
        ),
        (
            rows("0;2", "30;3", head="Time s;Core °C"),
            "the file says °C but unit='°F'",
            dict(unit="°F"),
        ),
        (
            rows("0;2;3", "30;3;4", head="Time s;alpha;beta"),
            "no column is known as a temperature.*channels=",
            {},
        ),
        (rows("0;50", "30;51", head="Time s;RH %"), "no column of temperatures", {}),
        (
            rows("0;2", "30;3", head="foo;Core °C"),
            "no column is known as the time.*time_column",
            {},
        ),
        (
            rows("2024-05-31;2", "2024-06-01;3", head="Date;Core °C"),
            "dates without a time of day",
            {},
        ),
        ("nothing here\nat all\n", "no table of times and temperatures", {}),
        ("missing_file.csv", "cannot be opened .No such file", {}),
        (
            rows(
                "0;2", "30;2", "60;4", "0;4", "30;5", "60;6", "90;6", "120;7", head="Time s;Core °C"
            ),
            "time goes back in 2 of 8 rows.*split the file",
            {},
        ),
        (
            rows(
                *(f"{10 * k};{2 + k / 10 if k < 5 else 36.3 + k / 10}" for k in range(12)),
                head="Time s;Core °C",
            ),
            "as if °C turned to °F.*split the file",
            {},
        ),
        (
            rows("0;x", "30;y", "60;1", "70;x", "80;x", head="Time s;Core °C"),
            "no column is known|no column of",
            {},
        ),
    ],
)
def test_it_asks_what_it_cannot_tell(text, question, more):
    with pytest.raises(Faulty) as caught:
        read_log(text, **more)
    import re

    assert re.search(question, str(caught.value), re.S), str(caught.value)
    assert all(fault.remedy for fault in caught.value.faults)


@pytest.mark.parametrize(
    "text, more, seconds",
    [
        (rows("08:15;2", "08:16;3"), dict(time="h:min"), 60),
        (rows("08:15;2", "08:16;3"), dict(time="min:s"), 1),
        (rows("0;2", "1;3"), dict(time="min"), 60),
        (rows("01/02/2024 08:00:00;2", "02/02/2024 08:00:00;3"), dict(day_first=True), 86_400),
        (
            rows("01/02/2024 08:00:00;2", "02/02/2024 08:00:00;3"),
            dict(day_first=False),
            31 * 86_400,
        ),
        (rows("59:30;2", "60:30;3"), {}, 60),
        (rows("0,5;2", "1,0;3", head="min;Core °C"), {}, 30),
        (rows("1,000;2.5", "1,030;3.5", head="Time s;Core °C"), dict(decimal_comma=False), 30),
    ],
)
def test_answers_to_its_questions_are_taken(text, more, seconds):
    assert read_log(text, **more).time_s[-1] == pytest.approx(seconds)


def test_unknown_answers_offer_the_nearest():
    for more in (
        dict(unit="C"),
        dict(time="seconds"),
        dict(time_column="tim"),
        dict(channels=["kore"]),
    ):
        with pytest.raises(UnknownName):
            read_log(SIMPLE, **more)


def test_a_decimal_point_in_a_file_of_decimal_commas_is_not_ten_times_as_much():
    many = [f"{k};2,5" for k in range(5000)]
    many[4321] = "4321;2.5"
    log = read_log(rows(*many, head="Time s;Core °C"), decimal_comma=True)
    assert list(rows_with(log, "unreadable")) == [4323] and np.nanmax(log.temperature_C) == 2.5


def test_large_logs_are_read_whole():
    """The fast way for even stamps gives what the slow way gives."""
    t = pd.date_range("2024-05-31 22:00:00", periods=60_000, freq="s")
    even = io.StringIO()
    pd.DataFrame(
        {
            "Stamp": t.strftime("%d.%m.%Y %H:%M:%S"),
            "Core °C": np.round(20 + 5 * np.sin(np.arange(60_000) / 3000), 2),
        }
    ).to_csv(even, sep=";", decimal=",", index=False)
    slow = even.getvalue().replace(" 0", "  0")
    a, b = read_log(even.getvalue()), read_log(slow)
    assert (
        a.time_s.size == 60_000
        and a.time_s[-1] == 59_999
        and np.array_equal(a.time_s, b.time_s)
        and np.array_equal(a.temperature_C, b.temperature_C)
    )


def test_every_kind_of_issue_has_words():
    assert all(len(words) > 10 for words in KINDS.values())


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_space_inside_a_stamp_does_not_part_columns_even_where_cells_are_empty(separator):
    rows = ["when,core °C,air °C"] + [
        f"2031-03-04 07:{n:02d}:00,{'' if n % 3 == 1 else 5 + n},{'' if n % 2 else 60 + n}"
        for n in range(40)
    ]
    reading = read_log("\n".join(rows).replace(",", separator) + "\n")
    assert len(reading.channels) == 2
    assert reading.time_s.tolist() == [60.0 * n for n in range(40)]
    assert (
        np.nanmax(reading.temperature_C[:, 0]) == 5 + 39
        and np.nanmax(reading.temperature_C[:, 1]) == 60 + 38
    )


APART = [[0, 60, 120, 180], [15, 75, 135, 195]], [[10, 12, 14, 16], [11, 13, 15, 17]]
"""two channels that are never read at the same moment: seconds, then °C"""


def _stamp(s):
    return f"{8 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"


@pytest.mark.parametrize(
    "lines, says",
    [
        (
            [
                "Time A,Core A °C,Time B,Core B °C",
                *(f"{_stamp(a)},{x},{_stamp(b)},{y}" for a, b, x, y in zip(*APART[0], *APART[1])),
            ],
            "Core B °C by its own clock, column 'Time B'",
        ),
        (
            [
                "Time A s,Core A °C,Time B s,Core B °C",
                *(f"{a},{x},{b},{y}" for a, b, x, y in zip(*APART[0], *APART[1])),
            ],
            "start at the same moment",
        ),
        (
            [
                "Time s,Core A °C,Core B °C",
                *(
                    line
                    for a, b, x, y in zip(*APART[0], *APART[1])
                    for line in (f"{a},{x},", f"{b},,{y}")
                ),
            ],
            "Core A °C in 4 of 8 rows",
        ),
        (
            [
                "Time s,Channel,Temp °C",
                *(
                    line
                    for a, b, x, y in zip(*APART[0], *APART[1])
                    for line in (f"{a},Core A °C,{x}", f"{b},Core B °C,{y}")
                ),
            ],
            "'Channel' names the channel",
        ),
        (
            [
                "Time s,Sensor,Temp °C",
                *(f"{a},Core A °C,{x}" for a, x in zip(APART[0][0], APART[1][0])),
                *(f"{b},Core B °C,{y}" for b, y in zip(APART[0][1], APART[1][1])),
            ],
            "'Sensor' names the channel",
        ),
    ],
)
def test_channels_that_are_read_at_different_times_keep_their_own(lines, says):
    log = read_log("\n".join(lines) + "\n")
    assert log.channels == ("Core A °C", "Core B °C") and says in " / ".join(log.understood)
    for name, seconds, degrees in zip(log.channels, *APART):
        t, x = log.channel(name)
        assert t.tolist() == seconds and x.tolist() == degrees
    assert (
        (np.diff(log.time_s) > 0).all() and not log.issues and len(log.row) == len(log.time_s) == 8
    )


def test_clocks_of_one_night_keep_together_where_one_starts_after_midnight():
    log = read_log(
        "Time A,Core A °C,Time B,Core B °C\n23:59:30,10,00:00:15,11\n00:00:30,12,00:01:15,13\n00:01:30,14,,\n"
    )
    assert log.channel("Core A °C")[0].tolist() == [0, 60, 120] and log.channel("Core B °C")[
        0
    ].tolist() == [45, 105]
    assert list(rows_with(log, "day rollover")) == [3] and not len(rows_with(log, "no time"))


@pytest.mark.parametrize(
    "head, cells, question",
    [
        (
            "Time,House °C,Elapsed,Core °C",
            ("08:0{n}:00,60,00:0{n}:00,1{n}"),
            "'Time' and 'Elapsed' never run together",
        ),
        (
            "Time,House °C,Seconds,Core °C",
            ("08:0{n}:00,60,{n}0,1{n}"),
            "one time column holds a clock and another counts from zero",
        ),
    ],
)
def test_two_clocks_that_do_not_belong_together_are_asked_about(head, cells, question):
    text = "\n".join([head, *(cells.format(n=n) for n in range(5))]) + "\n"
    with pytest.raises(Faulty, match=question):
        read_log(text)
    assert read_log(text, time_column="Time").temperature_C.shape == (5, 2)


@pytest.mark.parametrize(
    "lines",
    [
        [
            "Time s,Stage name,Core °C",
            *(f"{60 * n},{'dry' if n < 5 else 'cook'},{10 + n}" for n in range(10)),
        ],
        ["Time s,Location,Core °C", *(f"{60 * n},middle,{10 + n}" for n in range(10))],
        ["Time s,Probe °C,House °C", *(f"{60 * n},{10 + n // 3},60.5" for n in range(30))],
    ],
)
def test_a_column_that_only_accompanies_the_readings_splits_nothing(lines):
    log = read_log("\n".join(lines) + "\n")
    assert len(log.time_s) == len(lines) - 1 and np.isfinite(log.temperature_C).all()


@pytest.mark.parametrize(
    "text",
    [
        "Time s,Core °C\r0,2\r30,3\r60,4\r",
        "Time s,Core °C\r\n0,2\r\n30,3\r\n60,4\r\n",
        "Time s,Core °C\n0,2\r\n30,3\n60,4",
    ],
)
def test_line_ends_of_every_kind(text):
    for source in (text, text.encode()):
        log = read_log(source)
        assert log.time_s.tolist() == [0, 30, 60] and list(log.row) == [2, 3, 4]


@pytest.mark.parametrize(
    "source", [b"", b" \n \n", "\n\n", bytes(range(256)) * 20, b"Time s,Core \xc2\xb0C\n"]
)
def test_an_empty_log_and_one_that_is_no_text_are_told(source):
    with pytest.raises(Faulty, match="empty|no table|no column|not text"):
        read_log(source)


def test_equal_column_names_are_numbered_and_all_used():
    log = read_log(
        "Time s,Core °C,Core °C,Core °C\n"
        + "".join(f"{60 * n},{70 + n},{60 + n},{50 + n}\n" for n in range(6))
    )
    assert log.channels == ("Core °C", "Core °C (2)", "Core °C (3)")
    assert [log.channel(name)[1][0] for name in log.channels] == [70, 60, 50]
    assert any("3 columns are called 'Core °C'" in line for line in log.understood)
    assert read_log("time (s),temp_C,temp_C,temp_C (1)\n0,1,2,3\n60,1,2,3\n").channels == (
        "temp_C",
        "temp_C (2)",
        "temp_C (1)",
    )
    twice = read_log("Time s,T,T\n0,1,2\n60,3,4\n", unit="°C")
    assert twice.channels == ("T", "T (2)") and twice.temperature_C[1].tolist() == [3, 4]


@pytest.mark.parametrize(
    "stamps",
    [
        [
            "2024-10-27T02:59:00+02:00",
            "2024-10-27T02:59:30+02:00",
            "2024-10-27T02:00:00+01:00",
            "2024-10-27T02:00:30+01:00",
        ],
        [
            "2024-03-31 01:59:00 +0100",
            "2024-03-31 01:59:30 +0100",
            "2024-03-31 03:00:00 +0200",
            "2024-03-31 03:00:30 +0200",
        ],
        [
            "2024-11-03 01:59:00-05",
            "2024-11-03 01:59:30-05",
            "2024-11-03 01:00:00-06",
            "2024-11-03 01:00:30-06",
        ],
        [
            "27/10/2024 00:59:00Z",
            "27/10/2024 00:59:30Z",
            "27/10/2024 02:00:00 UTC+1",
            "27/10/2024 01:00:30 GMT",
        ],
    ],
)
def test_offsets_from_utc_are_honoured_over_a_change_of_the_clock(stamps):
    """Checked by the standard library's own reading of ISO 8601 where it can read the stamp."""
    from datetime import datetime

    log = read_log("Stamp,Core °C\n" + "\n".join(f"{s},{n}.0" for n, s in enumerate(stamps)) + "\n")
    assert (
        log.time_s.tolist() == [0, 30, 60, 90] and not log.issues and log.first_stamp == stamps[0]
    )
    if "T" in stamps[0] and stamps[0][4] == "-":
        read = [datetime.fromisoformat(s).timestamp() for s in stamps]
        assert [t - read[0] for t in read] == log.time_s.tolist()


@pytest.mark.parametrize(
    "stamps",
    [
        ["31 May 2024 23:59:30", "1 June 2024 00:00:00", "1 June 2024 00:00:30"],
        ["31-Mai-24 23:59:30", "01-Jun-24 00:00:00", "01-Jun-24 00:00:30"],
        ['"Dec 31, 2024 11:59:30 PM"', '"Jan 1, 2025 12:00:00 AM"', '"Jan 1, 2025 12:00:30 AM"'],
        ["31. Dez. 2024 23:59:30", "1. Jan. 2025 00:00:00", "1. Jan. 2025 00:00:30"],
        ["Fri 31 May 2024 23:59:30", "Sat 1 Jun 2024 00:00:00", "Sat 1 Jun 2024 00:00:30"],
    ],
)
def test_names_of_months_are_read(stamps):
    log = read_log("Stamp,Core °C\n" + "\n".join(f"{s},{n}.0" for n, s in enumerate(stamps)) + "\n")
    assert log.time_s.tolist() == [0, 30, 60] and not log.issues


@pytest.mark.parametrize(
    "rows_, question, answer",
    [
        (
            ["30 kesä 2024 23:59:30;1", "1 heinä 2024 00:00:00;2", "1 heinä 2024 00:00:30;3"],
            "month .*months=",
            {"months": "tammi helmi maalis huhti touko kesä heinä elo syys loka marras joulu"},
        ),
        (
            ["30 Nov 23:59:30;1", "1 Dec 00:00:00;2", "1 Dec 00:00:30;3"],
            "no year.*year=2024",
            {"year": 2023},
        ),
        (
            ["10/31 23:59:30;1", "11/01 00:00:00;2", "11/01 00:00:30;3"],
            "no year.*year=2024",
            {"year": 2024},
        ),
        (
            ["06/05 23:59:30;1", "07/05 00:00:00;2", "07/05 00:00:30;3"],
            "no year.*year=2024",
            {"year": 2024, "day_first": True},
        ),
    ],
)
def test_a_question_about_the_date_has_a_name_and_its_answer_is_taken(rows_, question, answer):
    import re

    text = "Stamp;Core °C\n" + "\n".join(rows_) + "\n"
    with pytest.raises(Faulty) as asked:
        read_log(text)
    assert re.search(question, str(asked.value), re.S)
    log = read_log(text, **answer)
    assert (
        log.time_s.tolist() == [0, 30, 60]
        and log.temperature_C[:, 0].tolist() == [1, 2, 3]
        and not log.issues
    )


def test_days_without_a_year_in_a_column_of_their_own():
    text = "Date;Clock;Core °C\n31 May;23:59:30;1\n1 Jun;00:00:00;2\n1 Jun;00:00:30;3\n"
    with pytest.raises(Faulty, match="no year"):
        read_log(text)
    log = read_log(text, year=2024)
    assert log.time_s.tolist() == [0, 30, 60] and log.first_stamp == "31 May 23:59:30"


def test_dates_without_a_year_that_pass_the_new_year_are_not_taken_for_one_log():
    text = "Stamp;Core °C\n31.12. 23:59:30;1\n01.01. 00:00:00;2\n01.01. 00:00:30;3\n"
    with pytest.raises(Faulty, match="time goes back"):
        read_log(text, year=2024)


def test_wrong_answers_about_the_date_are_told():
    for more, says in (({"months": "jan feb"}, "months names 2"), ({"year": 24}, "year is 24")):
        with pytest.raises(OutOfRange, match=says):
            read_log(SIMPLE, **more)


def test_the_start_is_the_earliest_reading_with_its_date():
    log = read_log(
        "Date;Time;Core °C\n2024-05-31;08:01:00;4\n2024-05-31;08:00:30;3\n2024-05-31;08:00:00;2\n"
    )
    assert log.first_stamp == "2024-05-31 08:00:00"


@pytest.mark.parametrize("signs", [200, 5_000, 140_000, 3_000_000])
@pytest.mark.parametrize(
    "place", ["header", "preamble", "time", "clock", "stamp", "reading", "label", "quoted"]
)
def test_a_very_long_cell_gives_a_fault_or_a_listed_reading(place, signs):
    """Digits and letters in turn: a number of 5,000 digits stops some readers, a cell of 131,073 signs others."""
    for sign in "9a":
        long = sign * signs
        lines = [f"{60 * n};{10 + n}" for n in range(6)]
        head = "Time s;Core °C"
        if place == "header":
            head = f"Time s;Core {long} °C"
        elif place == "preamble":
            head = f"{long}\n{head}"
        elif place in ("time", "reading", "quoted"):
            lines[3] = {"time": f"{long};13", "reading": f"180;{long}", "quoted": f'180;"{long}'}[
                place
            ]
        elif place == "clock":
            head, lines = (
                "Time;Core °C",
                [f"08:0{n};{10 + n}" for n in range(5)] + [f"{long}:00;16"],
            )
        elif place == "stamp":
            head, lines = (
                "Time;Core °C",
                [f"2024-05-31 08:0{n};{10 + n}" for n in range(5)] + [f"{long} 08:05;16"],
            )
        else:
            head, lines = (
                "Time s;Channel;°C",
                [f"{60 * n};{'a' if n % 2 else long};{10 + n}" for n in range(6)],
            )
        try:
            log = read_log(head + "\n" + "\n".join(lines) + "\n")
        except Faulty as caught:
            assert all(fault.remedy for fault in caught.faults) and len(str(caught)) < 20_000
        else:
            assert place in ("header", "preamble", "label") or log.issues


@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("Heure;Temp. à coeur °C;Temps cycle;Humidité chambre temp", "Temp. à coeur °C"),
        ("Ora;T. cuore °C;Tempo ciclo;Umidità camera temp", "T. cuore °C"),
        ("Hora;T. núcleo °C;Tiempo ciclo;Humedad cámara temp", "T. núcleo °C"),
    ],
)
def test_a_cycle_time_and_a_humidity_are_no_temperature_in_other_languages(header, channel):
    rows = "".join(f"10:{n:02d}:00;{20 + n};{n};{60 + n}\n" for n in range(30))
    log = read_log(f"{header}\n{rows}")
    assert log.channels == (channel,) and log.temperature_C[-1, 0] == 49
