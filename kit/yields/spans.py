"""Between which two weights did a loss happen, and whose loss is it?

The main stream is a row of weights. Between two neighbours lies a span: the inside of one stage, the
way from one stage to the next, or, where a weight is missing, both together.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from kit.stages import STAGES
from kit.yields.ledger import IN, ORDER, OUT, place_of


@dataclass(frozen=True)
class Span:
    """`start` and `end` are (stage, kind) of two neighbouring main-stream weights."""

    start: tuple[str, str]
    end: tuple[str, str]
    stages: tuple[str, ...]
    """the stages whose insides lie between; none means only the way from one stage to the next"""
    skipped: tuple[str, ...]
    """stages between, of which nothing is written"""

    @property
    def name(self) -> str:
        return " + ".join(self.stages) if self.stages else f"{self.start[0]} to {self.end[0]}"

    @property
    def is_transfer(self) -> bool:
        return not self.stages

    def holds(self, place: float) -> bool:
        return place_of(*self.start) < place < place_of(*self.end)

    def bridge(self) -> str:
        """What this span cannot tell, in one sentence; empty where it tells everything."""
        start, end = self.start[0], self.end[0]
        nothing = f"nothing is written for {_all(self.skipped)}" if self.skipped else ""
        if self.is_transfer:
            between = f"between {start} and {end}"
            told = f"{nothing}: what was lost there is in the unexplained line {between}"
            return told if nothing else ""
        if self.start == (end, IN) and self.end[1] == OUT and len(self.stages) == 1:
            return ""
        missing = [
            _point((stage, kind))
            for stage in self.stages
            for kind in (IN, OUT)
            if (stage, kind) not in (self.start, self.end)
        ]
        return (
            f"{_all(missing)} {'is' if len(missing) == 1 else 'are'} missing"
            f"{'; ' if nothing else ''}{nothing}: "
            f"bridged from {_point(self.start)} to {_point(self.end)}, "
            f"so the loss of {_all(self.stages)} also holds whatever went astray on the way"
        )


def layout(marks: Sequence[tuple[str, str]], busy: Collection[str] = ()) -> tuple[Span, ...]:
    """The spans between the main-stream weights `marks`, in order. `busy`: stages with side flows."""
    order, found = list(STAGES), []
    for start, end in zip(marks, marks[1:]):
        between = order[ORDER[start[0]] + 1 : ORDER[end[0]]]
        inside = [s for s in between if s in busy]
        if start[1] == IN:
            inside.insert(0, start[0])
        if end[1] == OUT:
            inside.append(end[0])
        skipped = tuple(s for s in between if s not in busy)
        found.append(Span(start, end, tuple(dict.fromkeys(inside)), skipped))
    return tuple(found)


def _point(mark: tuple[str, str]) -> str:
    return f"the weight {'into' if mark[1] == IN else 'out of'} {mark[0]}"


def _all(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
