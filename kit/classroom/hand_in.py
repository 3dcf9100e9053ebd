"""What a station hands in besides its weights: its guess, its answers as typed, its own losses and its conclusion; and what an answer is worth."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from kit import tables
from kit.errors import need, need_between

EXERCISES = 8
"""exercises of a station"""
MOST_MARK = 20


@dataclass(frozen=True)
class MarkTable:
    """Marks of one exercise, by how it was answered."""

    right: float
    right_after_hint: float
    usual_error: float
    wrong: float
    blank: float

    def __post_init__(self):
        for one in fields(self):
            words = f"marks of an answer that is {one.name.replace('_', ' ')}"
            need_between(words, getattr(self, one.name), 0, MOST_MARK)

    @classmethod
    def usual(cls) -> "MarkTable":
        return cls(*(tables.value(f"classroom_marks_{one.name}") for one in fields(cls)))


@dataclass(frozen=True)
class TypedAnswer:
    """What was typed for one exercise, the first entry first, until it was right; and how many hints were opened before."""

    typed: tuple[str, ...] = ()
    hints: int = 0


@dataclass(frozen=True)
class HandIn:
    """One station's work, as typed. `plan` is the plan's fingerprint; times are those of the station's computer, empty where nothing was done yet."""

    class_number: int
    station: int
    plan: str
    guess: str = ""
    """change of the response in percentage points"""
    guessed_at: str = ""
    answers: tuple[TypedAnswer, ...] = (TypedAnswer(),) * EXERCISES
    tubes: Mapping[str, str] = field(default_factory=dict)
    """code -> own loss in %"""
    results_file: str = ""
    results_sum: str = ""
    """fingerprint of the station's file of weights"""
    conclusion: str = ""
    handed_in_at: str = ""

    def __post_init__(self):
        need(len(self.answers) == EXERCISES, f"{len(self.answers)} answers; give {EXERCISES}")

    @property
    def file_name(self) -> str:
        return f"hand_in_{self.station:02d}.toml"
