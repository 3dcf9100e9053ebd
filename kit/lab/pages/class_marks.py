"""The marks of a class on paper: what was typed beside the answer and the reason, the usual errors, and each conclusion beside the class's sentence."""

from html import escape
from pathlib import Path

from kit.classroom.hand_in import EXERCISES
from kit.files import put
from kit.lab.lessons.marks import ClassMarks, MarkedStation
from kit.lab.pages import listed, table
from kit.lab.pages.class_cards import document
from kit.tables import value


def marks_html(marks: ClassMarks) -> str:
    """The page: escaped, without script, link or font."""
    plan = marks.plan
    worth = ", ".join(f"{k.replace('_', ' ')} {v:g}" for k, v in vars(plan.marks).items())
    usual = [(str(n), words, str(k)) for n, words, k in marks.usual_errors]
    parts = (
        f'<section class="sheet"><h1>Class {plan.class_number}: marks</h1>',
        f"<p>Marks of an exercise: {escape(worth)}. A usual error is one with a name. Right after a hint: also right after another answer.</p>",
        _summary(marks),
        listed("Files that cannot be used", map(str, marks.faults)),
        listed("Stations without a hand-in that could be read", map(str, marks.missing)),
        _grid(
            "Usual errors: how many stations made them",
            ("exercise", "usual error", "stations"),
            usual,
        ),
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


def _points(one: float | None) -> str:
    return "" if one is None else f"{one:+.1f}".replace("-", "−")


def _summary(marks: ClassMarks) -> str:
    rows = [
        (
            str(one.hand_in.station),
            *(f"{a.marks:g}" for a in one.answers),
            f"{one.marks:g} of {marks.most:g}",
            one.own_right,
            _points(one.guess_points),
            "; ".join(one.notes),
        )
        for one in marks.stations
    ]
    numbers = map(str, range(1, EXERCISES + 1))
    head = "station", *numbers, "marks", "own losses", "guess", "notes"
    found = _points(marks.effect_points)
    return _grid(
        f"Marks{f'; the class found {found} percentage points' if found else ''}", head, rows
    )


def _conclusions(marks: ClassMarks) -> str:
    most = f"0–{value('classroom_conclusion_marks'):g}, by the teacher"
    rows = [(str(one.hand_in.station), one.hand_in.conclusion, "") for one in marks.stations]
    words = f"<p>The class's sentence: {escape(marks.sentence)}</p>" if marks.sentence else ""
    return _grid("Conclusions", ("station", "in the station's words", most), rows) + words


def _station(one: MarkedStation) -> str:
    rows = [
        (
            str(n),
            "; ".join(a.typed),
            a.truth,
            f"{a.outcome.replace('_', ' ')}: {a.marks:g}",
            a.words,
        )
        for n, a in enumerate(one.answers, 1)
    ]
    own = [
        (tube, typed, "" if loss is None else f"{loss:.2f}", "right" if right else "")
        for tube, (typed, loss, right) in one.own.items()
    ]
    return _grid(
        f"Station {one.hand_in.station}", ("", "typed", "answer", "marks", "why"), rows
    ) + _grid("Own losses", ("tube", "typed, %", "file of the class, %", ""), own)
