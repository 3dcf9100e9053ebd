"""A chopper's own log: what was understood of it, and the energy it says."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD, ChopAnswer, bowl_of, chop_of, machine_of, machine_of_fit
from kit.chop.fit import EnergyFit, fit_energy
from kit.chop.path import path_by_time
from kit.errors import need, need_between
from kit.lab.charts import chop_machines as charts
from kit.lab.panels.chop.pieces import INVENTED, celsius, chop_view, heat
from kit.lab.panels.controls import controls_of
from kit.lab.panels.log_controls import ASKED, LOG_FILE, log_of, no_workbook
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import demo_sheet, read_uploaded, starting_sheet
from kit.logs import LogReading
from kit.sheet import Sheet
from kit.tables import data_path
from kit.working import Interval

SHEET, *OF_LOG = controls_of("chop log")
PRESETS = {
    "Include the minutes after chopping": {"to_min": ""},
    "End before the ice has melted": {"to_min": "3"},
}


@dataclass(frozen=True, eq=False)
class Logged:
    sheet: Sheet
    log: LogReading
    fit: EnergyFit
    before: ChopAnswer
    after: ChopAnswer
    minute: np.ndarray
    low_C: np.ndarray
    fitted_C: np.ndarray
    high_C: np.ndarray
    left_out: tuple[str, ...]


def log_panel(sheet: Sheet | None = None) -> Panel:
    """Open a chopper's log: how it was read, the energy it gives, and the prediction with it. Starts with the invented demo log."""

    def compute(values) -> Logged:
        used = read_uploaded(*values["sheet"]) if values["sheet"] else sheet or starting_sheet()
        demo = data_path("demo", "chopper_log.csv")
        content = values["log"][1] if values["log"] else demo.read_bytes()
        log = log_of(content, values)
        start = _minute(values["from_min"], "the start of chopping", 0.0)
        stop = _minute(values["to_min"], "the end of the chopping time", log.minutes)
        channel = values["channel"].strip() or log.channels[0]
        stop = min(stop, log.minutes)
        return _logged(used, log, channel, start, stop)

    return Panel(
        "Specific mechanical energy from a chopper log",
        (SHEET, *LOG_FILE, *OF_LOG, *ASKED),
        compute,
        log_view,
        {"log": charts.log_chart},
        PRESETS,
        faulty=("This file", BLADES, COLD),
    )


def _minute(written: str, field: str, default: float) -> float:
    if not written.strip():
        return default
    amount = units.read(written, "min", field, bare="min")
    return need_between(field, amount, 0, 24 * 60)


@lru_cache(maxsize=8)
def _logged(sheet: Sheet, log: LogReading, channel: str, start: float, stop: float) -> Logged:
    """The fit takes a second, so the last few are kept: switching units must not wait for it."""
    need(
        stop > start,
        f"chopping ends at minute {stop:g}, not after its start at minute {start:g}; give both in minutes of the log",
    )
    bowl = bowl_of(sheet)
    fit = fit_energy(bowl, log, channel, from_min=start, to_min=stop)
    minute = np.linspace(0, fit.minutes, 61)
    lines = (path_by_time(bowl, rate, minute).end_C for rate in fit.rate_kJ_per_kg_min)
    left_out = []
    if stop - start < log.minutes - 0.01:
        left_out.append(
            f"The log covers {log.minutes:.1f} min; only minutes {start:g} to {stop:g} were used."
        )
    before, after = chop_of(sheet, machine_of(sheet)), chop_of(sheet, machine_of_fit(fit))
    return Logged(sheet, log, fit, before, after, minute, *lines, tuple(left_out))


def log_view(result, values, system) -> View:
    fit, log = result.fit, result.log
    said = [(text, "") for text in log.understood]
    said += [(f"row {issue.rows[0]}", issue.says) for issue in log.issues]
    demo = () if values["log"] else (INVENTED,)
    lines = (result.low_C, result.high_C, result.minute, result.fitted_C)
    return chop_view(
        _sentence(fit, bool(values["log"]), system),
        {"log": charts.log_data(fit, *lines, system)},
        (
            _result_table(result, values, system),
            Table("How the file was read", ("read as", "check"), said),
        ),
        fit,
        (*result.left_out, *demo),
        (result.before.machine.cite,),
        no_workbook(values),
    )


def _sentence(fit: EnergyFit, own: bool, system: str) -> str:
    low, energy, high = (heat(e, system, 0) for e in fit.energy_kJ_per_kg)
    begin = "Over" if own else "Demo log, invented: over"
    said = f"{begin} {fit.minutes:.1f} min, specific mechanical energy {energy} (90 % interval {low} to {high})."
    warned = " This log is not suitable: see the warnings."
    return said if fit.tells else said + warned


def _result_table(result: Logged, values, system: str) -> Table:
    fit, before, after = result.fit, result.before, result.after

    def interval(what: str, three: Interval, places: int) -> tuple[str, ...]:
        low, value, high = (heat(each, system, places) for each in three)
        return what, value, f"{low} to {high}"

    def end(what: str, answer: ChopAnswer) -> tuple[str, ...]:
        low, high = celsius(answer.range.low_C, system), celsius(answer.range.high_C, system)
        return what, celsius(answer.end_C, system), f"{low} to {high}"

    low, power, high = fit.power_kW
    warnings = [*fit.warnings]
    if values["log"] and result.sheet == demo_sheet():
        warnings.insert(
            0,
            "No batch sheet of this log was chosen: the batter is that of the invented demo batch, so the energy is not yours.",
        )
    last = celsius(float(fit.measured_C[-1]), system)
    off = f"root mean square error {units.show(fit.misfit_K, 'K', system)}"
    rows = (
        interval("specific mechanical energy", fit.energy_kJ_per_kg, 1),
        interval("specific mechanical energy per minute", fit.rate_kJ_per_kg_min, 2),
        ("power into the batter", f"{power:.1f} kW", f"{low:.1f} to {high:.1f} kW"),
        end(f"final chopping temperature, usual {before.machine.name}", before),
        end("final chopping temperature, energy of this log", after),
        ("last temperature of the log", last, off),
        *(("✗ warning", text, "") for text in warnings),
    )
    return Table("Result of the log", ("quantity", "value", "90 % interval"), rows)
