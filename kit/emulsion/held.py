"""Margins, the limit that fails first, and the cook-out of one batter, with the working."""

from dataclasses import dataclass, replace
from typing import Any

from kit import tables
from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import Calibration
from kit.emulsion.model import LIMIT_WORDS, LIMITS, BatterState, work_out
from kit.emulsion.parameters import PLAIN, Parameters, defaults, row_name
from kit.emulsion.steps import steps_of_model
from kit.faults import need_said
from kit.working import Result, notes_of

CAUTION = (
    "The core temperature here is one of binding, not of safety: cook by your local code and a validated process. "
    "Margins are teaching numbers; no batter is promised to hold or to fail."
)


@dataclass(frozen=True)
class HeldBatter(BatterState, Result):
    """Pools, margins and outflows of one batter (grams of 100 g raw), with the steps."""

    batter: Batter
    parameters: Parameters

    @property
    def fails_first(self) -> str:
        """The limit with the smallest margin: the first to go if things get worse, whether or not it has gone."""
        return LIMITS[int(self.weakest)]

    @property
    def below_edge(self) -> tuple[str, ...]:
        """The limits whose margin lies below 0."""
        return tuple(limit for limit, margin in self.margins.items() if margin < 0)


def hold(batter: Batter, calibration: Calibration | None = None) -> HeldBatter:
    """What the model says of one batter.

    batter: raw, of floats, no arrays (ranges: Batter)
    calibration: puts a plant's own levels in
    Returns HeldBatter: margins (0 is the edge), the limit that fails first, and the cook-out, g of 100 g raw batter.
    Raises OutOfRange for many batters.
    Valid where the model was tried; `notes` say what lies outside. A teaching model.
    Source: data/reference/emulsion.csv.
    """
    need_said(batter.shape == (), "one batter")
    p = calibration.settle(defaults()) if calibration else defaults()
    state: dict[str, Any] = {name: float(x) for name, x in vars(work_out(batter, p)).items()}
    held = HeldBatter(**state, batter=batter, parameters=p)
    return replace(
        held,
        own_notes=_notes(held, calibration),
        own_sources=model_sources(batter),
        own_working=steps_of_model(batter, p, held),
    )


def _notes(held: HeldBatter, calibration: Calibration | None) -> tuple[str, ...]:
    below = ", ".join(map(LIMIT_WORDS.__getitem__, held.below_edge))
    holds = {"below": below, "above": not below, "blended": len(held.batter.fat_kind) > 1}
    holds["levels"] = not calibration
    notes = notes_of("held batter", holds, below=below, first=LIMIT_WORDS[held.fails_first])
    tubes = notes_of("tube test", {"no yield": calibration and calibration.by_tubes})
    return (*untried(held.batter), *tubes, *notes, CAUTION)


def model_sources(b: Batter) -> tuple[str, ...]:
    """Every source of the model's numbers, for this batter's fats."""
    rows = [row_name(name) for name in PLAIN] + [
        row_name(name, kind) for kind in b.fat_kind for name in ("best_end_C", "most_lost")
    ]
    return tuple(dict.fromkeys(tables.number(row).cite() for row in rows))
