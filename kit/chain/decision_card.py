"""From a sheet to its decision card: the limits of its fat, and what its weights and readings already say."""

from kit.chain.chop import BLADES, COLD, guide_of
from kit.chain.diagnosis import evidence_of
from kit.diagnosis.decision_card import NO_RESCUE, CardRow, decision_card
from kit.sheet import Sheet
from kit.units import METRIC

CAUTIONS = (BLADES, COLD, NO_RESCUE)
"""to be shown with the card"""


def decision_card_of(sheet: Sheet, system: str = METRIC) -> tuple[CardRow, ...]:
    """The card of this batch. The limits of the final chopping temperature are those of the published guide for its fat."""
    guide, mix = guide_of(sheet), sheet.composition
    return decision_card(
        guide.low_C,
        guide.high_C,
        float(mix.fat_pct),
        float(mix.salt_pct),
        sheet.batch_kg,
        evidence_of(sheet).readings,
        system=system,
    )
