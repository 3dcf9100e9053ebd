"""A chopper's own log: what was understood of it, and the energy it says."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD, ChopAnswer, bowl_of, chop_of, machine_of, machine_of_fit
from kit.chop import EnergyFit, Surroundings, fit_energy, machines, path_by_time
from kit.errors import Faulty, need, need_between
from kit.lab.charts import chop as charts
from kit.lab.lessons.chop import demo_sheet
from kit.lab.panels.chop.pieces import INVENTED, PER_K
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Table, View
from kit.lab.panels.sheets import read_uploaded
from kit.reading.logs import LogReading, read_log
from kit.sheet import Sheet
from kit.tables import data_path

ASK, AS_FILE = "If the reader asks", ("as the file says", "")


@dataclass(frozen=True, eq=False)
class Logged:
    sheet: Sheet
    log: LogReading
    channel: str
    fit: EnergyFit
    before: ChopAnswer
    after: ChopAnswer
    minute: np.ndarray
    low_C: np.ndarray
    fitted_C: np.ndarray
    high_C: np.ndarray
    left_out: tuple[str, ...]


def log_panel(sheet: Sheet | None = None) -> Panel:
    """Open a chopper's log: what was understood, the energy it says, and the prediction with it. Starts with the invented demo log."""
    controls = (
        File("sheet", "Choose the batch sheet of that log", ".toml,.csv,.xlsx", "Your files"),
        File("log", "Choose the log (CSV, TXT, XLSX)", ".csv,.txt,.tsv,.xlsx", "Your files"),
        Choice("unit", "Log is in", (AS_FILE, ("°C", "°C"), ("°F", "°F")), "", "Your files"),
        Entry("channel", "Column", "", "only if there are several", "Your files"),
        Entry("from_min", "Knives start at minute", "0", "minutes of the log", "Process"),
        Entry("to_min", "Knives stop at minute", "9", "empty: end of the log", "Process"),
        Entry("room", "Room was at", "", "20 °C or 68 °F", "Process"),
        Entry("UA", "Room gives, W per K", "", "such as 30; empty: not counted", "Process"),
        Choice(
            "time",
            "Time is written in",
            (
                AS_FILE,
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
            (AS_FILE, ("is the decimal sign", "decimal"), ("parts thousands", "thousands")),
            "",
            ASK,
        ),
        Choice(
            "day",
            "Dates begin with",
            (AS_FILE, ("the day", "day"), ("the month", "month")),
            "",
            ASK,
        ),
        Entry("time_column", "Time column", "", "only if it asks", ASK),
        Entry("tab", "Sheet of the workbook", "", "only if it asks", ASK),
        Entry("months", "How the twelve months begin", "", "only if it asks", ASK),
        Entry("year", "Year of the first row", "", "only if it asks", ASK),
    )

    def compute(values) -> Logged | Faulty:
        try:
            used = read_uploaded(*values["sheet"]) if values["sheet"] else sheet or demo_sheet()
            content = (
                values["log"][1]
                if values["log"]
                else data_path("demo", "chopper_log.csv").read_bytes()
            )
            answers = _answers(values)
            log = _read(content, answers)
        except Faulty as error:
            return error
        start = _minute(values["from_min"], "the minute the knives start", 0.0)
        stop = _minute(values["to_min"], "the minute the knives stop", log.minutes)
        return _logged(
            used,
            content,
            answers,
            values["channel"].strip() or log.channels[0],
            start,
            min(stop, log.minutes),
            _room(values),
        )

    return Panel(
        "Your own chopper: what does its log say?",
        controls,
        compute,
        log_view,
        lambda system: {"log": charts.log_chart(system), "machines": charts.machines_chart(system)},
        {
            "Count the minutes after the knives stopped": {"to_min": ""},
            "Stop reading while ice is there": {"to_min": "3"},
        },
    )


def _answers(values) -> tuple[tuple[str, object], ...]:
    """The person's answers to what a file does not say, as read_log takes them."""
    return (
        ("unit", values["unit"] or None),
        ("time", values["time"] or None),
        ("decimal_comma", {"decimal": True, "thousands": False}.get(values["comma"])),
        ("day_first", {"day": True, "month": False}.get(values["day"])),
        ("time_column", values["time_column"].strip() or None),
        ("sheet", values["tab"].strip() or None),
        ("months", values["months"].strip() or None),
        ("year", values["year"].strip() or None),
    )


@lru_cache(maxsize=8)
def _read(content: bytes, answers: tuple[tuple[str, object], ...]) -> LogReading:
    return read_log(content, **dict(answers))


def _minute(written: str, field: str, default: float) -> float:
    if not written.strip():
        return default
    amount = units.read(written, "min", field, bare="min")
    return need_between(field, amount, 0, 24 * 60)


def _room(values) -> Surroundings | None:
    """What the room gave, where both entries are written; one without the other is asked for."""
    room, flow = values["room"].strip(), values["UA"].strip()
    if not room and not flow:
        return None
    need(
        bool(room and flow),
        "the room's heat takes both: the room's temperature, and the W that it gives for each K that it is warmer; or leave both empty",
    )
    return Surroundings(
        need_between(
            "what the room gives, W per K", flow, 0, 1e4, "a bowl of 100 L takes a few tens"
        ),
        units.read(room, "°C", "the room"),
    )


@lru_cache(maxsize=8)
def _logged(
    sheet: Sheet,
    content: bytes,
    answers: tuple,
    channel: str,
    start: float,
    stop: float,
    room: Surroundings | None,
) -> Logged:
    """The fit takes a second, so the last few are kept: switching units must not wait for it."""
    need(
        stop > start,
        f"the knives stop at minute {stop:g}, not after they start at minute {start:g}; give both in minutes of the log",
    )
    log, bowl = _read(content, answers), bowl_of(sheet)
    fit = fit_energy(bowl, log, channel, from_min=start, to_min=stop, surroundings=room)
    minute = np.linspace(0, fit.minutes, 61)
    low, fitted, high = (
        path_by_time(bowl, rate, minute, room).end_C
        for rate in (fit.low_kJ_per_kg_min, fit.rate_kJ_per_kg_min, fit.high_kJ_per_kg_min)
    )
    left_out = (
        (f"The log covers {log.minutes:.1f} min; only minutes {start:g} to {stop:g} were counted.",)
        if stop - start < log.minutes - 0.01
        else ()
    )
    if room is not None:
        gained = float(
            path_by_time(bowl, fit.rate_kJ_per_kg_min, minute, room).gained_kJ[-1]
        ) / float(bowl.kg)
        left_out = (
            *left_out,
            f"The room gave {gained:.1f} kJ/kg of the warming, which is not the knives'; the end by this log leaves it out.",
            PER_K,
        )
    return Logged(
        sheet,
        log,
        channel,
        fit,
        chop_of(sheet, machine_of(sheet)),
        chop_of(sheet, machine_of_fit(fit)),
        minute,
        low,
        fitted,
        high,
        left_out,
    )


def log_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in result.faults
        )
        count = "1 thing" if len(rows) == 1 else f"{len(rows)} things"
        return View(
            f"This file cannot be used yet: {count} to mend or to say, listed below. Nothing was changed in it.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
            cautions=(BLADES, COLD),
        )
    fit, log = result.fit, result.log

    def heat(value, places=0):
        return units.show(value, "kJ/kg", system, places)

    mine = machine_of_fit(fit)
    doubt = " The log cannot be trusted for this: see the warnings." if not fit.tells else ""
    sentence = (
        f"{'' if values['log'] else 'Demo log, invented: '}over {fit.minutes:.1f} min this chopper put in {heat(fit.energy_kJ_per_kg)} "
        f"(90 %: {heat(fit.energy_low_kJ_per_kg)} to {heat(fit.energy_high_kJ_per_kg)}).{doubt}"
    )
    sentence = sentence[0].upper() + sentence[1:]
    before, after = (
        f"{units.show(a.range.low_C, '°C', system)} to {units.show(a.range.high_C, '°C', system)}"
        for a in (result.before, result.after)
    )
    rows = [
        Row(
            (
                "heat into the batter",
                heat(fit.energy_kJ_per_kg, 1),
                f"{heat(fit.energy_low_kJ_per_kg, 1)} to {heat(fit.energy_high_kJ_per_kg, 1)}",
            )
        ),
        Row(
            (
                "per minute",
                heat(fit.rate_kJ_per_kg_min, 2),
                f"{heat(fit.low_kJ_per_kg_min, 2)} to {heat(fit.high_kJ_per_kg_min, 2)}",
            )
        ),
        Row(
            (
                "power into the batter",
                f"{fit.power_kW:.1f} kW",
                f"{fit.power_low_kW:.1f} to {fit.power_high_kW:.1f} kW",
            )
        ),
        Row(
            (
                f"end by the range of a {result.before.machine.name}, before",
                units.show(result.before.end_C, "°C", system),
                f"{before} (eight draws in ten)",
            )
        ),
        Row(
            (
                "end by this log, after",
                units.show(result.after.end_C, "°C", system),
                f"{after} (eight draws in ten)",
            )
        ),
        Row(
            (
                "the log itself ends at",
                units.show(float(fit.measured_C[-1]), "°C", system),
                f"misfit {units.show(fit.misfit_K, 'K', system)}",
            )
        ),
    ]
    unlike = (
        (
            "No sheet of this log was chosen: the bowl is that of the invented demo batch, so the heat is not yours.",
        )
        if values["log"] and result.sheet == demo_sheet()
        else ()
    )
    rows += [Row(("✗ warning", text, ""), "fails") for text in (*unlike, *fit.warnings)]
    said = tuple(Row((text, "")) for text in log.understood) + tuple(
        Row((f"row {issue.rows[0]}", issue.says)) for issue in log.issues
    )
    needs = tuple(
        float(result.after.bowl.energy_to_kJ_per_kg(t))
        for t in (result.after.guide.low_C, result.after.guide.high_C)
    )
    shown = (mine, *machines().values())
    return View(
        sentence,
        {
            "log": charts.log_data(
                fit, result.low_C, result.high_C, result.minute, result.fitted_C, system
            ),
            "machines": charts.machines_data(shown, needs, system),
        },
        {
            "log": f"Readings of {result.channel} with the fitted line, misfit {fit.misfit_K:.1f} K.",
            "machines": charts.machines_text(shown),
        },
        (
            Table("What the log says", ("what", "value", "range"), tuple(rows)),
            Table("What was understood of the file", ("understood", "look at"), said),
        ),
        (*result.left_out, *fit.notes, *((INVENTED,) if not values["log"] else ())),
        fit.working,
        (*fit.sources, *(m.cite for m in machines().values())),
        (BLADES, COLD),
    )
