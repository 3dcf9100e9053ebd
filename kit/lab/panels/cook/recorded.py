"""What a log shows: the reader's understanding first, then every published figure beside it."""

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from kit import units
from kit.errors import Fault, Faulty, need_between
from kit.lab.charts import cook as charts
from kit.lab.pages.record import as_html
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cook.pieces import cooling_rows, finding_row
from kit.lab.panels.log_controls import ASKED, LOG_FILE, log_of, names_in, no_workbook
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.lethality import Record, cautions, record
from kit.lethality.operating import NO_CASING
from kit.lethality.published import (
    MEAT,
    OTHER_POULTRY,
    PRODUCTS,
    celsius,
    cooling_windows,
    editions_ended,
    operating_rules,
)
from kit.lethality.record import trace_of_log, traces_of_log
from kit.logs import LogReading
from kit.tables import data_path, value


@dataclass(frozen=True, eq=False)
class Shown:
    log: LogReading
    record: Record


NOT_SAID = ("not stated", "")
_WET = re.compile(r"wet|bulb", re.I)
_HOUSE = re.compile(r"house|oven|smoke|\bair\b|room|fridge|water|bath|bulb", re.I)


def _log(content: bytes, values, names: tuple[str, ...]) -> LogReading:
    """The log as answered; the named cores help where no column is known as a temperature."""
    try:
        return log_of(content, values)
    except Faulty:
        if not names:
            raise
        return log_of(content, values, names)


WARNED = (cautions.VALIDATES_NOTHING, *cautions.ALL[1:5], cautions.COOLING)
CURED = ("cured", "cured and smoked", "not cured")


@lru_cache(maxsize=8)
def _compared(answers: tuple[tuple[str, Any], ...]) -> Shown:
    """Comparing takes a moment, so the last few are kept: switching units must not wait for it."""
    values = dict(answers)
    content = values["log"][1] if values["log"] else data_path("demo", "cook_log.csv").read_bytes()
    written = values["channels"].strip()
    named = names_in(written)
    log = _log(content, values, named)
    names = (written,) if written in log.channels else named or _cores(log)
    diameter, cured, on = values["diameter"].strip(), values["cured"], values["on"]
    plan = (values["plan_cook"], values["plan_cooling"])
    smokehouse = values["smokehouse"].strip() or _smokehouse(log, names)
    page = record(
        traces_of_log(log, names),
        product=values["product"],
        cured=cured != "not cured",
        smoked=cured == "cured and smoked",
        nitrite_ppm=_amount(values["nitrite"], "ppm", "ingoing nitrite in ppm", 5000, "156"),
        casing=values["casing"] or None,
        fat_pct=_amount(values["fat"], "%", "fat in percent", 80, "26"),
        probe_error_K=values["probe_error_K"],
        on=date.fromisoformat(on) if on else None,
        file=values["log"][0] if values["log"] else "cook_log.csv (invented)",
        smokehouse=trace_of_log(log, smokehouse, core=False) if smokehouse else None,
        understood=log.understood,
        start=log.first_stamp,
        diameter_mm=units.read(diameter, "mm", "stuffed diameter", bare="mm") if diameter else None,
        plan=tuple(filter(None, plan)),
    )
    return Shown(log, page)


def _smokehouse(log: LogReading, cores) -> str:
    """The first column that its name calls a smokehouse; "" where there is none."""
    others = (name for name in log.channels if name not in cores)
    return next((name for name in others if _HOUSE.search(name) and not _WET.search(name)), "")


def record_panel() -> Panel:
    """Open a temperature log: how it was read, what it shows with what margin, by which table, and what is missing. Starts with the invented demo log."""
    kinds = [kind for rule in operating_rules("humidity not required") for kind in rule.casings]
    casings = (NOT_SAID, *((kind, kind) for kind in kinds), ("no casing", NO_CASING))
    more = {
        MEAT: "meat, no poultry at all",
        OTHER_POULTRY: "other poultry, or any mixture with poultry",
    }
    products = tuple((more.get(product, product), product) for product in PRODUCTS)
    tables = tuple((f"{words} table", words) for words in ("5 log", "6.5 log", "7 log"))
    others = ("P70 above 30 min", "P70 above 40 min", "single temperature")
    limits = (NOT_SAID, *tables, *((words, words) for words in others))
    titles = dict.fromkeys(window.title for window in cooling_windows())
    coolings = (NOT_SAID, *((title, title) for title in titles))
    ended = ((f"in force until {day:%-d %B %Y}", day.isoformat()) for day in editions_ended())
    options = {
        "product": products,
        "cured": CURED,
        "casing": casings,
        "plan_cook": limits,
        "plan_cooling": coolings,
        "on": (("in force today", ""), *ended),
    }
    core, smokehouse, *batch = controls_of("record", options=options)
    return Panel(
        "Temperature record: lethality and cooling",
        (*LOG_FILE, core, smokehouse, *ASKED, *batch),
        lambda values: _compared(tuple(values.items())),
        record_view,
        {"record": charts.record_chart},
        {
            "Probe error of 3 °C (5.4 °F)": {"probe_error_K": 3},
            "Contains poultry": {"product": "other poultry"},
            "Not cured": {"cured": "not cured"},
            "Smokehouse column as core": {"channels": "Smokehouse (°C)"},
        },
        faulty=("This log", *WARNED),
    )


def _amount(written: str, unit: str, name: str, most: float, such_as: str) -> float | None:
    text = written.strip().removesuffix(unit).strip().replace(",", ".")
    remedy = f"give one number such as {such_as}, or leave it empty"
    return need_between(name, text, 0, most, remedy) if text else None


def _cores(log: LogReading) -> tuple[str, ...]:
    """Columns that their name calls a core; the only column, unless its name calls it a smokehouse. Faulty with the question where nobody can tell."""
    if not log.cores and (len(log.channels) > 1 or _HOUSE.search(log.channels[0])):
        what = f"none of the columns is called a core: {', '.join(log.channels)}"
        remedy = "write the names of the cores under 'Core temperature columns'; the smokehouse is not one"
        raise Faulty("temperature log", [Fault(what, file=log.file, remedy=remedy)])
    return log.cores or log.channels


def record_view(result, values, system) -> View:
    log, page = result.log, result.record
    strange = [held.name for held in page.channels if log.cores and held.name not in log.cores]
    wrong = [("✗ implausible log", "", "", text, "the log") for text in page.implausible]
    ask = "", "", "check the column", "the log's own name"
    wrong += [(f"✗ {name}, used as a core", *ask) for name in strange]
    cook_rows = (*wrong, *(finding_row(f, system) for f in page.findings))
    chill = cooling_rows(page.cooling)
    if page.implausible:
        open_ = "not judged: the log is implausible"
        chill = tuple(
            (*cells, verdict if verdict.startswith("✗") else open_, said)
            for *cells, verdict, said in chill
        )
    read = [(text, "") for text in log.understood]
    read += [(f"row {issue.rows[0]}", issue.says) for issue in log.issues]
    ends = (w.end_C for w in cooling_windows() if w.option == "rapid")
    levels = {celsius(value("lethality_floor_F")), value("p_reference_C"), *ends}
    levels_C = sorted(levels, reverse=True)
    notes = [*page.own_notes, *(note for f in page.findings for note in f.notes)]
    cores = len(page.channels)
    if cores > charts.DRAWN:
        notes.append(f"only the first {charts.DRAWN} of {cores} cores are drawn; all are compared")
    if not values["log"]:
        notes.append("The demo log is invented.")
    peaks = (
        f"{held.name}: peak {held.peak_C:.1f} °C at {held.peak_s / 60:.0f} min."
        for held in page.channels
    )
    cooling = "Cooling: every published limit (alternatives)"
    return View(
        _sentence(log, page, strange, bool(values["log"]), system),
        {"record": charts.record_data(page.channels, page.smokehouse, levels_C, system)},
        {"record": f"Temperature curves. {' '.join(peaks)}"},
        (
            Table("Cooking: published lethality limits", COLUMNS, cook_rows),
            Table(cooling, COLUMNS, chill),
            Table("How the file was read", ("read as", "check"), read),
            Table("Missing information", ("item",), [(text,) for text in page.missing]),
        ),
        tuple(notes),
        page.working,
        page.sources,
        WARNED,
        ("record.html", lambda: units.in_text(as_html(page), system)),
        no_workbook(values),
    )


def _sentence(log: LogReading, page: Record, strange, own: bool, system: str) -> str:
    parts = [f"IMPLAUSIBLE LOG: {text}" for text in page.implausible]
    cores = f"{len(page.channels)} core{'s' if len(page.channels) > 1 else ''}"
    peak = units.show(min(held.peak_C for held in page.channels), "°C", system)
    parts.append(
        f"{'' if own else 'Demo log, invented: '}{cores} over {log.minutes:.0f} min; the coldest ({page.coldest}) reached {peak}."
    )
    if not any(f.kind == "hold" for f in page.findings):
        parts.append("No published table covers this product.")
    mine = _told("Cook", page.findings, page.named), _told("Cooling", page.cooling, page.named)
    parts += filter(None, mine)
    if open_ := " and ".join(word for word, said in zip(("cooking", "cooling"), mine) if not said):
        parts.append(
            f"Choose the {open_} limit named in your plan for {page.product}; until then, every published limit is listed below as an alternative."
        )
    if strange:
        parts.append(f"{', '.join(strange)} is not called a core: check the column.")
    return " ".join((*parts, "This does not validate a process."))


def _told(what: str, findings, named) -> str:
    """The limit that the plan names, with its verdict; "" where it names none: then all are alternatives, and none is counted."""
    verdicts: dict[str, set] = {}
    for f in findings:
        if f.option in named:
            verdicts.setdefault(f.option, set()).add(f.verdict)
    worst_first = ("not met", "not judged", "not shown", "met")
    told = (
        f"{option}: {next(word for word in worst_first if word in said)}"
        for option, said in verdicts.items()
    )
    return f"{what} limit in the plan: {'; '.join(told)}." if verdicts else ""
