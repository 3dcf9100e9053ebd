"""The panels of 03_keep_it_cold: how warm the batter gets, ice against water and cold meat, the map, and a log of one's own."""
from dataclasses import dataclass, replace
from functools import lru_cache
from math import isfinite

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD, ChopAnswer, bowl_of, chop_of, chopped_bowl, machine_of, machine_of_fit, taken_kJ, with_added_water
from kit.chain.chop_ways import IceMap, Ways, ice_map, same_end_ice_kg, ways_of
from kit.charts import chop as charts
from kit.chop import Bowl, EnergyFit, Guide, Machine, fit_energy, guides, machines, path_by_time
from kit.errors import Faulty, need, need_between
from kit.lessons.chop import START, demo_sheet, set_bowl
from kit.logs import LogReading, read_log
from kit.panels.panel import Choice, Entry, File, Panel, Row, Slider, Table, View
from kit.sheet import Sheet
from kit.tables import data_path

COLUMNS = ("what", "value", "limit", "margin", "source")
FATS = (("pork", "pork"), ("beef", "beef"), ("poultry", "poultry"), ("any, scalded sausage", "any"), ("any, no phosphate", "without phosphate"))
GUIDE_WORDS = {"pork": "pork fat", "beef": "beef fat", "poultry": "poultry fat", "any": "any scalded sausage", "without phosphate": "a batter without phosphate"}
DOUBT_PCT = 10.0
BREAKS = {"Water instead of ice": {"ice_share_pct": 0}, "Warm meat": {"meat_C": 10}, "Chop too long": {"energy_kJ_per_kg": 150}}
INVENTED = "The demo batch and the demo log are invented."


# what every panel of the lesson shares -------------------------------------------------------------------------------------------------
def _controls():
    return (
        Choice("fat", "Most of the fat is", FATS, "pork", "Meat block"),
        Slider("meat_C", "Meat goes in at", "°C", -6, 12, 0.5, START["meat_C"], "Meat block"),
        Slider("added_pct_of_meat", "Ice and water, % of meat", "", 5, 60, 1, START["added_pct_of_meat"], "Ice"),
        Slider("ice_share_pct", "of that as ice, %", "", 0, 100, 5, START["ice_share_pct"], "Ice"),
        Slider("salt_pct_of_batch", "Salt, % of batch", "", 0, 4, 0.1, START["salt_pct_of_batch"], "Salt"),
        Slider("energy_kJ_per_kg", "Heat from the knives", "kJ/kg", 0, 160, 1, START["energy_kJ_per_kg"], "Process"),
    )


def _bowl(values, base: Bowl, meat_kg: float) -> Bowl:
    return set_bowl(base, meat_kg, *(values[key] for key in ("meat_C", "added_pct_of_meat", "ice_share_pct", "salt_pct_of_batch")))


def _given(values) -> Machine:
    energy, doubt = values["energy_kJ_per_kg"], values.get("doubt_pct", DOUBT_PCT) / 100
    return Machine("chopper as set", energy * (1 - doubt), energy, energy * (1 + doubt), "of what is in the bowl", "as set with the sliders",
                   "set with the sliders", "")


def _planned_C(guide: Guide) -> float:
    """The middle of the printed range for the fat; a range that goes below 0 is a top."""
    return guide.high_C if guide.low_C < 0 else 0.5 * (guide.low_C + guide.high_C)


def chop_rows(answer: ChopAnswer, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: the end of chopping, its range, the ice left, and the ice that the planned end would need."""
    def shown(t):
        return units.show(t, "°C", system)

    guide, off = answer.guide, answer.off_guide_K
    limit = shown(guide.high_C) if guide.low_C == guide.high_C else f"{shown(guide.low_C)} to {shown(guide.high_C)}"
    margin = "inside" if not off else f"✗ {units.show(off, 'K', system)} warmer" if off > 0 else f"{units.show(-off, 'K', system)} colder"
    rows = [Row(("end of chopping", shown(answer.end_C), f"{limit} ({guide.name}, a guide)", margin, guide.cite), "fails" if off > 0 else ""),
            Row(("end of chopping, eight draws in ten", f"{shown(answer.range.low_C)} to {shown(answer.range.high_C)}", "", "",
                 f"energy: {answer.machine.cite}")),
            Row(("ice left at that end", units.show(answer.chopped.ice_left_kg, "kg", system), "", "", "computed")),
            Row(("last ice melts at", units.show(answer.chopped.ice_gone_kJ_per_kg, "kJ/kg", system), "", "", "computed"))]
    needed = "no share of ice does it"
    if answer.ice is not None:
        needed = f"{units.show(answer.ice.ice_kg, 'kg', system)} ice, {units.show(answer.ice.water_kg, 'kg', system)} water"
    return (*rows, Row((f"of the added water as ice, for {shown(answer.planned_C)}", needed, "", "", "computed")))


def _verdict(answer: ChopAnswer, system: str) -> str:
    off, end = answer.off_guide_K, units.show(answer.end_C, "°C", system)
    where = "inside the printed guide" if not off else f"{units.show(abs(off), 'K', system)} {'warmer' if off > 0 else 'colder'} than the printed guide"
    left = f" {units.show(answer.chopped.ice_left_kg, 'kg', system)} of water is still frozen." if answer.chopped.ice_left_kg > 0.005 else ""
    return f"The batter ends at {end}, {where} for {GUIDE_WORDS[answer.guide.name]}.{left}"


# how warm ------------------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Warmed:
    answer: ChopAnswer
    wet: Bowl
    wet_end_C: float
    taken: dict


def path_panel(sheet: Sheet | None = None) -> Panel:
    """Temperature along the chop: ice, energy, meat temperature, salt, and the machine that was named."""
    sheet = sheet or demo_sheet()
    base, meat_kg = bowl_of(sheet), sheet.meat_kg

    def compute(values) -> Warmed:
        bowl, guide = _bowl(values, base, meat_kg), guides()[values["fat"]]
        answer = chopped_bowl(bowl, _given(values), guide, _planned_C(guide), name=sheet.name, energy_from="set with the sliders",
                              notes=(INVENTED,) if sheet is demo_sheet() else ())
        added = values["added_pct_of_meat"] / 100 * meat_kg
        wet = with_added_water(bowl, 0.0, added)
        return Warmed(answer, wet, float(wet.end_C(values["energy_kJ_per_kg"])), taken_kJ(bowl, answer.chopped))

    controls = (*_controls(), Slider("doubt_pct", "± doubt of that heat, %", "", 0, 50, 5, DOUBT_PCT, "Process"),
                Slider("minutes", "Minutes of the knives", "", 1, 20, 0.5, 9, "Process"),
                Choice("machine", "Machine to compare with", tuple(machines()), "bowl cutter", "Process"),
                Choice("against", "Drawn against", ("energy", "time"), "energy", "What is shown"))
    return Panel("Keep it cold: how warm does the batter end?", controls, compute, path_view,
                 lambda system: {"path": charts.path_chart(system), "time": charts.time_chart(system), "heat": charts.heat_chart(system)}, BREAKS)


def path_view(result: Warmed, values, system) -> View:
    answer = result.answer
    chart = "time" if values["against"] == "time" else "path"
    wet = f" With water in place of the ice it would end at {units.show(result.wet_end_C, '°C', system)}." if values["ice_share_pct"] else ""
    return View(f"{_verdict(answer, system)}{wet}",
                {chart: charts.path_data(answer, result.wet, system, values["minutes"], values["against"]),
                 "heat": charts.heat_data(result.taken, answer.chopped.kg, system)},
                {chart: charts.path_text(answer, result.wet_end_C), "heat": charts.heat_text(result.taken, answer.chopped.kg)},
                (Table("Outcome", COLUMNS, (*chop_rows(answer, system), _machine_row(machines()[values["machine"]], answer, system))),),
                answer.notes, answer.working, answer.sources, (BLADES, COLD))


def _machine_row(machine: Machine, answer: ChopAnswer, system: str) -> Row:
    low, high, energy = machine.low_kJ_per_kg, machine.high_kJ_per_kg, answer.energy_kJ_per_kg
    off = max(low - energy, energy - high, 0.0)
    where = f"{units.show(off, 'kJ/kg', system)} {'below' if energy < low else 'above'}" if off else "inside"
    return Row((f"heat set, beside that of a {machine.name}", units.show(energy, "kJ/kg", system),
                 f"{units.show(low, 'kJ/kg', system)} to {units.show(high, 'kJ/kg', system)} {machine.basis}", where, machine.cite))


# ice, water, colder meat ---------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, eq=False)
class Placed:
    ways: Ways
    guide: Guide
    warm_kg: np.ndarray
    cold_kg: np.ndarray


def ways_panel(sheet: Sheet | None = None) -> Panel:
    """The same end by ice, by colder meat, or by less work."""
    sheet = sheet or demo_sheet()
    base, meat_kg = bowl_of(sheet), sheet.meat_kg

    def compute(values) -> Placed:
        bowl, guide, energy = _bowl(values, base, meat_kg), guides()[values["fat"]], values["energy_kJ_per_kg"]
        ways = ways_of(bowl, energy, _planned_C(guide))
        warm, cold = (same_end_ice_kg(bowl, ways.meat_C, t, energy) for t in (guide.high_C, guide.low_C))
        return Placed(ways, guide, warm, cold)

    return Panel("Ice, water or colder meat?", _controls(), compute, ways_view, lambda system: {"ends": charts.ends_chart(system),
                                                                                                "same": charts.same_chart(system)},
                 {name: change for name, change in BREAKS.items() if name != "Chop too long"})


def ways_view(placed: Placed, values, system) -> View:
    ways, guide = placed.ways, placed.guide
    planned, ends = units.show(ways.planned_C, "°C", system), dict(ways.ends_C)
    gap = units.show(ends["all water"] - ends["all ice"], "K", system)
    meat = units.show(ways.meat_with_water_C, "°C", system) if isfinite(ways.meat_with_water_C) else "none"
    without = "without any ice no meat temperature does it here" if meat == "none" else f"without any ice the meat would have to go in at {meat}"
    worth = f"{ways.ice_worth_in_water:.1f} kg of water" if isfinite(ways.ice_worth_in_water) else "no amount of water"
    here = float(np.interp(values["meat_C"], ways.meat_C, ways.ice_needed_kg))
    possible = 0 <= here <= ways.added_kg
    needs = (f"{units.show(here, 'kg', system)} of the {units.show(ways.added_kg, 'kg', system)}" if possible
             else "no share: even all ice ends warmer" if here > ways.added_kg else "none: even all water ends colder")
    rows = (
        Row((f"1 kg of ice takes up as much, up to {planned}, as", worth, "computed")),
        Row(("added water that must be ice, meat as set", needs, "computed"), "" if possible else "fails"),
        Row(("meat temperature that does without ice", meat, "computed")),
        Row(("heat the knives may put in without ice", units.show(ways.energy_with_water_kJ_per_kg, "kJ/kg", system), "computed")),
        Row(("ends now at", units.show(ways.end_C, "°C", system), guide.cite), "fails" if ways.end_C > guide.high_C else ""))
    sentence = (f"This batter ends at {units.show(ways.end_C, '°C', system)}; {planned} is aimed at. "
                f"Water instead of ice ends {gap} warmer than all ice; {without}.")
    return View(sentence,
                {"ends": charts.ends_data(ways, guide, system), "same": charts.same_data(ways, placed.warm_kg, placed.cold_kg,
                                                                                         values["ice_share_pct"], values["meat_C"], system)},
                {"ends": charts.ends_text(ways), "same": f"Curve of ice share against meat temperature that ends at {ways.planned_C:.1f} °C. Needed with the meat as set: {needs}."},
                (Table("What gets the same end", ("what", "value", "source"), rows),), (*ways.notes, INVENTED), ways.working,
                (guide.cite, *ways.sources), (BLADES, COLD))


# the map -------------------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, eq=False)
class Mapped:
    answer: ChopAnswer
    plane: IceMap
    edges: np.ndarray
    needs: tuple[float, float]
    ice_pct: float


def map_panel(sheet: Sheet | None = None) -> Panel:
    """Ice against energy, and what the machines of the trade put in."""
    sheet = sheet or demo_sheet()
    base, meat_kg = bowl_of(sheet), sheet.meat_kg

    def compute(values) -> Mapped:
        bowl, guide = _bowl(values, base, meat_kg), guides()[values["fat"]]
        answer = chopped_bowl(bowl, _given(values), guide, _planned_C(guide), name=sheet.name, energy_from="set with the sliders")
        plane = ice_map(bowl, (*charts.ENDS_C, guide.low_C, guide.high_C))
        needs = tuple(float(bowl.energy_to_kJ_per_kg(t)) for t in (guide.low_C, guide.high_C))
        lines = replace(plane, end_C=plane.end_C[:-2], energy_kJ_per_kg=plane.energy_kJ_per_kg[:-2])
        return Mapped(answer, lines, plane.energy_kJ_per_kg[-2:], needs, 100 * float(sum(c.kg for c in bowl.of_kind("ice"))) / meat_kg)

    controls = (*_controls(), Slider("doubt_pct", "± doubt of that heat, %", "", 0, 50, 5, DOUBT_PCT, "Process"))
    return Panel("The map of ice and energy", controls, compute, map_view, lambda system: {"map": charts.map_chart(system),
                                                                                           "machines": charts.machines_chart(system)}, BREAKS)


def map_view(mapped: Mapped, values, system) -> View:
    answer, (low, high) = mapped.answer, mapped.needs
    most = units.show(high, "kJ/kg", system, 0)
    window = f"this bowl needs {units.show(max(low, 0), 'kJ/kg', system, 0)} to {most}" if high - low > 0.5 else f"this bowl needs {most}"
    if high < 0:
        window = "this bowl is warmer than that before the knives start"
    rows = tuple(Row((m.name, f"{units.show(m.low_kJ_per_kg, 'kJ/kg', system, 0)} to {units.show(m.high_kJ_per_kg, 'kJ/kg', system, 0)}", m.basis,
                      m.status, m.note)) for m in machines().values())
    return View(f"{_verdict(answer, system)} To end inside the guide {window}; it gets {units.show(answer.energy_kJ_per_kg, 'kJ/kg', system, 0)}.",
                {"map": charts.map_data(mapped.plane, mapped.edges, mapped.ice_pct, answer.machine, system),
                 "machines": charts.machines_data(machines().values(), mapped.needs, system)},
                {"map": charts.map_text(mapped.ice_pct, answer), "machines": charts.machines_text(machines().values())},
                (Table("Outcome", COLUMNS, chop_rows(answer, system)), Table("What machines put into the batter: no figure is a constant of the machine",
                       ("machine", "heat", "basis", "status", "note"), rows)),
                (*answer.notes, INVENTED), answer.working, (*answer.sources, *(m.cite for m in machines().values())), (BLADES, COLD))


# a log of one's own --------------------------------------------------------------------------------------------------------------------
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
    from kit.panels.start import read_uploaded  # here, for start shows chop_rows

    controls = (
        File("sheet", "Choose the batch sheet of that log", ".toml,.csv,.xlsx", "Your files"),
        File("log", "Choose the log (CSV, TXT, XLSX)", ".csv,.txt,.tsv,.xlsx", "Your files"),
        Choice("unit", "Log is in", (("as the file says", ""), ("°C", "°C"), ("°F", "°F")), "", "Your files"),
        Entry("channel", "Column", "", "only if there are several", "Your files"),
        Entry("from_min", "Knives start at minute", "0", "minutes of the log", "Process"),
        Entry("to_min", "Knives stop at minute", "9", "empty: end of the log", "Process"),
    )

    def compute(values) -> Logged | Faulty:
        try:
            used = read_uploaded(*values["sheet"]) if values["sheet"] else sheet or demo_sheet()
            content = values["log"][1] if values["log"] else data_path("demo", "chopper_log.csv").read_bytes()
            log = _read(content, values["unit"])
        except Faulty as error:
            return error
        start = _minute(values["from_min"], "the minute the knives start", 0.0)
        stop = _minute(values["to_min"], "the minute the knives stop", log.minutes)
        return _logged(used, content, values["unit"], values["channel"].strip() or log.channels[0], start, min(stop, log.minutes))

    return Panel("Your own chopper: what does its log say?", controls, compute, log_view,
                 lambda system: {"log": charts.log_chart(system), "machines": charts.machines_chart(system)},
                 {"Count the minutes after the knives stopped": {"to_min": ""}, "Stop reading while ice is there": {"to_min": "3"}})


@lru_cache(maxsize=8)
def _read(content: bytes, unit: str) -> LogReading:
    return read_log(content, unit=unit or None)


def _minute(written: str, field: str, default: float) -> float:
    if not written.strip():
        return default
    amount = units.read(written, "min", field, bare="min")
    return need_between(field, amount, 0, 24 * 60)


@lru_cache(maxsize=8)
def _logged(sheet: Sheet, content: bytes, unit: str, channel: str, start: float, stop: float) -> Logged:
    """The fit takes a second, so the last few are kept: switching units must not wait for it."""
    need(stop > start, f"the knives stop at minute {stop:g}, not after they start at minute {start:g}; give both in minutes of the log")
    log, bowl = _read(content, unit), bowl_of(sheet)
    fit = fit_energy(bowl, log, channel, from_min=start, to_min=stop)
    minute = np.linspace(0, fit.minutes, 61)
    low, fitted, high = (path_by_time(bowl, rate, minute).end_C for rate in (fit.low_kJ_per_kg_min, fit.rate_kJ_per_kg_min, fit.high_kJ_per_kg_min))
    left_out = (f"The log covers {log.minutes:.1f} min; only minutes {start:g} to {stop:g} were counted.",
                ) if stop - start < log.minutes - 0.01 else ()
    return Logged(sheet, log, channel, fit, chop_of(sheet, machine_of(sheet)), chop_of(sheet, machine_of_fit(fit)), minute, low, fitted, high,
                  left_out)


def log_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        rows = tuple(Row((fault.where or "the file", fault.what, fault.remedy), "fails") for fault in result.faults)
        count = "1 thing" if len(rows) == 1 else f"{len(rows)} things"
        return View(f"This file cannot be used yet: {count} to mend or to say, listed below. Nothing was changed in it.", {}, {},
                    (Table("What to mend", ("where", "what is wrong", "what to try"), rows),), cautions=(BLADES, COLD))
    fit, log = result.fit, result.log

    def heat(value, places=0):
        return units.show(value, "kJ/kg", system, places)

    mine = machine_of_fit(fit)
    doubt = " The log cannot be trusted for this: see the warnings." if not fit.tells else ""
    sentence = (f"{'' if values['log'] else 'Demo log, invented: '}over {fit.minutes:.1f} min this chopper put in {heat(fit.energy_kJ_per_kg)} "
                f"(90 %: {heat(fit.energy_low_kJ_per_kg)} to {heat(fit.energy_high_kJ_per_kg)}).{doubt}")
    sentence = sentence[0].upper() + sentence[1:]
    before, after = (f"{units.show(a.range.low_C, '°C', system)} to {units.show(a.range.high_C, '°C', system)}" for a in (result.before, result.after))
    rows = [Row(("heat into the batter", heat(fit.energy_kJ_per_kg, 1), f"{heat(fit.energy_low_kJ_per_kg, 1)} to {heat(fit.energy_high_kJ_per_kg, 1)}")),
            Row(("per minute", heat(fit.rate_kJ_per_kg_min, 2), f"{heat(fit.low_kJ_per_kg_min, 2)} to {heat(fit.high_kJ_per_kg_min, 2)}")),
            Row(("power into the batter", f"{fit.power_kW:.1f} kW", f"{fit.power_low_kW:.1f} to {fit.power_high_kW:.1f} kW")),
            Row((f"end by the range of a {result.before.machine.name}, before", units.show(result.before.end_C, "°C", system),
                 f"{before} (eight draws in ten)")),
            Row(("end by this log, after", units.show(result.after.end_C, "°C", system), f"{after} (eight draws in ten)")),
            Row(("the log itself ends at", units.show(float(fit.measured_C[-1]), "°C", system), f"misfit {units.show(fit.misfit_K, 'K', system)}"))]
    unlike = ("No sheet of this log was chosen: the bowl is that of the invented demo batch, so the heat is not yours.",
              ) if values["log"] and result.sheet == demo_sheet() else ()
    rows += [Row(("✗ warning", text, ""), "fails") for text in (*unlike, *fit.warnings)]
    said = tuple(Row((text, "")) for text in log.understood) + tuple(Row((f"row {issue.rows[0]}", issue.says)) for issue in log.issues)
    needs = tuple(float(result.after.bowl.energy_to_kJ_per_kg(t)) for t in (result.after.guide.low_C, result.after.guide.high_C))
    shown = (mine, *machines().values())
    return View(sentence, {"log": charts.log_data(fit, result.low_C, result.high_C, result.minute, result.fitted_C, system),
                           "machines": charts.machines_data(shown, needs, system)},
                {"log": f"Readings of {result.channel} with the fitted line, misfit {fit.misfit_K:.1f} K.", "machines": charts.machines_text(shown)},
                (Table("What the log says", ("what", "value", "range"), tuple(rows)),
                 Table("What was understood of the file", ("understood", "look at"), said)),
                (*result.left_out, *fit.notes, *((INVENTED,) if not values["log"] else ())), fit.working,
                (*fit.sources, *(m.cite for m in machines().values())), (BLADES, COLD))

