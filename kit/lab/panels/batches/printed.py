"""The findings of the records that a panel shows, as the page to print."""

from kit.lab.panels.batches.pieces import INVENTED
from kit.reading.plant import Analysed, demo_analysis


def findings_of(answer: Analysed, system: str) -> str:
    """The page of findings, made when it is asked for."""
    from kit.lab.pages.findings import findings_html  # it takes its words from this folder

    demo = answer.records is demo_analysis().records
    notes = (INVENTED, *answer.notes) if demo else answer.notes
    return findings_html(answer.analysis, notes=notes, system=system)
