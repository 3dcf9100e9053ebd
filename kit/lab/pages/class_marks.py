"""The marks of a class on paper: what was typed beside the answer and the reason, the usual errors, and each conclusion beside the class's sentence."""

from html import escape
from pathlib import Path

from kit.classroom.hand_in import EXERCISES
from kit.files import put
from kit.lab.lessons.marks import ClassMarks, MarkedStation, signed
from kit.lab.pages import listed, table
from kit.lab.pages.class_cards import document
from kit.tables import value


def marks_html(marks: ClassMarks) -> str:
    """The page: escaped, without script, link or font."""
    plan = marks.plan
    worth = ", ".join(f"{k.replace('_', ' ')} {v:g}" for k, v in vars(plan.marks).items())
    made = "Usual errors: how many stations made them"
    parts = (
        f'<section class="sheet"><h1>Class {plan.class_number}: marks</h1>',
        f"<p>Marks of an exercise: {escape(worth)}. A usual error is one with a name. Right after a hint: also right after another answer.</p>",
        _summary(marks),
        listed("Files that cannot be used", map(str, marks.faults)),
        listed("Stations without a hand-in that could be read", map(str, marks.missing)),
        _grid(made, ("exercise", "usual error", "stations"), marks.usual_errors),
        f"{_conclusions(marks)}</section>",
        *(_station(one) for one in marks.stations),
    )
    return document(plan, "marks", parts)


def write_marks(marks: ClassMarks, folder, overwrite: bool = False) -> tuple[Path, ...]:
    """marks.csv and marks.html in a folder, each whole or not at all."""
    texts = {"marks.csv": marks.csv(), "marks.html": marks_html(marks)}
    return tuple(put(Path(folder) / name, text, (), overwrite) for name, text in texts.items())


def _grid(heading: str, head, rows) -> str:
    return f"<h2>{escape(heading)}</h2>{table(head, rows)}" if rows else ""


def _summary(marks: ClassMarks) -> str:
    rows = [
        (
            one.hand_in.station,
            *(f"{a.marks:g}" for a in one.answers),
            *marks.said(one),
            "; ".join(one.notes),
        )
        for one in marks.stations
    ]
    head = "station", *range(1, EXERCISES + 1), "marks", "own losses", "guess", "notes"
    found = signed(marks.effect_points)
    of_class = f"; the class found {found} percentage points" if found else ""
    return _grid(f"Marks{of_class}", head, rows)


def _conclusions(marks: ClassMarks) -> str:
    most = f"0–{value('classroom_conclusion_marks'):g}, by the teacher"
    rows = [(one.hand_in.station, one.hand_in.conclusion, "") for one in marks.stations]
    words = f"<p>The class's sentence: {escape(marks.sentence)}</p>" if marks.sentence else ""
    return _grid("Conclusions", ("station", "in the station's words", most), rows) + words


def _station(one: MarkedStation) -> str:
    rows = [
        (n, "; ".join(a.typed), a.truth, f"{a.outcome.replace('_', ' ')}: {a.marks:g}", a.words)
        for n, a in enumerate(one.answers, 1)
    ]
    own = [
        (tube, typed, "" if loss is None else f"{loss:.2f}", "right" if right else "")
        for tube, (typed, loss, right) in one.own.items()
    ]
    what, of_tube = ("typed", "answer", "marks", "why"), ("typed, %", "file of the class, %", "")
    answers = _grid(f"Station {one.hand_in.station}", ("", *what), rows)
    return answers + _grid("Own losses", ("tube", *of_tube), own)
