"""What a log shows: the reader's understanding first, then every published figure beside it."""

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import units
from kit.errors import Fault, Faulty, need_between
from kit.lab.charts import cook as charts
from kit.lab.panels.cook.pieces import COLUMNS, cooling_rows, edition
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Slider, Table, View
from kit.lethality import (
    CHICKEN,
    MEAT,
    NO_CASING,
    OTHER_POULTRY,
    TURKEY,
    Finding,
    Record,
    cautions,
    cooling_windows,
    editions_ended,
    operating_rules,
    record,
    smokehouse_of_log,
    traces_of_log,
)
from kit.lethality.published import celsius
from kit.reading.logs import LogReading, read_log
from kit.tables import data_path, value


@dataclass(frozen=True, eq=False)
class Shown:
    log: LogReading
    record: Record


ASK = "If the reader asks"
_AS_FILE, NOT_SAID = ("as the file says", ""), ("not said", "")
_CORE = re.compile(r"core|kern|link|sausage|wurst|product|meat", re.I)
_WET = re.compile(r"wet|bulb", re.I)
_HOUSE = re.compile(r"house|oven|smoke|\bair\b|room|fridge|water|bath|bulb", re.I)
_DECIMAL = {"decimal": True, "thousands": False}
_DAY = {"day": True, "month": False}


@lru_cache(maxsize=8)
def _read(
    content: bytes, answers: tuple[tuple[str, object], ...], channels: tuple[str, ...] = ()
) -> LogReading:
    return read_log(content, **dict(answers), channels=list(channels) or None)


def _log(content: bytes, values, names: tuple[str, ...]) -> LogReading:
    """The log with the person's answers to what the file does not say; the named cores help where no column is known as a temperature."""
    year = values["year"].strip()
    answers = (
        ("unit", values["unit"] or None),
        ("time", values["time"] or None),
        ("decimal_comma", _DECIMAL.get(values["comma"])),
        ("day_first", _DAY.get(values["day"])),
        ("time_column", values["time_column"].strip() or None),
        ("sheet", values["sheet"].strip() or None),
        ("months", values["months"].strip() or None),
        ("year", year or None),
    )
    try:
        return _read(content, answers)
    except Faulty:
        if not names:
            raise
        return _read(content, answers, names)


_LAST: dict = {}


CURED = ("cured", "cured and smoked", "not cured")


def _record(
    log: LogReading, names: tuple[str, ...], values, fat, nitrite, wet: str, house: str, diameter
) -> Record:
    """Comparing takes a moment, so the last few are kept: switching units must not wait for it."""
    product, cured, casing, on, error = (
        values[key] for key in ("product", "cured", "casing", "on", "probe_error_K")
    )
    plan, file = (
        tuple(filter(None, (values["plan_cook"], values["plan_cooling"]))),
        values["log"][0] if values["log"] else "cook_log.csv (invented)",
    )
    key = (
        id(log),
        names,
        product,
        cured,
        casing,
        on,
        fat,
        nitrite,
        error,
        wet,
        house,
        diameter,
        plan,
        file,
    )
    if key not in _LAST:
        if len(_LAST) >= 8:
            _LAST.clear()
        _LAST[key] = (
            log,
            record(
                traces_of_log(log, names),
                product,
                cured=cured != "not cured",
                smoked=cured == "cured and smoked",
                nitrite_ppm=nitrite,
                casing=casing or None,
                fat_pct=fat,
                probe_error_K=error,
                understood=log.understood,
                wet_bulb=log.channel(wet) if wet else None,
                on=date.fromisoformat(on) if on else None,
                file=file,
                start=log.first_stamp,
                smokehouse=smokehouse_of_log(log, house) if house else None,
                diameter_mm=diameter,
                plan=plan,
            ),
        )
    return _LAST[key][1]


def record_panel() -> Panel:
    """Open a temperature log: what was understood of it, what it shows with what margin, by which table, and what is missing. Starts with the invented demo log."""

    def compute(values) -> Shown | Faulty:
        content = (
            values["log"][1] if values["log"] else data_path("demo", "cook_log.csv").read_bytes()
        )
        try:
            written = values["channels"].strip()
            named = tuple(name.strip() for name in re.split("[;,]", written) if name.strip())
            log = _log(content, values, named)
            names = (written,) if written in log.channels else named or _cores(log)
            fat, nitrite = (
                _amount(values["fat"], "%", "fat in percent", 80, "26"),
                _amount(values["nitrite"], "ppm", "ingoing nitrite in ppm", 5000, "156"),
            )
            house = values["house"].strip() or next(
                (
                    name
                    for name in log.channels
                    if _HOUSE.search(name) and not _WET.search(name) and name not in names
                ),
                "",
            )
            diameter = (
                units.read(values["diameter"], "mm", "stuffed diameter", bare="mm")
                if values["diameter"].strip()
                else None
            )
            return Shown(
                log,
                _record(log, names, values, fat, nitrite, values["wet"].strip(), house, diameter),
            )
        except Faulty as error:
            return error

    kinds = tuple(
        kind for rule in operating_rules("humidity not required") for kind in rule.casings
    )
    controls = (
        File("log", "Choose the log (CSV, TXT, XLSX)", ".csv,.txt,.tsv,.xlsx", "Your files"),
        Choice(
            "unit",
            "Log is in",
            (("as the file says", ""), ("°C", "°C"), ("°F", "°F")),
            "",
            "Your files",
        ),
        Entry("channels", "Columns that are cores", "", "empty: those called core", "Your files"),
        Entry(
            "house", "Column of the smokehouse air", "", "empty: the one called so", "Your files"
        ),
        Entry("wet", "Column of the house's wet bulb", "", "if the log has one", "Your files"),
        Choice(
            "time",
            "Time is written in",
            (
                _AS_FILE,
                ("h:min", "h:min"),
                ("min:s", "min:s"),
                ("seconds", "s"),
                ("minutes", "min"),
                ("hours", "h"),
            ),
            "",
            ASK,
        ),
        Choice(
            "comma",
            "A comma in a number",
            (_AS_FILE, ("is the decimal sign", "decimal"), ("parts thousands", "thousands")),
            "",
            ASK,
        ),
        Choice(
            "day",
            "Dates begin with",
            (_AS_FILE, ("the day", "day"), ("the month", "month")),
            "",
            ASK,
        ),
        Entry("time_column", "Time column", "", "only if it asks", ASK),
        Entry("sheet", "Sheet of the workbook", "", "only if it asks", ASK),
        Entry("months", "How the twelve months begin", "", "only if it asks", ASK),
        Entry("year", "Year of the first row", "", "only if it asks", ASK),
        Choice(
            "product",
            "Product",
            (
                ("meat, no poultry at all", MEAT),
                (CHICKEN, CHICKEN),
                (TURKEY, TURKEY),
                ("other poultry, or any mixture with poultry", OTHER_POULTRY),
            ),
            MEAT,
            "Meat block",
        ),
        Entry("fat", "Fat, %", "", "poultry: empty = 12 % column", "Meat block"),
        Choice("cured", "It is", CURED, "cured", "Cure"),
        Entry(
            "nitrite",
            "Ingoing nitrite, ppm of the meat",
            "",
            "for the slow cooling windows",
            "Cure",
        ),
        Choice(
            "casing",
            "Casing",
            (("not said", ""), *((kind, kind) for kind in kinds), ("no casing", NO_CASING)),
            "",
            "Process",
        ),
        Entry("diameter", "Stuffed diameter", "", "26 mm or 1 in", "Process"),
        Choice(
            "plan_cook",
            "Cooking limit in the plan",
            (
                NOT_SAID,
                *((f"{words} table", f"{words}") for words in ("5 log", "6.5 log", "7 log")),
                ("P70 above 30 min", "P70 above 30 min"),
                ("P70 above 40 min", "P70 above 40 min"),
                ("single temperature", "single temperature"),
            ),
            "",
            "Process",
        ),
        Choice(
            "plan_cooling",
            "Cooling limit in the plan",
            (
                NOT_SAID,
                *((title, title) for title in dict.fromkeys(w.title for w in cooling_windows())),
            ),
            "",
            "Process",
        ),
        Slider("probe_error_K", "The probes may read wrong by", "K", 0, 3, 0.1, 0.5, "Process"),
        Choice(
            "on",
            "Editions",
            (
                ("in force today", ""),
                *((f"in force until {day:%-d %B %Y}", day.isoformat()) for day in editions_ended()),
            ),
            "",
            "What is shown",
        ),
    )
    return Panel(
        "What does the record show?",
        controls,
        compute,
        record_view,
        lambda system: {"record": charts.record_chart(system)},
        {
            "A probe three degrees off": {"probe_error_K": 3},
            "It holds poultry": {"product": "other poultry"},
            "Not cured": {"cured": "not cured"},
            "Take the house for a core": {"channels": "House (°C)"},
        },
    )


def _amount(written: str, unit: str, name: str, most: float, such_as: str) -> float | None:
    text = written.strip().removesuffix(unit).strip().replace(",", ".")
    return (
        need_between(name, text, 0, most, f"give one number such as {such_as}, or leave it empty")
        if text
        else None
    )


def _cores(log: LogReading) -> tuple[str, ...]:
    """Columns that their name calls a core; the only column, unless its name calls it a house. Faulty with the question where nobody can tell."""
    found = tuple(name for name in log.channels if _CORE.search(name))
    if not found and (len(log.channels) > 1 or _HOUSE.search(log.channels[0])):
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"none of the columns is called a core: {', '.join(log.channels)}",
                    file=log.file,
                    remedy="write the names of the cores under 'Columns that are cores'; the house is none",
                )
            ],
        )
    return found or log.channels


def record_view(result, values, system) -> View:
    warned = (cautions.VALIDATES_NOTHING, *cautions.ALL[1:5], cautions.COOLING)
    if isinstance(result, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in result.faults
        )
        return View(
            f"This log cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend or to say, listed below. Nothing was changed in it.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
            cautions=warned,
        )
    log, page = result.log, result.record
    demo = "" if values["log"] else "Demo log, invented: "
    holds = [f for f in page.findings if f.kind == "hold"]
    peak = min(held.peak_C for held in page.channels)
    mine = _told("Cook", page.findings, page.named), _told("Cooling", page.cooling, page.named)
    open_ = " and ".join(word for word, said in zip(("cooking", "cooling"), mine) if not said)
    choose = (
        (
            f"Choose the {open_} limit that your plan for {page.product} names; until then each published one is listed below as an alternative.",
        )
        if open_
        else ()
    )
    told = " ".join(
        (
            *(() if holds else ("No table that was read speaks for this product.",)),
            *filter(None, mine),
            *choose,
        )
    )
    chill = cooling_rows(page.cooling)
    if page.implausible:
        chill = tuple(
            Row((*row.cells[:3], "not judged: the log is implausible", row.cells[4]))
            if not row.mark
            else row
            for row in chill
        )
    strange = (
        [held.name for held in page.channels if not _CORE.search(held.name)]
        if any(map(_CORE.search, log.channels))
        else []
    )
    if strange:
        told += f" But {', '.join(strange)} is not called a core: is it one?"
    first = "".join(f"IMPLAUSIBLE LOG: {text} " for text in page.implausible)
    sentence = f"{first}{demo}{len(page.channels)} core{'s' if len(page.channels) > 1 else ''} over {log.minutes:.0f} min; the coldest ({page.coldest}) came to {units.show(peak, '°C', system)}. {told} This validates nothing."
    cook_rows = (
        *(
            Row(("✗ implausible log", "", "", text, "the log itself"), "fails")
            for text in page.implausible
        ),
        *(
            Row(
                (f"✗ {name}, taken for a core", "", "", "is it one?", "the log's own name"), "fails"
            )
            for name in strange
        ),
        *(_finding_row(f, system) for f in page.findings),
    )
    understood = tuple(Row((text, "")) for text in log.understood) + tuple(
        Row((f"row {issue.rows[0]}", issue.says)) for issue in log.issues
    )
    levels = sorted(
        {
            celsius(value("lethality_floor_F")),
            value("p_reference_C"),
            *(w.end_C for w in cooling_windows() if w.option == "rapid"),
        },
        reverse=True,
    )
    tables = (
        Table("What was understood of the file", ("understood", "look at"), understood),
        Table("The cook, beside what is printed", COLUMNS, cook_rows),
        Table(
            "The chill, beside every published window (alternatives; they differ)", COLUMNS, chill
        ),
        *(
            (
                Table(
                    "History: no longer a rule",
                    COLUMNS,
                    tuple(_history_row(f) for f in page.history),
                ),
            )
            if page.history
            else ()
        ),
        Table(
            "Beside the tables: models, not the rule",
            ("model", "what it tells", "channel"),
            tuple(Row((m.what, m.told, m.channel)) for m in page.models),
        ),
        Table("What is missing", ("missing",), tuple(Row((text,)) for text in page.missing)),
    )
    return View(
        sentence,
        {"record": charts.record_data(page.channels, page.smokehouse, levels, system)},
        {
            "record": "Traces. "
            + " ".join(
                f"{held.name}: peak {held.peak_C:.1f} °C at {held.peak_s / 60:.0f} min."
                for held in page.channels
            )
        },
        tables,
        (
            *page.notes,
            *page.slower,
            *(note for f in page.findings for note in f.notes),
            *(
                (
                    f"only the first {charts.DRAWN} of {len(page.channels)} cores are drawn; all are compared",
                )
                if len(page.channels) > charts.DRAWN
                else ()
            ),
            *(("The demo log is invented.",) if demo else ()),
        ),
        page.working,
        page.sources,
        warned,
        ("record.html", page.html()),
    )


def _told(what: str, findings, named) -> str:
    """The limit that the plan names, with its verdict; "" where it names none: then all are alternatives, and none is counted."""
    verdicts: dict[str, set] = {}
    for f in findings:
        if f.option in named:
            verdicts.setdefault(f.option, set()).add(f.verdict)
    worst = {
        option: next(word for word in ("not met", "not judged", "not shown", "met") if word in said)
        for option, said in verdicts.items()
    }
    return (
        f"{what} limit in the plan: "
        + "; ".join(f"{option}: {word}" for option, word in worst.items())
        + "."
        if worst
        else ""
    )


def _history_row(f: Finding) -> Row:
    return Row(
        (
            f.what,
            f"{f.found:.2f} {f.unit}",
            f"{f.asked:.2f} {f.unit}",
            "not judged",
            edition(f.edition, f.status),
        )
    )


def _finding_row(f: Finding, system: str) -> Row:
    def shown(x, unit):
        return (
            "" if x is None else units.show(x, "°C", system) if unit == "°C" else f"{x:.2f} {unit}"
        )

    if f.margin is None or f.met is None:
        margin = "not shown"
    else:
        size = (
            units.show(abs(f.margin), "K", system)
            if f.unit == "°C"
            else f"{abs(f.margin):.2f} {f.unit}"
        )
        margin = f"{size} inside" if f.met else f"✗ {size} short"
        if f.cushion_K is not None and f.met:
            margin += f"; lost only if the probe read another {units.show(f.cushion_K, 'K', system)} too high"
    return Row(
        (
            f.what,
            shown(f.found, f.unit),
            shown(f.asked, f.unit),
            margin,
            edition(f.edition, f.status),
        ),
        "fails" if f.met is False else "",
    )
