"""Records of many batches: the file that all panels of the page take, what was understood of it, what is wrong with it, what each stage loses, and where to look first."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from hashlib import sha1
from pathlib import Path

import numpy as np

from kit import units
from kit.batches import BatchTable, i_mr
from kit.batches.analysis import Analysis, StageReport
from kit.errors import Faulty, KitError, OutOfRange, need
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches import asked as ask
from kit.lab.panels.batches.pieces import (
    CAUTION,
    INVENTED,
    largest_recoverable,
    recipe_starts,
    report_tables,
)
from kit.lab.panels.batches.printed import findings_of
from kit.lab.panels.controls import Needs, needing
from kit.lab.panels.panel import Choice, Day, Entry, File, Panel, Slider, Switch, Table, View
from kit.lab.panels.sheets import faults_view, read_uploaded
from kit.reading.plant import Analysed, analysed, arranged, demo_analysis, demo_recipes
from kit.reading.records import Mapping as RecordMapping
from kit.reading.records import Records, read_mapping, read_records

SHEETS = ("sheet_1", "sheet_2")
SHOWN = 12
"""faults and findings of the records listed at most; a set-aside file holds them all"""
YOURS, USED, MORE = "Your records", "Records used", "Beside your records"
FORMS = ".csv,.tsv,.txt,.xlsx,.parquet"
FILES = (
    File("records", "Plant records (CSV, XLSX, Parquet)", FORMS, YOURS),
    Entry(
        "path", "Or where the file is", "", "for large files: folder/file.csv", YOURS, stays=True
    ),
)
BESIDE = (
    File("mapping", "Edited mapping (TOML)", ".toml", MORE),
    *(
        File(key, f"Recipe sheet {n} (TOML, CSV, XLSX)", group=MORE)
        for n, key in enumerate(SHEETS, 1)
    ),
)
VIEWED = (
    Switch("recipe", "Correct for recipe changes", True, "What is shown"),
    Slider("over", "Batches averaged in the chart", "", 1, 30, 1, 8, "What is shown"),
)


@dataclass(frozen=True)
class RecordFile:
    """A file of the person's own: its bytes, or its path with size and time of change."""

    name: str
    content: bytes | str
    stamp: tuple[int, int] = (0, 0)

    @property
    def digest(self) -> str:
        return _digest(self.content if isinstance(self.content, bytes) else repr(self).encode())


@lru_cache(maxsize=4)
def _digest(content: bytes) -> str:
    return sha1(content, usedforsecurity=False).hexdigest()[:8]


@dataclass(frozen=True, eq=False)
class Opened:
    """What all panels of the page work on. Faults and questions of the file as a whole stand in place of an answer, so that they can be listed."""

    mapping: RecordMapping
    answer: Analysed | Faulty
    plain: Callable[[], Analysed]
    """the same without correction for recipes"""
    asked: ask.Asked | None = None
    kept: str = ""
    """where the answers were kept"""
    edited: bool = False
    """the mapping is a file of the person's own"""


def source_of(values: Mapping) -> RecordFile | None:
    """The file that is chosen; None for the demo."""
    typed = str(values.get("path") or "").strip(" \t\"'")
    if not values.get("records"):
        if not typed:
            return None
        path = Path(typed).expanduser()
        held = path.stat() if path.is_file() else None
        return RecordFile(
            path.name, str(path), (held.st_mtime_ns, held.st_size) if held else (0, 0)
        )
    need(not typed, "a file is chosen and a path is typed; empty one of the two")
    return RecordFile(*values["records"])


@lru_cache(maxsize=8)
def _asked(source: RecordFile, answers: tuple[tuple[str, str], ...], among: tuple) -> ask.Asked:
    return ask.asked_of(source.content, source.name, dict(answers), among)


def asked_of(source: RecordFile, values: Mapping) -> ask.Asked:
    """The questions of this file with the person's answers; the answers kept from an earlier file of the same columns, unless there are new ones."""
    answers = ask.answers_of(values, source.digest)
    anew = answers or values.get(f"kept {source.digest}") == "anew"
    return _asked(source, tuple(answers.items()), () if anew else ask.kept())


@lru_cache(maxsize=4)
def _read(source: RecordFile, mapping: RecordMapping) -> tuple[Records, BatchTable]:
    records = read_records(source.content, mapping, name=source.name)
    return records, arranged(records)[0]


@lru_cache(maxsize=8)
def opened(
    source: RecordFile,
    asked: ask.Asked,
    mapping: RecordMapping,
    sheets: tuple[tuple[str, bytes], ...],
    chosen: tuple[tuple[str, object], ...],
    edited: bool,
) -> Opened:
    """One file with its mapping and sheets, each named as the recipe it holds; `chosen`: product, first and last day."""
    if mapping.questions:
        faults = Faulty(source.name, [question.fault for question in mapping.questions])
        return Opened(mapping, faults, demo_analysis, asked, edited=edited)
    recipes = {Path(file).stem: read_uploaded(file, held) for file, held in sheets}
    try:
        records, _ = _read(source, mapping)
    except Faulty as error:
        return Opened(mapping, error, demo_analysis, asked, edited=edited)
    kept = ask.keep(mapping, source.name) if asked.met and not edited else ""
    answer = analysed(records, recipes=recipes, **dict(chosen))
    plain = lru_cache(lambda: analysed(records, **dict(chosen)) if recipes else answer)
    return Opened(mapping, answer, plain, asked, kept, edited)


@lru_cache(maxsize=8)
def opened_demo(chosen: tuple[tuple[str, object], ...]) -> Opened:
    """The invented records, or what is chosen of them."""
    whole = demo_analysis()
    if not any(said for _, said in chosen):
        return Opened(whole.records.mapping, whole, lambda: demo_analysis(False))
    answer = analysed(whole.records, recipes=demo_recipes(), **dict(chosen))
    plain = lru_cache(lambda: analysed(whole.records, **dict(chosen)))
    return Opened(whole.records.mapping, answer, plain)


def controls_of(values: Mapping) -> tuple:
    """The file, its questions, which of its batches, and what is shown of them."""
    source, asked, records, weighed = source_of(values), (), None, None
    try:
        if source is None:
            records, weighed = demo_analysis().records, demo_analysis().table
        elif values.get("mapping"):
            records, weighed = _read(source, _own(values["mapping"]))
        else:
            found = asked_of(source, values)
            anew = values.get(f"kept {source.digest}") == "anew"
            asked = ask.controls_of(found, source.digest, anew)
            if not found.mapping.questions:
                records, weighed = _read(source, found.mapping)
    except KitError:
        pass  # `compute` says what is wrong
    own = {"recipe": Needs(SHEETS, "no recipe sheet is given")} if source else {}
    return (*FILES, *asked, *_used(records, weighed), *needing(VIEWED, own), *BESIDE)


def _used(records: Records | None, weighed: BatchTable | None) -> tuple:
    """Product and period, as far as the records hold them."""
    if records is None or weighed is None:
        return ()
    found: list = []
    products = sorted(set(weighed.made) - {""})
    if len(products) > 1:
        label = "Product" if records.mapping.column("product") else "Recipe"
        options = (("all", ""), *((one, one) for one in products))
        found.append(Choice("product", label, options, "", USED, stays=True))
    if weighed.dates is not None and not np.isnat(weighed.dates).all():
        ends = np.nanmin(weighed.dates), np.nanmax(weighed.dates)
        low, high = (end.astype("datetime64[D]").item() for end in ends)
        found += [Day("first", "From", low, high, USED), Day("last", "To", low, high, USED)]
    return tuple(found)


def _own(file: tuple[str, bytes]) -> RecordMapping:
    return read_mapping(file[1].decode("utf-8", "replace") + "\n")


def compute(values: Mapping) -> Opened:
    chosen = tuple(
        (key, values.get(key) or ("" if key == "product" else None))
        for key in ("product", "first", "last")
    )
    sheets = tuple(values[key] for key in SHEETS if values[key])
    source = source_of(values)
    if source is None:
        if values["mapping"] or sheets:
            raise OutOfRange(
                "a mapping and sheets belong to a file of your own; choose your records first"
            )
        return opened_demo(chosen)
    asked = asked_of(source, values)
    mapping = _own(values["mapping"]) if values["mapping"] else asked.mapping
    return opened(source, asked, mapping, sheets, chosen, bool(values["mapping"]))


def records_panel() -> Panel:
    """What each stage loses over time, and where to look first: the invented records, or a file of the person's own, which the other panels of the page follow."""
    return Panel(
        "Losses across batches: findings",
        controls_of,
        compute,
        records_view,
        {"share": charts.share_chart, "control": charts.control_chart},
        {
            "Ignore the recipe change": {"recipe": False},
            "Single batches": {"over": 1},
        },
    )


def records_view(found: Opened, values, system) -> View:
    mapped = Table(
        "How the columns were read (write_mapping writes a file to edit)",
        ("column", "read as", "reason"),
        found.mapping.lines(),
        folded=True,
    )
    met = found.asked and found.asked.met and not found.edited
    asked = (ask.questions_table(found.asked),) if met else ()
    if asked and found.mapping.questions:
        count, more = len(found.mapping.questions), len(found.mapping.questions) > 1
        return View(
            f"These records leave {count} question{'s' if more else ''} open: answer {'them' if more else 'it'} in the fields under “{ask.ASK}”. Your file was not changed.",
            tables=(*asked, mapped),
            cautions=(CAUTION,),
        )
    if isinstance(found.answer, Faulty):
        return faults_view(found.answer, "These records", CAUTION, more=(mapped,))
    own, answer = found.asked is not None, found.answer if values["recipe"] else found.plain()
    analysis, weighed, report = answer.analysis, answer.table, answer.records.report
    recipes = None if values["recipe"] else recipe_starts(found.answer.analysis)
    first, *others = report_tables(analysis, system, recipes)
    lost = units.show(float(np.nansum(weighed.lost_kg)), "kg", system, 0)
    share = float(np.nansum(weighed.loss_share_pct, axis=1).mean())
    aside = f"; {report.rows_set_aside:,} of {report.rows_read:,} rows set aside"
    aside = aside if report.rows_set_aside else ""
    sentence = (
        f"{'' if own else 'Demo records, invented: '}{weighed.span}{aside}: loss {lost}, {share:.1f} % of the weight in. "
        + _first(analysis)
    )
    if any(row.mark for row in first.rows):
        sentence += " The recipe changed at this batch."
    most = largest_recoverable(analysis)
    if most:
        sentence += f" Largest recoverable loss (a stage against its own best run): {most.stage}, {units.show(most.kg, 'kg', system, 0)}."
    told = enumerate(analysis.findings.findings, 1)
    marks = [(n, f.start) for n, f in told if f.start is not None]
    data = {"share": charts.share_data(weighed, int(values["over"]), marks)}
    text = {"share": charts.share_text(weighed)}
    line = _worth_a_chart(analysis)
    if line:
        starts = line.changes.starts if line.changes else ()
        chart = i_mr(line.loss_pct[line.rows], phase_starts=starts, unit="percentage points")
        drawn = chart, line.changes, line.rows, line.name
        data["control"] = charts.control_data(weighed, *drawn)
        text["control"] = charts.control_text(*drawn)
    wrong = Table(
        "Faults and suspect values in the records",
        ("row", "fault", "remedy"),
        _wrong(answer.records) or [("", "none found", "")],
    )
    understood = Table(
        "How the file was read",
        ("read as",),
        ((line,) for line in (*_kept(found), *str(report).splitlines(), *answer.notes)),
        folded=True,
    )
    return View(
        sentence,
        data,
        text,
        (first, wrong, *asked, *others, understood, mapped),
        (*_kept(found), *analysis.notes, *(() if own else (INVENTED,))),
        answer.working[:40],
        answer.sources,
        (CAUTION,),
        ("findings.html", partial(findings_of, answer, system)),
    )


def _first(analysis: Analysis) -> str:
    """The first finding, and why it stands first."""
    found = analysis.findings
    if not found.findings:
        return found.verdict
    first = found.findings[0]
    why = "the change that costs most" if first.kg > 0 else "an improvement"
    why = "a fault of the records, which spoils other figures" if first.is_record_fault else why
    return f"First finding ({why}): {found.verdict}"


def _kept(found: Opened) -> tuple[str, ...]:
    """What became of the answers to questions, or which earlier ones were taken."""
    used = found.asked and found.asked.kept_as
    return tuple(filter(None, (found.kept, used and f"read with the answers kept in {used}")))


def _wrong(records) -> list[tuple[str, ...]]:
    """Faults of rows, then findings, at most SHOWN of each."""
    lines = [
        (f"row {one.row}, {one.column}" if one.column else f"row {one.row}", one.what, one.remedy)
        for one in records.faults[:SHOWN]
    ]
    odd = _gathered(records.findings)
    lines += odd[:SHOWN]
    more = max(len(records.faults) - SHOWN, 0) + max(len(odd) - SHOWN, 0)
    if more:
        how = "write_set_aside writes the rows set aside into a file of their own"
        lines.append(("", f"{more:,} more", how))
    return lines


def _gathered(findings) -> list[tuple[str, ...]]:
    """One line for each batch and kind of finding: a row that was copied whole would else be told once for every weight in it."""
    by: dict[tuple, list] = {}
    for one in findings:
        by.setdefault((one.batch, one.kind, one.remedy), []).append(one.what)
    lines = []
    for (batch, kind, remedy), what in by.items():
        more = f"; and {len(what) - 3} more like it" if len(what) > 3 else ""
        lines.append((f"batch {batch}", f"{kind}: {'; '.join(what[:3])}{more}", remedy))
    return lines


def _worth_a_chart(analysis: Analysis) -> StageReport | None:
    """The stage of the first finding that has a chart; else everything together."""
    lines = {line.name: line for line in analysis.lines if line.chart is not None}
    wanted = (*(f.stage for f in analysis.findings.findings), "overall")
    return next((lines[name] for name in wanted if name in lines), None)
