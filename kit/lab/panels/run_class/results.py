"""What the class handed in: every finding with its evidence, and the teacher's decision on each."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from kit.classroom.codes import code, read_code
from kit.classroom.plan import ClassPlan
from kit.classroom.results import ACTIONS, WEIGHTS, ClassDecision, ClassResults, decided
from kit.errors import KitError, need
from kit.faults import need_said
from kit.files import put
from kit.lab.charts import trial as charts
from kit.lab.charts.style import numbered
from kit.lab.lessons import read_answer
from kit.lab.panels.controls import Needs, controls_of, needing
from kit.lab.panels.panel import Panel, Table, View, row
from kit.lab.panels.run_class.pieces import (
    PLAN,
    ClassPanel,
    cautions,
    classes_folder,
    printed_classes,
)
from kit.reading.class_decisions import decisions_toml, read_decisions
from kit.reading.class_plan import read_plan
from kit.reading.class_results import SUFFIXES, read_results
from kit.tables import data_path
from kit.trial.readings import ClassFinding

DEMO = "demo class (invented)"
DECISIONS, STORE = "decisions.toml", "Store this decision"
NEXT = ("the next open one", 0)


@dataclass(frozen=True, eq=False)
class ResultsRead:
    """What was read, before and after the decisions that are taken here; `lapsed`: stored decisions whose finding is gone."""

    folder: Path
    as_read: ClassResults
    results: ClassResults
    lapsed: tuple[ClassDecision, ...]

    @property
    def plan(self) -> ClassPlan:
        return self.results.plan

    def finding(self, number: int) -> ClassFinding | None:
        """The finding of this number in the table, or the first one that is open, else the first."""
        found = self.as_read.findings
        return found[number - 1] if number else next(iter((*self.results.open, *found)), None)


def results_panel() -> Panel:
    """The filled workbooks of a class, what looks wrong in them, and a decision on each finding.

    Decisions go into a file beside the workbooks, those on the demo class into the folder of classes.
    """
    folders = ((DEMO, DEMO), *((one.name, str(one)) for one in printed_classes()))
    of_tube = Needs(("action",), "an exchange takes both", ("keep", "correct", "leave out"))

    def offered(values) -> tuple:
        """The controls, with the findings of the class that is chosen."""
        found = _as_read(_folder(values)).findings
        numbers = ((f"{n}: station {one.station}, {one.kind}", n) for n, one in enumerate(found, 1))
        options = {
            "folder": folders,
            "decisions": (("as stored", True), ("none", False)),
            "finding": (NEXT, *numbers),
            "action": ACTIONS,
            "weight": WEIGHTS,
        }
        held = controls_of("class results", options=options, weight=WEIGHTS[1])
        return needing(held, {"code": of_tube})

    def asked(values) -> tuple:
        folder = _folder(values)
        return folder, _as_read(folder), _stored(folder) if values["decisions"] else ()

    return ClassPanel(
        "The results",
        offered,
        asked,
        _taken,
        results_view,
        {"tubes": charts.tubes_chart},
        {"Before any decision": {"decisions": False}},
        acts={STORE: (_store, "Nothing was stored")},
    )


def _taken(asked: tuple[Path, ClassResults, tuple[ClassDecision, ...]]) -> ResultsRead:
    folder, as_read, stored = asked
    known = {one.key for one in as_read.findings}
    lapsed = tuple(one for one in stored if one.finding not in known)
    results = decided(as_read, [one for one in stored if one.finding in known])
    return ResultsRead(folder, as_read, results, lapsed)


def _store(found: ResultsRead, values) -> str:
    """Keep the decision that the controls say, in place of an earlier one on the same tube and weight."""
    finding = found.finding(values["finding"])
    need(finding is not None, "there is no finding to decide on")
    assert finding is not None
    correct = values["action"] == "correct"
    new = ClassDecision(
        finding.key,
        values["action"],
        values["reason"].strip(),
        code(*read_code(values["code"])) if values["code"].strip() else "",
        values["weight"] if correct else "",
        read_answer(values["value"], "g", "the corrected weight") if correct else None,
    )
    same = new.finding, new.code, new.weight
    kept = [one for one in _stored(found.folder) if (one.finding, one.code, one.weight) != same]
    decided(found.as_read, [*(one for one in kept if one not in found.lapsed), new])
    place = kept_in(found.folder)
    place.mkdir(parents=True, exist_ok=True)
    put(place / DECISIONS, decisions_toml([*kept, new]), overwrite=True)
    return f"Stored: {finding.kind}, station {finding.station}: {new.action}. "


def _folder(values) -> Path:
    """Of the class that is chosen."""
    chosen = values.get("folder", DEMO)
    return Path(data_path("demo", "class")) if chosen == DEMO else Path(chosen)


def _stamp(folder: Path) -> tuple:
    """What a folder of results holds, as far as a change of it shows."""
    try:
        files = [p for p in sorted(folder.iterdir()) if p.suffix.lower() in (*SUFFIXES, ".toml")]
        return tuple((p.name, (at := p.stat()).st_mtime_ns, at.st_size) for p in files)
    except OSError as cause:
        raise KitError(f"{folder.name} cannot be read ({cause.strerror})") from None


def _as_read(folder: Path) -> ClassResults:
    return _read_once(folder, _stamp(folder))


@lru_cache(maxsize=4)
def _read_once(folder: Path, stamp: tuple) -> ClassResults:
    results = read_results(folder, read_plan(folder / PLAN))
    need_said(bool(results.tubes or results.faults or results.set_aside), "no tube written yet")
    return results


def kept_in(folder: Path) -> Path:
    """Where what a person decides or writes about a class is kept: beside its workbooks; of the demo class among the person's own classes."""
    demo = folder == Path(data_path("demo", "class"))
    return classes_folder() / "demo_class" if demo else folder


def _stored(folder: Path) -> tuple[ClassDecision, ...]:
    """The decisions of a class; those of the demo class until somebody stores others."""
    places = (one / DECISIONS for one in (kept_in(folder), folder))
    place = next((one for one in places if one.is_file()), None)
    return read_decisions(place) if place else ()


def results_view(found: ResultsRead, values, system: str) -> View:
    results, plan = found.results, found.plan
    planned, left = len(plan.design.fill_g), len(results.open)
    state = "each with a decision" if not left else f"{left} not decided yet"
    sentence = f"{len(results.losses)} of {planned} tubes of class {plan.class_number} count; {len(results.findings)} findings, {state}."
    asked = found.finding(values["finding"])
    if asked:
        number = results.findings.index(asked) + 1
        sentence += f" Finding {number}, station {asked.station}: {asked.kind}. {asked.evidence[0].upper()}{asked.evidence[1:]}. Look at {asked.look_at}."
    done: dict[str, dict[str, list[str]]] = {}
    for one in results.decisions:
        said = f"{one.does}{' of ' * bool(one.code)}{one.code}"
        done.setdefault(one.finding, {}).setdefault(one.reason, []).append(said)

    def decision(finding: ClassFinding) -> str:
        its = done.get(finding.key, {}).items()
        return "; ".join(f"{', '.join(said)}: {reason}" for reason, said in its)

    rows = (
        row(
            *(f"{n}", one.kind, f"{one.station}", one.evidence),
            decision(one) or "✗ not decided",
            mark="strong" if one.key in done else "fails",
        )
        for n, one in enumerate(results.findings, 1)
    )
    faults = [row(one.where, one.what, one.remedy, mark="fails") for one in results.faults]
    columns = "finding", "what", "station", "evidence", "decision"
    where = "where", "fault", "remedy"
    lapsed = "stored decision without its finding, not applied"
    return View(
        sentence,
        {"tubes": _tubes(results, asked)},
        tables=(
            Table("Findings and decisions", columns, rows),
            Table("Faults in the files", where, faults or [("none", "", "")], folded=True),
        ),
        notes=(
            *(f"{lapsed}: {one}" for one in found.lapsed),
            *results.notes,
            "A class whose papers were made since is listed when this cell is run again.",
            "A finding changes nothing: keep, correct, exchange back or leave out is your decision, and it stands in the report.",
        ),
        sources=plan.spread.sources,
        cautions=cautions(plan),
    )


def _tubes(results: ClassResults, asked: ClassFinding | None) -> dict[str, list[dict]]:
    """Rows for the chart of tubes; a ring around those that the finding is about."""
    question, rings = results.plan.question, []
    level = results.plan.design.level
    words = [
        ", ".join(one.words(at) for one, at in zip(question.factors, treatment))
        for treatment in question.treatments
    ]
    about = asked.keys or ((asked.station,),) if asked else ()
    rows = []
    for one in results.losses:
        key = (one.station, one.batter, one.tube)
        place = numbered(one.station, f"station {one.station}")
        rows.append({"place": place, "loss": one.loss_pct, "level": words[level[key[:2]]]})
        if any(key[: len(k)] == k for k in about):
            rings.append(rows[-1] | {"words": f"{one.batter}-{one.tube}"})
    return {"tubes": rows, "asked": rings}
