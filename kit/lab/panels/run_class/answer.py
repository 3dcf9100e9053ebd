"""What the class found, beside what it guessed and what the model predicts; what may be concluded, and the marks."""

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from kit.classroom.plan import ClassPlan
from kit.errors import KitError, need
from kit.faults import need_said
from kit.files import put
from kit.lab.charts import trial as charts
from kit.lab.charts.style import COLOUR, numbered
from kit.lab.lessons.marks import ClassMarks, mark
from kit.lab.pages.class_marks import marks_html, write_marks
from kit.lab.panels.controls import Needs
from kit.lab.panels.panel import Choice, Panel, Table, View, row
from kit.lab.panels.run_class.pieces import ClassPanel, cautions, points, result_of
from kit.lab.panels.run_class.results import ResultsRead, kept_in, results_panel
from kit.reading.class_kept import merged_csv, scatter_toml
from kit.trial.analyse import LEAST_DOF, STRAIGHT, Answer, Effect, form_of
from kit.trial.rows import words_of

WRITE, KEEP = "Write the marks into the folder", "Keep tubes and scatter for later"
NOTHING = "Nothing was written"


@dataclass(frozen=True, eq=False)
class ClassAnswered:
    """The answer, and the marks where somebody handed in."""

    read: ResultsRead
    answer: Answer
    marks: ClassMarks | None

    @property
    def plan(self) -> ClassPlan:
        return self.read.plan


def answer_panel(results: Panel | None = None) -> Panel:
    """Effect with its interval, each station's guess, the model's prediction; the sentence; marks."""
    above = results or results_panel()

    def offered(values) -> tuple[Choice, ...]:
        found = () if above.error else above.result.results.answer.effects
        words = tuple((one.words, n) for n, one in enumerate(found)) or (("the first", 0),)
        alone = None if words[1:] else Needs((), "there is one")
        return (Choice("comparison", "Comparison", words, 0, "The answer", needs=alone),)

    return ClassPanel(
        "The answer",
        offered,
        lambda values: result_of(above),
        _answered,
        answer_view,
        {"answer": charts.answer_chart},
        above=above,
        acts={WRITE: (_write_marks, NOTHING), KEEP: (_keep, NOTHING)},
    )


def _answered(read: ResultsRead) -> ClassAnswered:
    answer = read.results.answer
    try:
        return ClassAnswered(read, answer, mark(read.folder, read.plan, read.results, answer))
    except KitError:  # nobody handed in
        return ClassAnswered(read, answer, None)


def _write_marks(found: ClassAnswered, values) -> str:
    need(found.marks is not None, "no station handed in")
    assert found.marks
    folder = _kept_in(found)
    there = folder / "marks.csv"
    same = not there.exists() or there.read_bytes() == found.marks.csv().encode()
    need_said(same, "marks are there")
    write_marks(found.marks, folder, overwrite=True)
    return f"marks.csv and marks.html are in {folder.parent.name}/{folder.name}. "


def _keep(found: ClassAnswered, values) -> str:
    """For lesson 04, and for the plan of the next class."""
    results, folder = found.read.results, _kept_in(found)
    put(folder / "merged.csv", merged_csv(results), overwrite=True)
    put(folder / "scatter.toml", scatter_toml(results.scatter), overwrite=True)
    return f"merged.csv, for the levels of lesson 04, and scatter.toml, for the next class, are in {folder.parent.name}/{folder.name}. "


def _kept_in(found: ClassAnswered) -> Path:
    folder = kept_in(found.read.folder)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def answer_view(found: ClassAnswered, values, system: str) -> View:
    answer, plan, marks = found.answer, found.plan, found.marks
    effect = answer.effects[values["comparison"]]
    left = len(found.read.results.open)
    warning = f" {left} findings are not decided yet." if left else ""
    model = f" Model: {effect.against_model}." if effect.against_model else ""
    its = effect.found
    rows: list = [row(effect.words, points(its.low, its.value, its.high), mark="strong")]
    if effect.predicted_points and effect.difference_points:
        low, high = effect.difference_points
        less = f"{low:+.1f} to {high:+.1f}".replace("-", "−")
        rows += [
            ("predicted by the model, 90 % interval", points(*effect.predicted_points)),
            ("class less model, 95 % confidence interval", less),
        ]
    rows += [("may be concluded", one) for one in answer.may]
    rows += [("may not be concluded", one) for one in answer.may_not]
    scatter = [
        (f"between {part}s", f"{sd:.2f} percentage points")
        for part, sd in answer.components.items()
    ]
    forms = "The four forms of the sentence"
    what = "what", "in percentage points, or in words"
    deviations = "standard deviation", "value"
    tables = (
        Table("What the class may say", what, rows),
        Table(forms, ("interval", "form", ""), _forms(effect, plan), folded=True),
        Table("Scatter of this class", deviations, scatter, folded=True),
        *([_marks(marks)] if marks else []),
    )
    page = f"class_{plan.class_number}_marks.html", partial(marks_html, marks)
    return View(
        f"{effect.sentence}{model}{warning}",
        {"answer": _rows(answer, effect, marks)},
        tables=tables,
        notes=(*answer.lost, *answer.notes),
        steps=answer.working,
        sources=answer.sources,
        cautions=cautions(plan),
        page=page if marks else None,
    )


def _forms(effect: Effect, plan: ClassPlan):
    """Each form of the sentence with its condition; the last cell says which one applies."""
    known = {"worth": plan.worth_knowing_points, "least_dof": LEAST_DOF}
    applies = form_of(effect.found, plan.worth_knowing_points)
    for form, *cells in words_of("form"):
        here = ("applies here", "strong") if form == applies else ("", "")
        yield row(*(cell.format(**known) for cell in cells), here[0], mark=here[1])


def _rows(answer: Answer, effect: Effect, marks: ClassMarks | None) -> dict[str, list[dict]]:
    """Rows for the chart of the answer: model, class, then every station."""
    found = effect.found
    lines = [("class, 95 %", (found.low, found.value, found.high), "ink")]
    if effect.predicted_points:
        lines.insert(0, ("model, 90 %", effect.predicted_points, "loss"))
    weights = answer.design.question.contrasts().get(effect.words.removesuffix(STRAIGHT), {})
    for station, means in answer.by_station.items():
        if weights and set(weights) <= set(means):
            own = sum(weight * means[level] for level, weight in weights.items())
            lines.append((f"station {station}", (own, own, own), "cold"))
    places = {words: numbered(n, words) for n, (words, *_) in enumerate(lines)}
    rows = [
        dict(zip(("low", "found", "high"), its))
        | {"place": places[words], "colour": COLOUR[colour], "words": points(*its)}
        for words, its, colour in lines
    ]
    guesses = [
        {"place": place, "guess": one.guess_points, "words": f"guess {one.guess_points:+.1f}"}
        for one in (marks.stations if marks else ())
        if (place := places.get(f"station {one.hand_in.station}")) and one.guess_points is not None
    ]
    worth = answer.design.question.worth_knowing_points
    ends = [{"at": worth}, {"at": -worth}]
    return {"rows": rows, "guesses": guesses, "zero": [{"at": 0}], "worth": ends}


def _marks(marks: ClassMarks) -> Table:
    rows = [
        (one.hand_in.station, *marks.said(one), one.hand_in.conclusion, "; ".join(one.notes))
        for one in marks.stations
    ]
    rows += [("", "✗ cannot be used", "", "", str(one), "") for one in marks.faults]
    rows += [(s, "nothing handed in", "", "", "", "") for s in marks.missing]
    columns = "station", "marks", "own losses right", "guess"
    columns += "conclusion, for the teacher to judge", "notes"
    return Table("Marks", columns, rows or [("", "nobody handed in", "", "", "", "")], folded=True)
