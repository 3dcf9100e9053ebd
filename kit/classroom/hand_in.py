"""What a station hands in besides its weights: its guess, its answers as typed, its own losses and its conclusion; and what an answer is worth."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import ClassVar

from kit.classroom.tasks import Bounded
from kit.errors import need
from kit.faults import hidden_character
from kit.trial.rows import need_bounded

EXERCISES = 8
"""exercises of a station"""
MOST_TYPED, MOST_LETTERS = 200, 2000
"""entries of one exercise, letters of one entry"""


@dataclass(frozen=True)
class MarkTable(Bounded):
    """Marks of one exercise, by how it was answered."""

    _row: ClassVar[str] = "classroom_marks_{}"
    right: float
    right_after_hint: float
    usual_error: float
    wrong: float
    blank: float


def _need_text(name: str, value) -> None:
    what = f"{name} is {value!r:.60}; it is a text of at most {MOST_LETTERS} letters"
    need(isinstance(value, str) and len(value) <= MOST_LETTERS, what)
    hidden = hidden_character(value)
    need(not hidden, f"{name} holds {hidden}, a character that cannot be seen; type it again")


@dataclass(frozen=True)
class TypedAnswer(Bounded):
    """What was typed for one exercise, the first entry first, until it was right; and how many hints were opened before."""

    typed: tuple[str, ...] = ()
    hints: int = 0

    def __post_init__(self):
        super().__post_init__()
        many = len(self.typed)
        need(many <= MOST_TYPED, f"{many} entries of an exercise; give {MOST_TYPED} at most")
        for one in self.typed:
            _need_text("typed", one)


@dataclass(frozen=True)
class HandIn:
    """One station's work, as typed. `plan` is the plan's fingerprint; times are those of the station's computer, empty where nothing was done yet."""

    class_number: int
    station: int
    plan: str
    guess: str = ""
    """change of the response in percentage points"""
    guessed_at: str = ""
    results_file: str = ""
    results_sum: str = ""
    """fingerprint of the station's file of weights"""
    conclusion: str = ""
    handed_in_at: str = ""
    answers: tuple[TypedAnswer, ...] = (TypedAnswer(),) * EXERCISES
    tubes: Mapping[str, str] = field(default_factory=dict)
    """code -> own loss in %"""

    def __post_init__(self):
        for name in ("class_number", "station"):
            need_bounded(name, getattr(self, name))
        for name in self.texts():
            _need_text(name, getattr(self, name))
        for code, loss in self.tubes.items():
            _need_text("code", code)
            _need_text("loss_pct", loss)
        need(len(self.answers) == EXERCISES, f"{len(self.answers)} exercises, not {EXERCISES}")

    @classmethod
    def texts(cls) -> tuple[str, ...]:
        return tuple(one.name for one in fields(cls) if one.type in ("str", str))

    @property
    def file_name(self) -> str:
        return f"hand_in_{self.station:02d}.toml"
