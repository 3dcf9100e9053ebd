"""160 odd files of records: what is in each, and what should come of it. None may be silently wrong. All are invented."""

import io
from collections.abc import Callable, Sequence

import pytest
from openpyxl import Workbook
from openpyxl.chart import BarChart
from test_languages import weights_of

from kit.errors import Faulty, KitError
from kit.reading.records import draft_mapping, read_records

KEYS = (("chop", "in"), ("chop", "addition"), ("chop", "out"), ("cook", "in"), ("cook", "out"))
KEYS += (("pack", "out"),)
HEADS = ["Batch", "Date", "Chop in (kg)", "Ice (kg)", "Chop out (kg)", "Cook in (kg)"]
HEADS += ["Cook out (kg)", "Packed (kg)"]
OFF = (0.0, 0.4, -0.6, 0.9, -0.3, 0.7, -0.8, 0.2)
"""scatter of the eight batches, %"""
KG = [
    [
        round(x * (3 + b * 0.17) * (1 + OFF[(b + n) % 8] / 100), 1)
        for n, x in enumerate((300, 90, 388, 386, 345, 341))
    ]
    for b in range(8)
]
NAMES = [f"B{100 + b}" for b in range(8)]
DAYS = [f"2026-06-{1 + 2 * b:02d}" for b in range(8)]
TRUTH = {(name, *key): kg for name, row in zip(NAMES, KG) for key, kg in zip(KEYS, row)}


def rows_of(
    show: Callable[[float], str] = str, days: Sequence[str] = DAYS, heads: Sequence[str] = HEADS
) -> list[list[str]]:
    """The wide table, its header first."""
    return [list(heads), *([n, d, *map(show, kg)] for n, d, kg in zip(NAMES, days, KG))]


def csv(rows: Sequence[Sequence[str]], sign: str = ",") -> str:
    return "".join(sign.join(row) + "\n" for row in rows)


def beside(head: str, cells: Sequence[str], at: int | None = None) -> str:
    """The wide table with one more column."""
    rows = rows_of()
    for row, cell in zip(rows, (head, *cells)):
        row.insert(len(row) if at is None else at, cell)
    return csv(rows)


def numbers(start: float, step: float = 1.0) -> list[str]:
    return [f"{start + step * (b % 5):g}" for b in range(8)]


def headed(old: str, new: str) -> str:
    return csv(rows_of(heads=[new if head == old else head for head in HEADS]))


def below(*rows: Sequence[str]) -> str:
    return csv([*rows_of(), *rows])


def last(cell: str, at: int = -1) -> str:
    """The wide table with one cell of its last row changed."""
    rows = rows_of()
    rows[-1][at] = cell
    return csv(rows)


def sums(rows: int, mean: bool = False) -> list[str]:
    return [f"{sum(column) / (rows if mean else 1):.1f}" for column in zip(*KG[:rows])]


def long(
    heads: str = "Batch,Stage,In/Out,Weight (kg)",
    more: Callable[[float], str] = lambda kg: "",
    word: Callable[[str], str] = str,
    show: Callable[[float], str] = str,
) -> str:
    """A row for each weighing but the ice; `more`: further cells."""
    keys = [key for key in KEYS if key[1] != "addition"]
    lines = [heads]
    for name, kg in zip(NAMES, KG):
        for (stage, kind), x in zip(keys, (x for n, x in enumerate(kg) if n != 1)):
            lines.append(f"{name},{word(stage)},{kind},{show(x)}{more(x)}")
    return "\n".join(lines) + "\n"


LONG = {key: kg for key, kg in TRUTH.items() if key[2] != "addition"}


def book(*sheets, change: Callable[[Workbook], None] | None = None) -> bytes:
    """A workbook of (title, rows)."""
    made = Workbook()
    made.remove(made.active)
    for title, rows in sheets:
        tab = made.create_sheet(title)
        for row in rows:
            tab.append([_cell(cell) for cell in row])
    if change:
        change(made)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def _cell(cell: str):
    try:
        return float(cell)
    except ValueError:
        return cell or None


def conceal(made: Workbook) -> None:
    made.worksheets[0].sheet_state = "hidden"
    made.create_sheet("Empty")


def grouped(sign: str, decimal: str = ",") -> Callable[[float], str]:
    return lambda kg: f"{kg:,.1f}".replace(".", "#").replace(",", sign).replace("#", decimal)


def pounds(kg: float) -> str:
    return f"{kg / 0.45359237:.6f}"


def thousandths(kg: float) -> str:
    return f"{kg / 100:.3f}".replace(".", ",")


SECOND = [[*row, "", *other] for row, other in zip(rows_of(), rows_of())]
NOTES = ("Notes", [["What", "Why"], ["scale 2 checked", "drift"], ["new casing", "supplier"]])
PIVOT = ("Pivot", [["Row Labels", "Sum of cook out"], ["June", "9000"], ["Grand Total", "9000"]])
DATA = ("Data", rows_of())
comma = grouped("")
ASIDE = "Cook out planned (kg),Planned cook out (kg),Previous cook out (kg),Target (kg),Standard (kg),Expected (kg),Budget kg,Cook out per cart (kg),Price $/kg,€/kg,T°,T,Cook core temp (C),Cook yield %,kg/h,Cook loss kg,Giveaway %,Pieces,Cook minutes,Plan (kg),Forecast kg"
ALIKE = "COOK OUT [KG];cook_out_kg;Weight out of cook (kg);Cook out kg;Cooked out (kg);Smokehouse out (kg);Oven out (kg);Weight after cooking (kg)"
TOTALS = "Total;TOTAL:;Sum;Summe;Gesamt;Totaal;Totale;Razem;Suma;I alt;Somme;Average;Mittelwert;Moyenne;Media"
DATES: dict[str, Callable[[int], str]] = {
    "dots": lambda d: f"{d:02d}.06.2026",
    "day first": lambda d: f"{d:02d}/06/2026",
    "month first": lambda d: f"06/{d:02d}/2026",
    "two-digit year": lambda d: f"{d:02d}.06.26",
    "two-digit year first": lambda d: f"26-06-{d:02d}",
    "weekday": lambda d: f"Mo {d:02d}.06.2026",
    "weekday with point": lambda d: f"lun. {d:02d}/06/2026",
    "French month": lambda d: f"{d} juin 2026",
    "Italian month": lambda d: f"{d} giugno 2026",
    "Polish month": lambda d: f"{d} cze 2026",
    "Dutch month": lambda d: f"{d} jun 2026",
    "German month": lambda d: f"{d}. Juni 2026",
    "Spanish month": lambda d: f"{d} jun. 2026",
    "eight digits": lambda d: f"202606{d:02d}",
    "serial day": lambda d: str(46173 + d),
    "with a clock": lambda d: f"2026-06-{d:02d} 06:30",
    "month name first": lambda d: f"June {d}, 2026",
}
ODD: list[tuple[str, str | bytes, str, str]] = [
    *((f"beside: {h}", beside(h, numbers(4.5)), "read", "") for h in ASIDE.split(",")),
    *((f"header: {h}", headed("Cook out (kg)", h), "read", "") for h in ALIKE.split(";")),
    *((f"last row: {t}", below([t, "", *sums(8)]), "read", "") for t in TOTALS.split(";")[:11]),
    *((f"mean: {t}", below([t, "", *sums(8, True)]), "read", "") for t in TOTALS.split(";")[11:]),
    ("unnamed sum", below(["", "", *sums(8)]), "read", ""),
    ("sum under a sign", below(["***", "", *sums(8)]), "read", ""),
    ("unnamed mean", below(["", "", *sums(8, True)]), "read", ""),
    (
        "week in the middle",
        csv([*rows_of()[:5], ["Week 23", "", *sums(4)], *rows_of()[5:]]),
        "read",
        "",
    ),
    ("header again", below(HEADS), "read", ""),
    ("blank rows", below([""] * 8, [""] * 8), "read", ""),
    ("a bare second weight", beside("Masa kg", numbers(320)), "asked", "Masa kg"),
    ("a foreign target", beside("Soll kg", numbers(400)), "asked", "Soll kg"),
    ("a weight of no stage", beside("Other (kg)", numbers(320)), "asked", "Other (kg)"),
    ("cook out twice", beside("Cook out (kg)", numbers(345)), "asked", "same weight"),
    ("rework, way not told", beside("Rework (kg)", numbers(5)), "asked", "Rework (kg)"),
    ("stage, way not told", beside("Peel (kg)", numbers(340)), "asked", "Peel (kg)"),
    ("smoke within cook", beside("Smoke out (kg)", numbers(1100), -1), "asked", "same weight"),
    (
        "smoke before cook",
        beside("Smoke out (kg)", numbers(1100), 6),
        "read",
        "weighed within cook",
    ),
    (
        "start weight",
        headed("Chop in (kg)", "Kutter Ausgangsgewicht kg"),
        "asked",
        "Ausgangsgewicht",
    ),
    ("decimal commas", csv(rows_of(comma), ";"), "read", ""),
    ("blanks group", csv(rows_of(grouped(" ")), ";"), "read", ""),
    ("no-break blanks group", csv(rows_of(grouped("\u00a0")), ";"), "read", ""),
    ("narrow blanks group", csv(rows_of(grouped("\u202f")), ";"), "read", ""),
    ("apostrophes group", csv(rows_of(grouped("'", ".")), ";"), "read", ""),
    ("curly apostrophes group", csv(rows_of(grouped("’", ".")), ";"), "read", ""),
    ("points group", csv(rows_of(grouped(".")), ";"), "read", ""),
    ("commas group", csv(rows_of(grouped(",", ".")), ";"), "read", ""),
    ("unit in the cell", csv(rows_of(lambda kg: comma(kg) + " kg"), ";"), "read", ""),
    ("grouped with unit", csv(rows_of(lambda kg: grouped(" ")(kg) + " kg"), ";"), "read", ""),
    ("pounds in one cell", last(pounds(KG[-1][-1]) + " lb"), "read", "unit of their own"),
    ("points for thousands?", long(show=lambda kg: f"{kg / 100:.3f}"), "asked", "decimal"),
    (
        "points for thousands, with a unit?",
        long(show=lambda kg: f"{kg / 100:.3f} kg"),
        "asked",
        "decimal",
    ),
    ("commas for thousands?", csv(rows_of(thousandths), ";"), "asked", "decimal"),
    ("commas and points", csv([*rows_of(comma)[:5], *rows_of()[5:]], ";"), "asked", "decimal"),
    *(
        (f"weight {cell!r}", last(cell), "aside", "")
        for cell in (
            "n/a",
            "-",
            "~100",
            "100*",
            "ca. 100",
            "-5",
            "1e9",
            "12.5.0",
            "#REF!",
            "100 mm",
        )
    ),
    ("no weight in a cell", last(""), "read", "less"),
    *(
        (
            f"weights as {cell!r}",
            csv([HEADS, *([*row[:-1], cell.format(row[-1])] for row in rows_of()[1:])]),
            "said",
            "no numbers",
        )
        for cell in ("{}*", "({})", "{}-", "{}+1", "2 x {}", "~{}", "n/a")
    ),
    *(
        (
            f"date: {k}",
            csv(rows_of(days=[f'"{f(1 + 2 * b)}"' for b in range(8)])),
            "read",
            "2026-06",
        )
        for k, f in DATES.items()
    ),
    (
        "day or month?",
        csv(rows_of(days=[f"{1 + b:02d}/06/2026" for b in range(8)])),
        "asked",
        "day/month",
    ),
    ("day or year?", csv(rows_of(days=["01/06/26"] * 8)), "asked", "day/month"),
    ("31 June", last("2026-06-31", 1), "aside", "date"),
    ("month 13", last("2026-13-01", 1), "aside", "date"),
    ("year 1026", last("1026-06-01", 1), "aside", "lies outside"),
    *(
        (
            f"{e} file",
            csv(rows_of(heads=["Bätch" if e == "-" else h for h in HEADS])).encode(e),
            "read",
            "",
        )
        for e in ("utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be", "utf-32")
    ),
    ("old line ends", csv(rows_of()).replace("\n", "\r"), "read", ""),
    ("line ends of Windows", csv(rows_of()).replace("\n", "\r\n"), "read", ""),
    *((f"separator {sign!r}", csv(rows_of(), sign), "read", "") for sign in ";\t|"),
    ("title above", "Plant records;June\n\n" + csv(rows_of(), ";"), "read", ""),
    ("a row too long", below(["B900", *rows_of()[1][1:], "7", "8"]), "aside", "cells"),
    *(
        (f"code as {h}", beside(h, numbers(100232)), "label", role)
        for h, role in (
            ("House", "smokehouse"),
            ("Shift", "shift"),
            ("Supplier", "supplier"),
            ("Supplier no", "supplier"),
            ("Line", "line"),
            ("Product code", "product"),
            ("Recipe", "recipe"),
            ("Lieferant", "supplier"),
            ("Équipe", "shift"),
            ("Produkt", "product"),
        )
    ),
    ("a row for each weighing", long(), "read long", ""),
    (
        "target beside",
        long("Batch,Stage,In/Out,Weight (kg),Target kg", lambda kg: ",400"),
        "read long",
        "",
    ),
    (
        "price and temperature beside",
        long("Batch,Stage,In/Out,Weight (kg),€/kg,T°", lambda kg: ",4.5,12"),
        "read long",
        "",
    ),
    (
        "gross, tare and net",
        long(
            "Batch,Stage,In/Out,Gross (kg),Tare (kg),Net (kg)",
            lambda kg: f",12.5,{kg:.1f}",
            show=lambda kg: f"{kg + 12.5:.1f}",
        ),
        "read long",
        "",
    ),
    (
        "two weights a row",
        long("Batch,Stage,In/Out,Weight (kg),Second weight kg", lambda kg: ",400"),
        "asked",
        "Second weight",
    ),
    (
        "joined stage word",
        long(word=lambda s: "Räuchern/Brühen" if s == "cook" else s),
        "read long",
        "",
    ),
    ("unknown stage word", long(word=lambda s: "Zone 4" if s == "cook" else s), "asked", "Zone 4"),
    (
        "pounds in a unit column",
        long("Batch,Stage,In/Out,Weight,Unit", lambda kg: ",lb", show=pounds),
        "read long",
        "",
    ),
    (
        "unit nobody knows",
        long("Batch,Stage,In/Out,Weight,Unit", lambda kg: ",crates"),
        "aside",
        "unit",
    ),
    ("no unit", long("Batch,Stage,In/Out,Weight"), "asked", "unit"),
    ("smoke and cook by row", long() + "B100,smoke,out,1000\n", "asked", "smoke"),
    ("notes sheet", book(DATA, NOTES), "read", "left out"),
    ("pivot sheet", book(DATA, PIVOT), "read", "left out"),
    (
        "chart sheet",
        book(DATA, change=lambda made: made.create_chartsheet("Picture").add_chart(BarChart())),
        "read",
        "Picture",
    ),
    ("notes first", book(NOTES, DATA), "read", "left out"),
    (
        "hidden row",
        book(
            DATA, change=lambda made: setattr(made.worksheets[0].row_dimensions[4], "hidden", True)
        ),
        "read",
        "hidden",
    ),
    ("hidden sheet", book(DATA, change=conceal), "read", "hidden"),
    ("second table beside", book(("Data", SECOND)), "read", "second table"),
    ("second table in text", csv(SECOND), "read", "second table"),
    (
        "merged cells",
        book(DATA, change=lambda made: made.worksheets[0].merge_cells("A3:A4")),
        "aside",
        "merged",
    ),
    (
        "formula never saved",
        book(("Data", [*rows_of()[:8], [*rows_of()[8][:7], "=F9*0.9"]])),
        "aside",
        "formula",
    ),
    ("two months", book(("May", rows_of()[:5]), ("June", [HEADS, *rows_of()[5:]])), "read", ""),
    ("nothing", "\n", "refused", "empty"),
    ("one word", "hello\n", "refused", "no table"),
    ("a letter", "Dear plant,\nthe weights follow.\nRegards\n", "refused", ""),
    ("no header", csv(rows_of()[1:]), "refused", ""),
    ("zip of nothing", b"PK\x03\x04junk", "refused", "workbook"),
    ("old workbook", b"\xd0\xcf\x11\xe0junk", "refused", "old binary"),
    ("zero bytes", b"Batch,Cook in (kg)\nB\x001,100\n", "refused", "zero bytes"),
    (
        "open quotation mark",
        csv([*rows_of()[:8], ['"' + NAMES[-1], *rows_of()[8][1:]]]),
        "aside",
        "",
    ),
    ("no batch", headed("Batch", "Whatever"), "asked", "batch"),
    ("no weight", "Batch,Date,Remarks\nB1,2026-06-01,good\n", "asked", "weight"),
]


@pytest.mark.parametrize(("what", "source", "outcome", "says"), ODD, ids=[one[0] for one in ODD])
def test_odd_files_are_never_silently_wrong(what, source, outcome, says):
    name = "odd.xlsx" if source[:2] in (b"PK", b"\xd0\xcf") else "odd.csv"
    if outcome in ("asked", "refused"):
        with pytest.raises(KitError) as told:
            read_records(source, name=name)
        assert says in str(told.value)
        if outcome == "asked":
            assert isinstance(told.value, Faulty) and draft_mapping(source, name).questions
        return
    records = read_records(source, name=name)
    truth, got = LONG if outcome == "read long" else TRUTH, weights_of(records)
    if outcome == "aside":
        assert records.report.rows_set_aside and says in " ".join(records.fault_table["why"])
        assert {key: truth[key] for key in got} == pytest.approx(got)
        return
    if outcome == "said":
        assert says in "\n".join(records.notes)
        assert got == pytest.approx({k: kg for k, kg in truth.items() if k[1:] != KEYS[-1]})
        return
    if says == "less":
        assert {key: truth[key] for key in got} == pytest.approx(got)
        assert len(got) == len(truth) - 1
        return
    assert got == pytest.approx(truth)
    if outcome == "label":
        assert dict(records.mapping.columns).get(says) and not records.mapping.carry
        assert records.tidy[says].iloc[0] == "100232"
    elif says == "2026-06":
        assert set(records.tidy["time"].dt.strftime("%Y-%m-%d")) == set(DAYS)
    else:
        assert says in "\n".join(records.notes)
