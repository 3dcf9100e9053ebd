"""Does the mass balance close? Simulate a loss or a biased scale, and see what can be told apart."""

from dataclasses import replace

import scipy as sp

from kit.chain import follow
from kit.chain.expected_loss import USUAL
from kit.chain.follow import ledger_of
from kit.chain.mass_balance import mass_balance_of, reconciliation_of
from kit.lab.charts import mass_balance as charts
from kit.lab.lessons.mass_balance import SCALE_SD_KG
from kit.lab.panels.controls import controls_of
from kit.lab.panels.mass_balance.pieces import HEAVY, INVENTED, reconciliation_tables
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.sheets import demo_sheet
from kit.yields.ledger import IN, place_of, points
from kit.yields.mistakes import leaked, misread
from kit.yields.reconcile import Reconciled

CLOSED, AS_WEIGHED = "batch with usual losses", "demo batch as weighed"
OPEN, AS_USUAL = "left open", "assumed as usual"
LOSS_KG = 1.5


def reconciliation_panel() -> Panel:
    """An unrecorded loss at one place, a biased weight at another: which cause explains it?"""
    sheet = demo_sheet()
    usual = mass_balance_of(sheet, follow(sheet), cook_by=USUAL).expected_entries
    starts = {CLOSED: usual, AS_WEIGHED: ledger_of(sheet)}
    stream = points(usual)
    stages = tuple(dict.fromkeys(p.stage for p in stream))
    ways = [f"{a} to {b}" for a, b in zip(stages, stages[1:])]
    places = (*(place for pair in zip(stages, ways) for place in pair), stages[-1])

    def compute(values) -> Reconciled:
        entries = starts[values["start"]]
        if values["loss_kg"]:
            entries = leaked(entries, values["where"], values["loss_kg"])
        if values["wrong_kg"]:
            entries = misread(entries, values["weight"], values["wrong_kg"])
        high, sd = 1 + values["raw_pct"] / 100, values["scale_sd_g"] / 1000
        return reconciliation_of(
            (replace(e, sd_kg=sd, kg=e.kg * high if _raw(e) else e.kg) for e in entries),
            sheet,
            usual_losses=values["open"] == AS_USUAL,
        )

    labels = tuple(p.label for p in stream)
    open_or_not = AS_USUAL, OPEN
    options = {"start": starts, "where": places, "weight": labels, "open": open_or_not}
    usually = {"where": "chop to stuff", "loss_kg": LOSS_KG, "weight": "out of cook"}
    usually |= {"scale_sd_g": 1000 * SCALE_SD_KG}
    clean = {"start": CLOSED, "loss_kg": 0, "wrong_kg": 0, "raw_pct": 0, "open": AS_USUAL}
    wrong = clean | {"wrong_kg": LOSS_KG}
    return Panel(
        f"{sheet.name}: mass balance reconciliation",
        controls_of("reconciliation", options=options, **usually),
        compute,
        lambda found, values, system: reconciliation_view(found, system, (INVENTED,)),
        {"balances": charts.balances_chart},
        {
            "Balance that closes": clean,
            "Biased scale after chopping": wrong | {"weight": "out of chop"},
            "Biased scale after the cook": wrong | {"weight": "out of cook"},
            "Loss and bias not distinguishable": clean
            | {"where": "stuff to rest", "loss_kg": LOSS_KG},
            "Where two scales meet": clean | {"raw_pct": 1.5},
            "Two at once: the demo batch": clean | {"start": AS_WEIGHED},
        },
    )


def _raw(weight) -> bool:
    """Weighed on the raw side's scale, up to where the batch leaves the rest."""
    return weight.place < place_of("cook", IN)


def reconciliation_view(found: Reconciled, system: str, notes: tuple[str, ...] = ()) -> View:
    limit = float(-sp.special.ndtri(found.alpha / 2))
    return View(
        found.words(system),
        {"balances": charts.balances_data(found, limit, system)},
        tables=reconciliation_tables(found, system),
        notes=(*notes,),
        cautions=(HEAVY,),
    ).of(found)
