"""One page on one cook: what the record shows, against which table and edition, with what margin, and what is missing."""
from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np

from kit.errors import KitError, OutOfRange, UnknownName, need, need_between
from kit.lethality import cautions
from kit.lethality.plausible import implausible
from kit.lethality.findings import Finding, cooling_finding, hold_finding, not_judged, p70_findings, single_point_finding
from kit.lethality.model import Reduction, line_of, reduction, reduction_by_d, times_slower
from kit.lethality.published import HISTORY, MEAT, hold_table, known_product, resistances, tables_for, windows_for
from kit.lethality.trace import Trace, stretches, trace
from kit.tables import number
from kit.working import Step

FRANK = "frankfurter, pork"


@dataclass(frozen=True)
class Mark:
    """One stage of the cook, in minutes of the record."""

    name: str
    start_min: float
    end_min: float


@dataclass(frozen=True)
class StageLine:
    """The coldest channel at the start and the end of a stage."""

    name: str
    start_min: float
    end_min: float
    start_C: float
    end_C: float


@dataclass(frozen=True)
class Record:
    """Everything the page says. Nothing here is a verdict on safety; `caution` says so and is always printed first."""

    title: str
    batch: str
    product: str
    cured: bool
    fat_pct: float | None
    probe_error_K: float | None
    channels: tuple[Trace, ...]
    coldest: str
    """name of the channel with the lowest peak"""
    stages: tuple[StageLine, ...]
    findings: tuple[Finding, ...]
    """cook: holds, P70, single temperature"""
    cooling: tuple[Finding, ...]
    history: tuple[Finding, ...]
    models: tuple[Reduction, ...]
    """the integrals beside the tables, and the published frankfurter figures as the caution"""
    slower: tuple[str, ...]
    missing: tuple[str, ...]
    understood: tuple[str, ...]
    caution: str
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]
    implausible: tuple[str, ...] = ()
    """why these readings may not be true; where there is one, nothing counts as met"""
    named: tuple[str, ...] = ()
    """the options that the plan names; all others are alternatives"""
    smokehouse: Trace | None = None
    file: str = ""
    start: str = ""
    """date and time of the first reading, as the log writes it"""

    def text(self) -> str:
        from kit.lethality.page import as_text

        return as_text(self)

    def html(self) -> str:
        from kit.lethality.page import as_html

        return as_html(self)


def traces_of_log(reading, channels: Sequence[str] | None = None) -> tuple[Trace, ...]:
    """Core channels of a log read by kit.logs (its usable readings only). Name the cores: a house or water channel must not be among them."""
    names = tuple(channels) if channels is not None else reading.channels
    need(bool(names), "name at least one channel")
    need(channels is not None or len(reading.channels) == 1,
         f"the log has {len(reading.channels)} channels; say which of them are cores: {', '.join(reading.channels)}")
    return tuple(_of_log(reading, name, True) for name in names)


def smokehouse_of_log(reading, channel: str) -> Trace:
    """The chamber's own trace, which may be hotter than a core."""
    return _of_log(reading, channel, False)


def _of_log(reading, name: str, core: bool) -> Trace:
    seconds, degrees = reading.channel(name)
    return trace(name, seconds, degrees, core=core, rows=reading.row[reading.usable[:, reading.channels.index(name)]])


def record(channels: Trace | Sequence[Trace], product: str, *, cured: bool, fat_pct: float | None = None, probe_error_K: float | None = None,
           humidity: tuple | None = None, wet_bulb: tuple | None = None, stages: Sequence[Mark] = (), title: str = "", batch: str = "",
           understood: Sequence[str] = (), file: str = "", start: str = "", smokehouse: Trace | None = None, diameter_mm: float | None = None,
           plan: Sequence[str] = ()) -> Record:
    """Compare core channels with every published figure that is held for this product.

    `product`: "meat" (no poultry at all), "chicken", "turkey" or "other poultry" (also any mixture). `probe_error_K`: what the probes may read wrong;
    the cook is judged with the trace lowered by it, the cooling with the trace raised. `humidity`, `wet_bulb`: (seconds, percent or °C) of the house.
    `understood`: what the log's reader said, of `file`, begun at `start`. `smokehouse`: the chamber's own trace; with `diameter_mm`, stuffed, it tells
    whether the cores can be true. `plan`: the limits that the plan names, by their words, such as "7 log" and "rapid chilling". Raises OutOfRange, UnknownName or Faulty for what cannot be compared.
    """
    channels = (channels,) if isinstance(channels, Trace) else tuple(channels)
    known_product(product)
    need(bool(channels), "there is no channel; give at least one")
    if len({held.name for held in channels}) < len(channels):
        raise KitError("two channels have the same name; name them apart")
    error = 0.0 if probe_error_K is None else need_between("probe_error_K", probe_error_K, 0, 10, "how many kelvins the probe may read wrong")
    low, high = tuple(c.lowered(error) for c in channels), tuple(c.lowered(-error) for c in channels)
    tables, why_not = tables_for(product, fat_pct)
    cooling = tuple(cooling_finding(high, window) for window in windows_for(cured))
    holds = [hold_finding(low, table, product) for table in tables]
    holds = [not_judged(f, f"the table is only for at most {table.fat_limit_pct:g} % fat, and the fat is not given") if fat_pct is None
             and table.fat_limit_pct is not None else f
             for f, table in zip(holds, tables)]
    findings = (*holds, *p70_findings(low), single_point_finding(low, product, cured))
    history = (not_judged(hold_finding(low, hold_table("trichina (history)"), HISTORY), "no longer a rule"),) if product == MEAT else ()
    models, slower = _models(low, tables, product)
    house, house_missing = _house(humidity, wet_bulb)
    missing = _missing(channels, probe_error_K, cooling, cured, why_not) + house_missing
    missing += _unsaid(smokehouse, diameter_mm)
    strange = implausible(channels, smokehouse, diameter_mm)
    findings, cooling = (tuple(not_judged(f, "the log is implausible") if strange and f.met else f for f in group) for group in (findings, cooling))
    worst = min(low, key=lambda held: held.peak_C)
    parts = (*findings, *cooling, *history)
    shown = cautions.ALL + ((cautions.HISTORY,) if history else ())
    return Record(title or "What the temperature record shows", batch, product, cured, fat_pct, probe_error_K, channels, worst.name,
                  _stages(channels, stages), findings, cooling,
                  history, models, slower, missing, tuple(understood), cautions.VALIDATES_NOTHING, shown[1:],
                  tuple(dict.fromkeys(note for held in channels for note in held.notes)) + house,
                  tuple(dict.fromkeys((*(f.source for f in parts), *(s for m in models for s in m.sources),
                                       number("lethality_comparable_low_C").cite()))),
                  tuple(step for part in (*parts, *models) for step in part.working),
                  strange, _named(plan, (*findings, *cooling)), smokehouse, file, start)


def _named(plan, findings) -> tuple[str, ...]:
    """The options that the plan's words mean; UnknownName, with what there is for this product, where they mean none or several."""
    options = tuple(dict.fromkeys(f.option for f in findings))
    found = []
    for words in plan:
        hits = [option for option in options if words.casefold() == option.casefold()] or [option for option in options if words.casefold() in option.casefold()]
        if len(hits) != 1:
            raise UnknownName("limit named by the plan", words, hits or options)
        found += hits
    return tuple(found)


def _unsaid(smokehouse, diameter_mm) -> tuple[str, ...]:
    said = () if smokehouse else ("trace of the smokehouse: without it the cores are compared with boiling water",)
    return said if diameter_mm is not None else (*said, f"stuffed diameter: without it the cores are compared with one of {number('cook_diameter').low:g} mm")


def _models(channels, tables, product) -> tuple[tuple[Reduction, ...], tuple[str, ...]]:
    """The worst channel by each line. The frankfurter figures are for meat; other products get them as a caution without a ratio."""
    found = [min((reduction(held, table, product) for held in channels), key=lambda m: m.logs) for table in tables if len(table.timed) >= 3]
    franks = [r for r in resistances() if r.product == FRANK and r.organism in ("Salmonella", "Listeria monocytogenes")]
    found += [min((reduction_by_d(held, r) for held in channels), key=lambda m: m.logs) for r in franks]
    said = []
    if product == MEAT:
        for r in franks:
            ratios = times_slower(r, tables[0])
            said.append(f"{r.organism} in {r.product}: {min(ratios.values()):.1f} to {max(ratios.values()):.1f} times slower "
                        f"than the line of the {tables[0].title} "
                        f"(z {line_of(tables[0]).z_K:.2f} K), at {min(ratios):g} to {max(ratios):g} °C")
    return tuple(found), tuple(said)


def _house(humidity, wet_bulb) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(what the house record shows, what is missing). Judged only against figures that were read, and these are for roasts and for surfaces."""
    limit, least = number("lethality_humidity_pct"), number("lethality_humidity_min")
    one, both = number("lethality_wet_bulb_one_zone_C"), number("lethality_wet_bulb_both_zones_C")
    notes, missing = [], []
    if humidity is None:
        missing.append(f"humidity of the house: roasts are asked for more than {limit.value:g} % for {least.value:g} min "
                       "or a sealed bag; other options exist and were not read")
    else:
        t, rh = _series(humidity, "humidity", 0, 100)
        longest = float(np.nan_to_num(stretches(t, rh, limit.value).longest_s()[0])) / 60
        notes.append(f"humidity at or above {limit.value:g} %: longest {longest:.1f} min "
                     f"(roasts are asked for more than {limit.value:g} % for {least.value:g} min; {limit.cite()})")
    if wet_bulb is None:
        missing.append(f"wet bulb of the house: {one.value:g} °C in one zone, or {both.value:g} °C in both, gave 6.5 log on surfaces in one study")
    else:
        t, wb = _series(wet_bulb, "wet bulb", -20, 100)
        notes.append(f"wet bulb at most {wb.max():.1f} °C (one study: {one.value:g} °C in one zone, or {both.value:g} °C in both; {one.cite()})")
    return tuple(notes), tuple(missing)


def _series(given, name: str, low: float, high: float):
    try:
        t, x = (np.asarray(part, float).ravel() for part in given)
    except (TypeError, ValueError):
        raise OutOfRange(f"{name} must be two rows of numbers: seconds, and values") from None
    need(len(t) == len(x) and len(t) >= 2, f"{name} has {len(t)} times and {len(x)} values; give two or more of each")
    need(bool((np.diff(t) > 0).all()), f"times of the {name} must rise; sort them")
    if not ((x >= low) & (x <= high)).all():
        bad = x[~((x >= low) & (x <= high))][0]
        raise OutOfRange(f"{name} holds {bad:g}; it must lie between {low:g} and {high:g}")
    return t, x


def _stages(channels, stages) -> tuple[StageLine, ...]:
    lines = []
    for mark in stages:
        need(mark.end_min > mark.start_min, f"stage {mark.name!r} ends at {mark.end_min:g} min, not after its start at {mark.start_min:g} min")
        ends = []
        for at in (mark.start_min, mark.end_min):
            inside = [float(np.interp(60 * at, held.time_s, held.temperature_C)) for held in channels
                      if held.time_s[0] <= 60 * at <= held.time_s[-1]]
            ends.append(min(inside) if inside else float("nan"))
        if any(isnan(end) for end in ends):
            first, last = min(h.time_s[0] for h in channels) / 60, max(h.time_s[-1] for h in channels) / 60
            raise OutOfRange(f"stage {mark.name!r} ({mark.start_min:g} to {mark.end_min:g} min) "
                             f"lies outside the record ({first:.1f} to {last:.1f} min)")
        lines.append(StageLine(mark.name, mark.start_min, mark.end_min, *ends))
    return tuple(lines)


def _missing(channels, probe_error_K, cooling, cured, why_not) -> tuple[str, ...]:
    said = list(why_not)
    if probe_error_K is None:
        said.append("how far the probe may read wrong: taken as exact; give it, and the cook is judged with the trace lowered by it")
    if len(channels) == 1:
        said.append("only one channel: nothing shows how far other links differ from this one")
    if any(f.met is None for f in cooling):
        said.append("cooling windows that the record does not reach: see their notes")
    said.append("when the cook ended and chilling began: the log does not say it; ordinary chilling is to begin within 90 minutes")
    if cured:
        said.append("ingoing nitrite and ascorbate or erythorbate: the slow options are for cured product only, "
                    "and the 2021 edition sets conditions on both that were not read")
    said.append("the editions of 2017 and 2021 of the cooking and cooling guidelines: not read; compare with the one that holds for you")
    said.append("probe calibration, place of the probe, and the name of the person who read the record")
    return tuple(said)
