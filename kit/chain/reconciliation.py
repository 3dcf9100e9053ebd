"""Does the mass balance of one batch close, and which cause would close it?

reconciliation_of(ledger_of(sheet), sheet)       every balance, every weight, every suspect
"""

from collections.abc import Iterable
from dataclasses import replace

from kit.chain.cook_yield import usual_loss
from kit.sheet import Sheet
from kit.yields import WeightEntry, flows_of, mass_balance, reconcile
from kit.yields.ledger import SCRAP
from kit.yields.reconcile import Reconciled


def reconciliation_of(
    entries: Iterable[WeightEntry],
    sheet: Sheet,
    scale_sd_kg: float | None = None,
    *,
    usual_losses: bool = True,
) -> Reconciled:
    """Reconcile one ledger and look for what keeps its mass balance open.

    entries: weights in kg, 0 or more. sheet: says how the batch is cooked and chilled.
    scale_sd_kg: standard deviation, kg, where an entry has none of its own.
    usual_losses: puts in the usual loss of each stage whose loss nobody weighed, with the uncertainty
    of its range; without it such a stage closes by definition.
    Returns Reconciled. Raises as `mass_balance`, `flows_of` and `reconcile`.
    """
    entries = tuple(entries)
    predicted = {}
    for line in mass_balance(entries).stages if usual_losses else ():
        row = usual_loss(sheet, line.stages[0]) if len(line.stages) == 1 else None
        if row and not line.bridge and not line.kg_of(SCRAP):
            kg_per_pct = line.all_in_kg / 100
            predicted[line.stage] = (row.pct * kg_per_pct, row.sd_pct * kg_per_pct)
    weighed = flows_of(entries, scale_sd_kg, predicted)
    found = reconcile(weighed.graph, weighed.kg, weighed.sd_kg)
    return replace(found, own_notes=(*weighed.notes, *found.own_notes))
