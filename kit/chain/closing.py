"""Do the books of one batch close; which cause, or which two or three, would close them?

checks_of(ledger_of(sheet))       every balance, every weight, every suspect
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kit.chain.yields import usual_loss
from kit.errors import UnknownName
from kit.working import Step
from kit.yields import (
    Entry,
    InTurn,
    Reconciled,
    Weighed,
    books,
    causes_in_turn,
    flows_of,
    reconcile,
)


@dataclass(frozen=True)
class Checked:
    """One ledger held against its scales: `weighed` is the flow graph, `in_turn` the causes that close it together."""

    weighed: Weighed
    found: Reconciled
    in_turn: InTurn

    @property
    def notes(self) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(
                (
                    *self.found.notes,
                    *self.weighed.notes,
                    *self.in_turn.notes,
                    *self.found.suspects.notes,
                )
            )
        )

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(
                (*self.found.sources, *self.found.suspects.sources, *self.in_turn.sources)
            )
        )

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.found.working, *self.found.suspects.working, *self.in_turn.working)


def checks_of(
    entries: Iterable[Entry],
    scale_sd_kg: float | None = None,
    *,
    usual_losses: bool = True,
    casing: str | None = None,
    stuffed_mm: float | None = None,
    scales: Mapping[str, str] | None = None,
) -> Checked:
    """Close the books of `entries` and look for what keeps them open.

    `scale_sd_kg` stands in where an entry has no doubt of its own. `usual_losses` puts the usual loss of each stage whose loss nobody weighed on the books, with
    the doubt of its range, so that the stage is checked as well; without it such a stage closes by definition. `casing` and `stuffed_mm` choose the row of the cook.
    `scales` names the scale of each weight, {"out of chop": "floor scale"}: a scale that reads wrong throughout is then a suspect of its own.
    """
    entries = tuple(entries)
    weighed = flows_of(
        entries,
        scale_sd_kg,
        predicted_loss_kg=_usual_kg(entries, casing, stuffed_mm) if usual_losses else {},
    )
    for name in scales or {}:
        if name not in weighed.graph.names:
            raise UnknownName("weight with a scale", name, weighed.graph.names)
    named = None if scales is None else [scales.get(name) for name in weighed.graph.names]
    found = reconcile(weighed.graph, weighed.kg, weighed.sd_kg, scales=named)
    return Checked(weighed, found, causes_in_turn(found, weighed.sd_kg, named))


def _usual_kg(
    entries: tuple[Entry, ...], casing: str | None, stuffed_mm: float | None
) -> dict[str, tuple[float, float]]:
    """Stage -> usual loss in kg with its doubt, where the stage is weighed alone on both sides and its loss was not weighed as scrap."""
    found = {}
    for line in books(entries).stages:
        row = usual_loss(line.stages[0], casing, stuffed_mm) if len(line.stages) == 1 else None
        if row and not line.bridge and not line.scrap_kg:
            found[line.stage] = (row.pct / 100 * line.all_in_kg, row.sd_pct / 100 * line.all_in_kg)
    return found
