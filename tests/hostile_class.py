"""Result files as a class hands them in on a bad day. Each says which tubes must come out as they were weighed, and where a fault must point.

`accused(file, results)` gives what is silent or half said; the list is empty where all is well.
"""

import csv
import io
import random
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from openpyxl import Workbook, load_workbook

from kit.classroom.codes import code
from kit.reading.class_book import BATTERS, TUBES, station_book
from kit.reading.class_plan import read_plan
from kit.reading.class_results import read_results
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
WEIGHTS = ("empty_g", "filled_g", "after_g")
UNITS = {
    "oz": ("ounces", 1 / 28.349523125),
    "kg": ("kilograms", 1e-3),
    "lb": ("pounds", 1 / 453.59237),
}


@dataclass
class Bad:
    """One hand-in. `spoilt`: (station, batter, tube) or (station, batter) that may not come out unasked; `said`: words that a fault or finding of it holds."""

    kind: str
    files: list[tuple[str, bytes]]
    stations: tuple[int, ...]
    spoilt: set[tuple] = field(default_factory=set)
    said: tuple[str, ...] = ()
    cell: bool = False
    """the fault is one of a cell: it has a row, a column and, in a workbook, a sheet"""
    whole: bool = False
    """the whole file is refused: nothing of it may come out"""


@lru_cache(maxsize=8)
def weighed(station: int) -> dict[tuple, dict[str, float]]:
    """What station `station` weighed, by tube; end temperatures by batter."""
    rng, found = random.Random(station), {}
    for u in (u for u in PLAN.design.units if u.station == station):
        found[station, u.batter] = {"end_C": PLAN.question.treatments[u.treatment][0] + 0.3}
        for n, goal in enumerate(u.fills_g, 1):
            empty, net = 13 + rng.uniform(-0.2, 0.2), goal + rng.uniform(-0.3, 0.3)
            after = empty + net * (1 - (0.08 + 0.02 * u.treatment + rng.gauss(0, 0.006)))
            its = zip(WEIGHTS, (empty, empty + net, after))
            found[station, u.batter, n] = {name: round(g, 2) for name, g in its}
    return found


def book(station: int, change=lambda tubes, batters: None) -> bytes:
    """The station's workbook, filled in, then changed by hand."""
    whole = load_workbook(io.BytesIO(station_book(PLAN, station)))
    tubes, batters = whole[TUBES], whole[BATTERS]
    for tab, keys in ((tubes, ("station", "batter", "tube")), (batters, ("station", "batter"))):
        at = {cell.value: cell.column for cell in tab[1]}
        for row in range(2, tab.max_row + 1):
            key = tuple(tab.cell(row, at[name]).value for name in keys)
            for name, value in weighed(station).get(key, {}).items():
                tab.cell(row, at[name]).value = value
    change(tubes, batters)
    out = io.BytesIO()
    whole.save(out)
    return out.getvalue()


def table(station: int) -> list[list[str]]:
    """The same as rows of text, tubes alone."""
    rows = [["plan", "code", *WEIGHTS, "note"]]
    for key, its in weighed(station).items():
        if len(key) == 3:
            rows.append([PLAN.fingerprint, code(*key), *(f"{its[n]:.2f}" for n in WEIGHTS), ""])
    return rows


def text(rows, mark=",", encoding="utf-8") -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=mark).writerows(rows)
    return out.getvalue().encode(encoding)


def _place(rng, station):
    """(row of the sheet, key) of some tube."""
    keys = [key for key in weighed(station) if len(key) == 3]
    n = rng.randrange(len(keys))
    return n + 2, keys[n]


def _in_cell(rng, station, as_text=True):
    """(weight, row, key): where something goes wrong."""
    row, key = _place(rng, station)
    return rng.choice(WEIGHTS), row, key


def cell(kind, entries, said, *, of_book=True, of_text=True):
    """Something that stands in one weight's cell."""

    def make(rng, station):
        name, row, key = _in_cell(rng, station)
        entry = rng.choice(entries)
        entry = entry(weighed(station)[key][name]) if callable(entry) else entry
        if of_book and (rng.random() < 0.5 or not of_text):

            def change(tubes, _):
                place = next(c.column for c in tubes[1] if c.value == name)
                tubes.cell(row, place).value = entry

            files = [(f"station_{station:02d}.xlsx", book(station, change))]
        else:
            rows = table(station)
            rows[row - 1][2 + WEIGHTS.index(name)] = str(entry)
            files = [(f"s{station}.csv", text(rows))]
        return Bad(kind, files, (station,), {key}, (*said, name), cell=True)

    return make


def _unit(rng, station):
    """One tube or the whole station weighed in another unit."""
    unit = rng.choice(tuple(UNITS))
    words, factor = UNITS[unit]
    rows, keys = table(station), [key for key in weighed(station) if len(key) == 3]
    chosen = keys if rng.random() < 0.5 else [rng.choice(keys)]
    for row, key in zip(rows[1:], keys):
        if key in chosen:
            row[2:5] = [f"{weighed(station)[key][n] * factor:.6f}" for n in WEIGHTS]
    return Bad(
        f"weights in {unit}", [(f"s{station}.csv", text(rows))], (station,), set(chosen), (words,)
    )


def _filled_in_unit(rng, station):
    """Only the filled weight in another unit."""
    unit = rng.choice(tuple(UNITS))
    rows, (row, key) = table(station), _place(rng, station)
    rows[row - 1][3] = f"{weighed(station)[key]['filled_g'] * UNITS[unit][1]:.5f}"
    return Bad(
        f"one weight in {unit}",
        [(f"s{station}.csv", text(rows))],
        (station,),
        {key},
        (UNITS[unit][0],),
    )


def _fahrenheit(rng, station):
    batter = rng.choice((1, 2))

    def change(_, batters):
        place = next(c.column for c in batters[1] if c.value == "end_C")
        value = batters.cell(batter + 1, place)
        value.value = round(value.value * 1.8 + 32, 1)

    files = [(f"station_{station:02d}.xlsx", book(station, change))]
    return Bad("°F", files, (station,), {(station, batter)}, ("°F",))


def _merged(rng, station):
    _, row, key = _in_cell(rng, station)
    row = min(row, 6)
    keys = [key for key in weighed(station) if len(key) == 3][row - 2 : row]

    def change(tubes, _):
        tubes.merge_cells(start_row=row, end_row=row + 1, start_column=8, end_column=8)

    return Bad(
        "merged",
        [(f"station_{station:02d}.xlsx", book(station, change))],
        (station,),
        set(keys),
        ("merged|missing",),
    )


def _shifted(rng, station):
    """Weights one row too low, or one column too far to the right."""
    rows = table(station)
    keys = [key for key in weighed(station) if len(key) == 3]
    if rng.random() < 0.5:
        down = [row[2:5] for row in rows[1:]]
        for row, its in zip(rows[1:], [*down[-1:], *down[:-1]]):
            row[2:5] = its
        return Bad(
            "rows shifted",
            [(f"s{station}.csv", text(rows))],
            (station,),
            set(keys),
            ("other tubes",),
        )
    row, key = _place(rng, station)
    rows[row - 1][2:] = ["", *rows[row - 1][2:5]]
    return Bad(
        "a row shifted", [(f"s{station}.csv", text(rows))], (station,), {key}, ("missing|filled",)
    )


def _other_class(rng, station):
    rows = table(station)
    for row in rows[1:]:
        row[0] = "0ddc1a55"
    return Bad(
        "other class",
        [(f"s{station}.csv", text(rows))],
        (station,),
        said=("another plan", "plan"),
        cell=True,
        whole=True,
    )


def _twice(rng, station):
    rows, (row, key) = table(station), _place(rng, station)
    again = [list(one) for one in rows]
    if rng.random() < 0.5:
        files = [(f"s{station}.csv", text(rows)), (f"s{station}_copy.csv", text(again))]
        return Bad("handed in twice", files, (station,))
    again[row - 1][3] = f"{weighed(station)[key]['filled_g'] + 0.5:.2f}"
    files = [(f"s{station}.csv", text(rows)), (f"s{station}_copy.csv", text(again))]
    return Bad("twice with other numbers", files, (station,), {key}, ("twice", "code"), cell=True)


def _script(rng, station):
    bad = rng.choice(
        (
            "<script>alert(1)</script>",
            "=cmd|' /C calc'!A0",
            '<img src=x onerror="alert(1)">',
            "@SUM(1)",
            "{{7*7}}",
        )
    )
    rows, (row, key) = table(station), _place(rng, station)
    place = rng.choice((1, 3, 5))
    rows[row - 1][place] = bad
    files = [(f"s{station}.csv", text(rows))]
    if place == 5:
        return Bad("script in a note", files, (station,))
    return Bad(
        "script in a cell", files, (station,), {key}, (("code", "filled_g")[place == 3],), cell=True
    )


def _whole(kind, content, said, name="x.csv"):
    def make(rng, station):
        its = content(rng, station) if callable(content) else content
        return Bad(kind, [(name, its)], (), said=said, whole=True)

    return make


def _code(rng, station):
    rows, (row, key) = table(station), _place(rng, station)
    good = code(*key)
    entry = rng.choice(
        (
            good[:-1] + str((int(good[-1]) + 1) % 10),
            code(9, 1, 1),
            "17.03.2",
            "MAR1",
            "",
            "S03",
            good[:2] + "9" + good[3:],
        )
    )
    rows[row - 1][1] = entry
    return Bad(
        "wrong code", [(f"s{station}.csv", text(rows))], (station,), {key}, ("code",), cell=True
    )


def _header(rng, station):
    rows, name = table(station), rng.choice(WEIGHTS)
    rows[0][2 + WEIGHTS.index(name)] = rng.choice(("weight", "Gewicht", "x", ""))
    return Bad(
        "a column renamed",
        [(f"s{station}.csv", text(rows))],
        (station,),
        {k for k in weighed(station) if len(k) == 3},
        (name,),
    )


def _after_above(rng, station):
    rows, (row, key) = table(station), _place(rng, station)
    its = rows[row - 1]
    if rng.random() < 0.5:
        its[3], its[4] = its[4], its[3]
        return Bad(
            "after above filled",
            [(f"s{station}.csv", text(rows))],
            (station,),
            {key},
            ("after", "after_g"),
            cell=True,
        )
    its[2], its[3] = its[3], its[2]
    return Bad(
        "empty above filled",
        [(f"s{station}.csv", text(rows))],
        (station,),
        {key},
        ("not above empty", "filled_g"),
        cell=True,
    )


def _harmless(rng, station):
    """Forms that must be read as they were meant."""
    rows = table(station)
    how = rng.randrange(8)
    if how == 0:
        rows = [
            [one.replace(".", ",") if n > 1 else one for n, one in enumerate(row)] for row in rows
        ]
        files = [(f"s{station}.csv", text(rows, ";"))]
    elif how == 1:
        files = [(f"s{station}.tsv", text(rows, "\t"))]
    elif how == 2:
        order = list(range(6))
        rng.shuffle(order)
        files = [(f"s{station}.csv", text([[row[n] for n in order] for row in rows]))]
    elif how == 3:
        files = [(f"s{station}.csv", b"\xef\xbb\xbf" + text(rows))]
    elif how == 4:
        rows = [
            rows[0],
            *(
                [row[0], row[1].lower().replace("-", " "), *(f" {g} g " for g in row[2:5]), ""]
                for row in rows[1:]
            ),
        ]
        files = [(f"s{station}.csv", text(rows))]
    elif how == 5:
        files = [(f"s{station}.csv", text([["Class 17", *[""] * 5], [""] * 6, *rows]))]
    elif how == 6:
        rng.shuffle(body := rows[1:])
        files = [
            (f"s{station}.csv", text([rows[0], *body[:3]])),
            (f"t{station}.csv", text([rows[0], *body[3:]])),
        ]
    else:
        files = [(f"station_{station:02d}.xlsx", book(station))]
    return Bad("another form", files, (station,))


def _many(rng, station):
    """One tube thousands of times, each with other numbers."""
    row, key = _place(rng, station)
    more = [["", code(*key), "13", f"{40 + n / 1000:.3f}", "38", ""] for n in range(4500)]
    return Bad(
        "one tube thousands of times",
        [("x.csv", text([*table(station), *more]))],
        (station,),
        {key},
        ("twice", "code"),
        cell=True,
    )


def _empty_book(rng, station):
    out, whole = io.BytesIO(), Workbook()
    whole.save(out)
    return out.getvalue()


MAKERS = (
    _harmless,
    cell("text in a cell", ("about 40", "forty", "43..1", "4 3.1", "n/a", "?", "４３", "1e400", "NaN", "inf", "-"), ()),
    cell("a date in a cell", (datetime(2026, 3, 4), datetime(2026, 10, 1, 12)), ("date",), of_text=False),
    cell("a date as text", ("2026-03-04", "4. Mar", "04/03/2026"), ()),
    cell("another unit beside it", (lambda g: f"{g / 1000:.5f} kg", lambda g: f"{g / 28.35:.3f} oz", lambda g: f"{g} ml"), ("unit",)),
    cell("a comma that may group", (lambda g: f"1,{g * 10:03.0f}",), ("comma",), of_book=False),
    cell("a formula", (lambda g: f"={g}+0", "=SUM(A1:A3)", "=1/0"), ()),
    cell("an error of a spreadsheet", ("#DIV/0!", "#REF!", "#VALUE!", "#N/A"), ()),
    cell("a truth value", (True, False), (), of_text=False),
    cell("below zero", (lambda g: -g,), ()),
    _unit,
    _unit,
    _filled_in_unit,
    _fahrenheit,
    _merged,
    _shifted,
    _other_class,
    _twice,
    _script,
    _code,
    _header,
    _after_above,
    _whole("empty", b"", ("empty|nothing|no table",)),
    _whole("blank lines", b"\n\n , ,\n", ("no table|empty",)),
    _whole("another table", b"name,age\nx,3\n", ("no table",)),
    _whole("an empty workbook", _empty_book, ("no table|empty|nothing",), "x.xlsx"),
    _whole("no workbook", lambda rng, s: bytes(rng.randrange(256) for _ in range(900)), ("",), "x.xlsx"),
    _whole("half a workbook", lambda rng, s: book(s)[: rng.randrange(200, 4000)], ("workbook|read",), "x.xlsx"),
    _whole("bytes that are no text", lambda rng, s: bytes(rng.randrange(128, 256) for _ in range(500)), ("",)),
    _whole("too big", lambda rng, s: text(table(s)) + b"x,y\n" * 2_600_000, ("large|big|MB|bytes",)),
    _many,
    _whole("another form of file", lambda rng, s: b"%PDF-1.4", ("no table",), "x.pdf"),
)  # fmt: skip


def hostile(count: int, seed: int):
    """`count` hand-ins, every kind in turn."""
    rng = random.Random(seed)
    for n in range(count):
        yield MAKERS[n % len(MAKERS)](rng, rng.randint(1, 8))


def accused(bad: Bad) -> list[str]:
    """What is silent, or said without its place, its value or a remedy."""
    found = read_results(bad.files, PLAN)
    wrong, told = (
        [],
        {tuple(key) for one in found.findings if one.kind != "missing" for key in one.keys},
    )
    missing = {tuple(key) for one in found.findings if one.kind == "missing" for key in one.keys}
    out = {t.key: t for t in found.tubes}
    truth = {key: its for s in bad.stations for key, its in weighed(s).items() if len(key) == 3}
    for key, its in truth.items():
        right = key in out and all(getattr(out[key], n) == its[n] for n in WEIGHTS)
        mine = key in bad.spoilt or key[:2] in bad.spoilt
        if not right and not mine and not bad.whole:
            wrong.append(
                f"{key} does not come out as it was weighed, though nothing was wrong with it"
            )
        if (
            not right
            and key in out
            and key not in told
            and not (out[key].whole is False and key in missing)
        ):
            wrong.append(f"{key} comes out changed, and nothing says so")
    if bad.whole and out:
        wrong.append("something of a file that cannot be used comes out")
    said = [str(one) for one in found.faults] + [
        f"{one.kind} {one.evidence}" for one in found.findings
    ]
    for words in bad.said:
        if not any(word in line for line in said for word in words.split("|")):
            wrong.append(f"nothing says {words!r}; said: {said[:3]}")
    if (bad.spoilt or bad.whole) and not found.faults and not found.findings:
        wrong.append("silent")
    names = {name for name, _ in bad.files}
    for one in found.faults:
        if not one.file or one.file not in names or not one.remedy or not one.what:
            wrong.append(f"a fault without its file or a remedy: {one!r}")
        if bad.cell and (one.row is None or not one.column):
            wrong.append(f"a fault of a cell without its row or column: {one!r}")
        if bad.cell and one.file.endswith("xlsx") and not one.sheet:
            wrong.append(f"a fault of a workbook without its sheet: {one!r}")
    if bad.cell and not found.faults:
        wrong.append(f"no fault; findings: {[one.key for one in found.findings]}")
    if not bad.spoilt and not bad.whole and found.faults:
        wrong.append(f"a fault where nothing is wrong: {found.faults[0]}")
    return wrong
