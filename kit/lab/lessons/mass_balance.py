"""Lesson 08: one batch's mass balance. What is the yield, on which base; does it close; its cost."""

from typing import NamedTuple

from kit.chain.follow import ledger_of
from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.lab.panels.sheets import demo_sheet
from kit.tables import cite, read_rows
from kit.working import Step, step, steps_of
from kit.yields import Graph, mass_balance, reconcile
from kit.yields.flows import Flow
from kit.yields.ledger import SAMPLE

PRICES = {"meat": 3.6, "added": 0.5, "sold": 7.5, "scrap": 0.4}
"""where the price sliders start: invented, in no currency, for the person to change"""
SCALE_SD_KG = 0.1
"""standard deviation of the demo scales, as the demo sheet writes it"""


def guess() -> Guess:
    b = mass_balance(ledger_of(demo_sheet()))
    known = {"kg": b.start.kg, "added_kg": b.added_kg}
    return guess_of("08 guess", known, lambda: b.yield_on("received").pct)


class Patty(NamedTuple):
    """One part of one fat level of a published trial on ground patties (no emulsion), in percent."""

    raw_pct: float
    cooked_pct: float
    cook_loss_pct: float
    printed_retained_pct: float | None
    retained: Step
    """what follows from the other columns, of the part in the raw patty"""
    source: str

    def __str__(self) -> str:
        published = (
            f"; published {self.printed_retained_pct:.1f} %" if self.printed_retained_pct else ""
        )
        return f"{self.retained.what}: {self.retained.put_in} = {self.retained.answer:.1f} %{published}"


def published_patties() -> dict[tuple[float, str], Patty]:
    """(fat level %, part) -> its row of the trial, whose fat retention its own table contradicts.

    Of 100 kg raw with R % of a part, (100 − L) kg stay with C % of it. More than 100 % retained is
    impossible: then a composition, the loss or a sample is wrong.
    """
    found = {}
    for row in read_rows("yields", "ground_pork_patties.csv"):
        part, printed = row["part"], row["printed_retained_pct"]
        raw, cooked, loss = (
            float(row[column]) for column in ("raw_pct", "cooked_pct", "cook_loss_pct")
        )
        terms = {"C": (cooked, "%", f"{part} cooked"), "L": (loss, "%", "cook loss")}
        terms["R"] = (raw, "%", f"{part} raw")
        kept = cooked * (100 - loss) / raw
        retained = step(f"{part} retained", "T = C × (100 − L) / R", kept, "%", **terms)
        own = (float(printed) if printed else None, retained)
        source = cite(row["source"], row["where"], row["status"])
        found[float(row["fat_level_pct"]), part] = Patty(raw, cooked, loss, *own, source)
    return found


def planted() -> str:
    """The unrecorded losses of the invented demo batch: transfers that lose what no scale explains."""
    lines = mass_balance(ledger_of(demo_sheet())).transfers
    return "\n".join(
        f"{one.stage}: {one.lost_kg:.1f} kg"
        for one in lines
        if abs(one.lost_kg) > 3 * one.lost_sd_kg
    )


def exercises() -> tuple[Exercise, ...]:
    b = mass_balance(ledger_of(demo_sheet()))
    cook, chop = b.stage("cook"), b.stage("chop")
    way = next(line for line in b.transfers if line.stage == "chill to peel")
    cooked = {"in_kg": cook.in_kg, "out_kg": cook.out_kg, "samples_kg": cook.kg_of(SAMPLE)}
    packed = {"in_kg": chop.in_kg, "added_kg": chop.added_kg, "packed": b.end.kg}
    missing = {"S": way.lost_sd_kg, "s": SCALE_SD_KG, "O": way.in_kg, "I": way.out_kg}
    missing |= {"z": way.lost_kg / way.lost_sd_kg, "lost_kg": way.lost_kg}

    def reconciled():
        flows = (Flow("in", "", "cook"), Flow("out", "cook", ""), Flow("lost", "cook", ""))
        found = reconcile(Graph(("cook",), flows), [100, 89, 8], [0.6, 0.3, 0.6])
        keys = ("missing at cook", "sd of missing at cook", "reconciled in")
        return steps_of(found.working, *keys)

    return (
        exercise(
            "08 cook loss",
            cooked,
            lambda: cook.in_kg - cook.out_kg,
            working=lambda: steps_of(b.working, "lost in cook"),
        ),
        exercise(
            "08 yield",
            packed,
            lambda: b.yield_on("meat block").pct,
            working=lambda: steps_of(b.working, "packed on bowl"),
        ),
        exercise("08 missing", missing, lambda: way.lost_kg / SCALE_SD_KG),
        exercise(
            "08 reconciled", {}, lambda: 99.0, lambda: 100 - 3 * 0.6 / 1.5, working=reconciled
        ),
    )
