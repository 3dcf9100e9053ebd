"""What a class hands in: three weights of each tube, what was noted of each batter, and what looks wrong in it."""

from collections.abc import Iterable
from dataclasses import dataclass

from kit.faults import need_said
from kit.trial.rows import words_of

EXCHANGED, SET_ASIDE = "two tubes exchanged", "set aside"
LOOK_AT = {kind: text for kind, text, _ in words_of("look at")}
"""kind of finding -> where the teacher looks"""


@dataclass(frozen=True)
class TubeLoss:
    """One tube as read: `batter` is its number at the station, or the bath run; `loss_pct` of the filled weight."""

    station: int
    batter: int
    tube: int
    loss_pct: float


def loss_pct(empty_g: float, filled_g: float, after_g: float) -> float:
    """Loss of a tube's contents in % from three weights in g: empty, filled, after the bath and draining.

    Raises OutOfRange where filled is not above empty. Source: the definition.
    """
    need_said(filled_g > empty_g, "filled below empty", filled_g=filled_g, empty_g=empty_g)
    return 100 * (filled_g - after_g) / (filled_g - empty_g)


@dataclass(frozen=True)
class TubeReading:
    """One tube: g empty, filled, and after the bath and draining. None where nothing was written. `fold` 1 to 5, `depth_mm` of a rod."""

    station: int
    batter: int
    tube: int
    empty_g: float | None = None
    filled_g: float | None = None
    after_g: float | None = None
    fold: int | None = None
    depth_mm: float | None = None
    note: str = ""
    where: str = ""
    """file, sheet and row"""

    @property
    def key(self) -> tuple[int, int, int]:
        return self.station, self.batter, self.tube

    @property
    def whole(self) -> bool:
        return None not in (self.empty_g, self.filled_g, self.after_g)

    @property
    def net_g(self) -> float:
        return (self.filled_g or 0.0) - (self.empty_g or 0.0)

    @property
    def usable(self) -> bool:
        """Do its weights give a loss?"""
        return self.whole and self.net_g > 0

    @property
    def loss_pct(self) -> float:
        """% of the filled weight; OutOfRange where filled is not above empty."""
        return loss_pct(self.empty_g or 0.0, self.filled_g or 0.0, self.after_g or 0.0)


@dataclass(frozen=True)
class BatterReading:
    """One batter. Times are minutes from the start of the session."""

    station: int
    batter: int
    end_C: float | None = None
    second_end_C: float | None = None
    chop_min: float | None = None
    into_bath_min: float | None = None
    out_of_bath_min: float | None = None
    note: str = ""
    where: str = ""

    @property
    def key(self) -> tuple[int, int]:
        return self.station, self.batter


@dataclass(frozen=True)
class ClassFinding:
    """One thing to decide. `kind` is a key of LOOK_AT; `key` names it for the decision; `keys` are the tubes (station, batter, tube) or batters it is about."""

    kind: str
    station: int
    keys: tuple[tuple[int, ...], ...]
    evidence: str

    @property
    def look_at(self) -> str:
        return LOOK_AT[self.kind]

    @property
    def key(self) -> str:
        where = ".".join("-".join(map(str, key)) for key in self.keys)
        return f"{self.kind.replace(' ', '_')}:{self.station}:{where}"


def losses_of(tubes: Iterable[TubeReading]) -> list[TubeLoss]:
    """The losses of the tubes that were read whole."""
    return [TubeLoss(*t.key, t.loss_pct) for t in tubes if t.usable]


def by_batter(losses: Iterable[TubeLoss]) -> dict[tuple[int, int], list[float]]:
    """(station, batter) -> the losses of its tubes in %."""
    found: dict[tuple[int, int], list[float]] = {}
    for one in losses:
        found.setdefault((one.station, one.batter), []).append(one.loss_pct)
    return found


def by_station(losses: Iterable[TubeLoss]) -> dict[int, dict[int, list[float]]]:
    """station -> batter -> the losses of its tubes in %."""
    found: dict[int, dict[int, list[float]]] = {}
    for (station, batter), its in by_batter(losses).items():
        found.setdefault(station, {})[batter] = its
    return found
