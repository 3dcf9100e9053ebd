"""Does the mass balance of one batch close; which single cause would close it?

reconciliation_of(ledger_of(sheet))       every balance, every weight, every suspect
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from kit.chain.expected_loss import usual_loss
from kit.errors import UnknownName
from kit.yields import WeightEntry, flows_of, mass_balance, reconcile
from kit.yields.reconcile import Reconciled


def reconciliation_of(
    entries: Iterable[WeightEntry],
    scale_sd_kg: float | None = None,
    *,
    usual_losses: bool = True,
    casing: str | None = None,
    stuffed_mm: float | None = None,
    scales: Mapping[str, str] | None = None,
) -> Reconciled:
    """Close the mass balance of `entries` and look for what keeps it open.

    scale_sd_kg: standard deviation, kg, where an entry has none of its own. usual_losses: puts the
    usual loss of each stage whose loss nobody weighed in the balance, with the uncertainty of its
    range; without it such a stage closes by definition. casing, stuffed_mm: choose the row of the
    cook. scales: the scale of each weight, {"out of chop": "floor scale"}; a scale that reads wrong
    throughout is then a suspect of its own. Raises UnknownName for a weight that is not there.
    """
    entries = tuple(entries)
    predicted = _usual_kg(entries, casing, stuffed_mm) if usual_losses else {}
    weighed = flows_of(entries, scale_sd_kg, predicted_loss_kg=predicted)
    names = weighed.graph.names
    for name in scales or {}:
        if name not in names:
            raise UnknownName("weight with a scale", name, names)
    named = None if scales is None else [scales.get(name) for name in names]
    found = reconcile(weighed.graph, weighed.kg, weighed.sd_kg, scales=named)
    return replace(found, own_notes=(*found.own_notes, *weighed.own_notes))


def _usual_kg(
    entries: tuple[WeightEntry, ...], casing: str | None, stuffed_mm: float | None
) -> dict[str, tuple[float, float]]:
    """Stage -> usual loss and its standard deviation in kg, where only the loss is not weighed."""
    found = {}
    for line in mass_balance(entries).stages:
        row = usual_loss(line.stages[0], casing, stuffed_mm) if len(line.stages) == 1 else None
        if row and not line.bridge and not line.scrap_kg:
            found[line.stage] = (row.pct / 100 * line.all_in_kg, row.sd_pct / 100 * line.all_in_kg)
    return found
