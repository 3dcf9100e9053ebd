"""One page on one cook: what the record shows, against which table and edition, with what margin, and what is missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from kit.errors import KitError, UnknownName, need, need_between
from kit.faults import need_said
from kit.lethality import cautions
from kit.lethality.findings import (
    RowFinding,
    cooling_findings,
    hold_finding,
    not_judged,
    p70_findings,
    single_point_finding,
)
from kit.lethality.operating import come_up_findings, humidity_words
from kit.lethality.plausible import implausible
from kit.lethality.published import known_product, superseded, tables_for
from kit.lethality.trace import Trace, trace
from kit.tables import number
from kit.working import Result, notes_of


@dataclass(frozen=True)
class Record(Result):
    """Everything the page says. Nothing here is a verdict on safety; `caution` says so and is always printed first."""

    batch: str
    product: str
    cured: bool
    fat_pct: float | None
    probe_error_K: float | None
    channels: tuple[Trace, ...]
    coldest: str
    """name of the channel with the lowest peak"""
    findings: tuple[RowFinding, ...]
    """cook: holds, P70, single temperature, come-up"""
    cooling: tuple[RowFinding, ...]
    missing: tuple[str, ...]
    understood: tuple[str, ...]
    caution: str
    cautions: tuple[str, ...]
    implausible: tuple[str, ...]
    """why these readings may not be true; where there is one, nothing counts as met"""
    named: tuple[str, ...]
    """the options that the plan names; all others are alternatives"""
    smokehouse: Trace | None
    file: str
    start: str
    """date and time of the first reading, as the log writes it"""


def traces_of_log(reading, channels: Sequence[str] | None = None) -> tuple[Trace, ...]:
    """Core channels of a log read by kit.reading.logs (its usable readings only). Name the cores: a smokehouse or water channel must not be among them."""
    names = tuple(channels) if channels is not None else reading.channels
    need(bool(names), "name at least one channel")
    alone = channels is not None or len(reading.channels) == 1
    need_said(alone, "which cores", count=len(reading.channels), channels=", ".join(names))
    return tuple(trace_of_log(reading, name) for name in names)


def trace_of_log(reading, name: str, core: bool = True) -> Trace:
    """One channel of a log; not `core`: the chamber's own, which may be hotter than a core."""
    seconds, degrees = reading.channel(name)
    usable = reading.usable[:, reading.channels.index(name)]
    return trace(name, seconds, degrees, core=core, rows=reading.row[usable])


def record(
    channels: Trace | Sequence[Trace],
    product: str,
    *,
    cured: bool,
    smoked: bool = False,
    nitrite_ppm: float | None = None,
    casing: str | None = None,
    fat_pct: float | None = None,
    probe_error_K: float | None = None,
    batch: str = "",
    understood: Sequence[str] = (),
    on: date | None = None,
    file: str = "",
    start: str = "",
    smokehouse: Trace | None = None,
    diameter_mm: float | None = None,
    plan: Sequence[str] = (),
) -> Record:
    """Compare core channels with every published figure that is held for this product.

    channels: one Trace of a core or several, °C over s
    product: "meat" (no poultry at all), "chicken", "turkey" or "other poultry" (also any mixture)
    cured: whether nitrite was put in
    smoked: whether it was smoked
    nitrite_ppm: ingoing, mg/kg of meat; the slow cooling windows require it
    casing: its kind, or "none"; humidity of the smokehouse is required for product without one
    fat_pct: of the finished product, 0 to 100 %; some poultry tables need it
    probe_error_K: error of the probes, K, 0 or more: the cook is judged lower by it, the cooling higher
    batch: its number or name
    understood: what the log's reader said
    on: day whose editions are asked for; today where left out
    file: name of the log's file
    start: when the log began
    smokehouse: the chamber's own Trace
    diameter_mm: stuffed diameter, mm; with `smokehouse` it tells whether the cores can be true
    plan: limits that the plan names, by their words, such as "7 log" and "rapid chilling"
    Returns Record: a finding beside each published row and window, with margins. It certifies nothing.
    Raises OutOfRange, UnknownName or Faulty for what cannot be compared.
    Source: data/lethality/*.csv, each row with its edition.
    """
    channels = (channels,) if isinstance(channels, Trace) else tuple(channels)
    known_product(product)
    need(bool(channels), "there is no channel; give at least one")
    need_said(len({held.name for held in channels}) == len(channels), "channels alike", KitError)
    error, remedy = 0.0, "error of the probe in kelvins"
    if probe_error_K is not None:
        error = need_between("probe_error_K", probe_error_K, 0, 10, remedy)
    low = tuple(held.lowered(error) for held in channels)
    high = tuple(held.lowered(-error) for held in channels)
    tables, why = tables_for(product, fat_pct, on)
    cooling = cooling_findings(high, cured, nitrite_ppm, on)
    free = tuple(table for table in tables if not table.condition)
    holds = tuple(hold_finding(low, table, product) for table in free)
    # a lower reduction on a condition says nothing where a higher one is met without
    if plan or not any(f.met for f in holds):
        holds += tuple(hold_finding(low, table, product) for table in tables if table.condition)
    findings = (
        *holds,
        *p70_findings(low),
        single_point_finding(low, product, cured, smoked),
        *come_up_findings(low, free, on),
    )
    humidity_missing, humidity_notes = humidity_words(casing, on)
    lacks = {
        "exact": probe_error_K is None,
        "alone": len(channels) == 1,
        "unreached": any(f.met is None and f.margin is None for f in cooling),
        "nitrite": cured and nitrite_ppm is None,
        "cured": cured,
    }
    beside = {"smokehouse": smokehouse is None, "diameter": diameter_mm is None}
    missing = (
        *why,
        *notes_of("record lacks", lacks),
        *humidity_missing,
        *(
            f"{w.title} ({w.start_F:g} to {w.end_F:g} °F in {w.limit_min:g} min): {w.note}"
            for w in superseded(on)
        ),
        *notes_of("comparison lacks", beside, low_mm=number("cook_diameter").low),
    )
    strange = implausible(channels, smokehouse, diameter_mm)
    if strange:
        findings, cooling = (
            tuple(not_judged(f, "the log is implausible") if f.met else f for f in group)
            for group in (findings, cooling)
        )
    notes = list(dict.fromkeys(note for held in channels for note in held.notes))
    if on:
        notes.append(f"published figures of the editions in force on {on:%-d %B %Y}")
    rows = ("lethality_comparable_low_C", "lethality_frank_d_min")
    return Record(
        batch=batch,
        product=product,
        cured=cured,
        fat_pct=fat_pct,
        probe_error_K=probe_error_K,
        channels=channels,
        coldest=min(low, key=lambda held: held.peak_C).name,
        findings=findings,
        cooling=cooling,
        missing=missing,
        understood=tuple(understood),
        caution=cautions.VALIDATES_NOTHING,
        cautions=cautions.ALL[1:],
        implausible=strange,
        named=_named(plan, (*findings, *cooling)),
        smokehouse=smokehouse,
        file=file,
        start=start,
        own_notes=(*notes, *humidity_notes),
        own_sources=tuple(number(row).cite() for row in rows),
    )


def _named(plan, findings) -> tuple[str, ...]:
    """The options that the plan's words mean; UnknownName, with what there is for this product, where they mean none or several."""
    options = tuple(dict.fromkeys(f.option for f in findings))
    found = []
    for words in plan:
        asked = words.casefold()
        same = [option for option in options if asked == option.casefold()]
        hits = same or [option for option in options if asked in option.casefold()]
        if len(hits) != 1:
            raise UnknownName("limit named by the plan", words, hits or options)
        found += hits
    return tuple(found)
