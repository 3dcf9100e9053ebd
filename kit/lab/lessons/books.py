"""Lesson 08: one batch's books. What the yield is, on which base; do the books close, and who is to blame; what it costs."""

from functools import lru_cache

from kit.chain import ledger_of
from kit.chain.yields import BooksOf, books_of
from kit.lab.lessons import Exercise, Guess
from kit.reading import read_sheet
from kit.sheet import Sheet
from kit.tables import data_path
from kit.working import step
from kit.yields import Flow, Graph, books, money, printed_patties, published_patties, reconcile

PRICES = {"meat": 3.6, "added": 0.5, "sold": 7.5, "scrap": 0.4}
"""where the price sliders start: invented, in no currency, for the person to change"""
SCALE_SD_KG = 0.1
"""doubt of the demo scales, as the demo sheet writes it"""


@lru_cache(maxsize=1)
def demo_sheet() -> Sheet:
    """The invented demo batch."""
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


@lru_cache(maxsize=1)
def demo_books() -> BooksOf:
    return books_of(demo_sheet())


def guess() -> Guess:
    b = demo_books().weighed
    return Guess(
        f"{b.start.kg:g} kg of meat came in at the door, {b.added_kg:g} kg of ice and dry goods went into the bowl, and at every stage something was lost. "
        "What does the packed product weigh, in percent of the meat that came in?",
        "%",
        lambda: demo_books().weighed.yield_on("received").pct,
        3,
    )


def exercises() -> tuple[Exercise, ...]:
    b = books(ledger_of(demo_sheet()))
    cook, trim, chop, pack = (b.stage(name) for name in ("cook", "trim", "chop", "pack"))
    hole = next(line for line in b.handovers if line.name == "chill to peel")
    patties = published_patties()[25.0]
    table = printed_patties()[25.0]
    raw, left, printed = table.raw_pct["fat"], table.cooked_pct["fat"], table.retained_pct["fat"]

    def cook_lost():
        return cook.lost_kg, tuple(s for s in b.working if s.what == "lost in cook")

    def on_the_bowl():
        y = b.yield_on("bowl")
        return y.pct, tuple(s for s in b.working if s.what == "packed on bowl")

    def with_rework():
        y = b.yield_on("bowl")
        return y.with_rework_pct, (
            step(
                "rework counted as product",
                "Y = 100 × (P + R) / B",
                y.with_rework_pct,
                "%",
                P=(y.kg, "kg", "packed"),
                R=(b.rework_out_kg, "kg", "rework sent back"),
                B=(y.base_kg, "kg", "bowl"),
            ),
        )

    def how_many_doubts():
        z = hole.unexplained_kg / hole.sd_kg
        return z, (
            step(
                "doubt of a difference",
                "S = √(s^2 + s^2)",
                hole.sd_kg,
                "kg",
                s=(SCALE_SD_KG, "kg", "each scale"),
            ),
            step(
                "missing over its doubt",
                "z = (O − I) / S",
                z,
                "",
                O=(hole.out_kg, "kg", "out of chill"),
                I=(hole.in_kg, "kg", "into peel"),
                S=(hole.sd_kg, "kg"),
            ),
        )

    def reconciled():
        found = reconcile(
            Graph(
                ("cook",),
                (Flow("in", "", "cook"), Flow("out", "cook", ""), Flow("lost", "cook", "")),
            ),
            [100, 89, 8],
            [0.6, 0.3, 0.6],
        )
        return found.weight("in"), tuple(
            s
            for s in found.working
            if s.what in ("missing at cook", "doubt of what is missing at cook", "reconciled in")
        )

    def kept_fat():
        return patties.retained_pct["fat"], tuple(
            s for s in patties.working if s.what == "fat retained"
        )

    def given_away():
        found = money(b, {"giveaway": PRICES["sold"]})
        answer = 1000 * found.lost_money / b.end.kg
        return answer, (
            *found.working,
            step(
                "for every tonne packed",
                "T = 1000 × M / E",
                answer,
                "money",
                M=(found.lost_money, "money"),
                E=(b.end.kg, "kg", "packed"),
            ),
        )

    return (
        Exercise(
            f"{cook.in_kg:g} kg went into the cook, {cook.out_kg:g} kg came out and {cook.samples_kg:g} kg were taken as samples. How many kg did the cook lose?",
            "kg",
            cook_lost,
            0.05,
            (
                "Write what went in on the left, everything that came out on the right.",
                f"{cook.in_kg:g} − {cook.samples_kg:g} − {cook.out_kg:g}.",
            ),
            (
                (
                    "that counts the samples as lost. They were taken, written down and eaten or tested: a sample is no loss.",
                    lambda: cook.in_kg - cook.out_kg,
                ),
            ),
        ),
        Exercise(
            f"{chop.in_kg:g} kg of meat and {chop.added_kg:g} kg of ice and dry goods went into the bowl; {pack.out_kg:g} kg were packed. What is the yield on the bowl, in percent?",
            "%",
            on_the_bowl,
            0.06,
            (
                "The base is everything in the bowl.",
                f"100 × {pack.out_kg:g} / ({chop.in_kg:g} + {chop.added_kg:g}).",
            ),
            (
                (
                    "that is the yield on the meat block. It may pass 100 because of the ice: say the base beside every yield.",
                    lambda: b.yield_on("meat block").pct,
                ),
            ),
        ),
        Exercise(
            f"The same batch sent {b.rework_out_kg:g} kg of ends back to a later batch. What is the yield on the bowl with that rework counted as product, in percent?",
            "%",
            with_rework,
            0.06,
            (
                "Rework is a return flow: good batter that somebody else will pack.",
                f"100 × ({pack.out_kg:g} + {b.rework_out_kg:g}) / 100.",
            ),
            (
                (
                    "that takes it off. Rework that left this batch is product of its bowl.",
                    lambda: 2 * b.yield_on("bowl").pct - b.yield_on("bowl").with_rework_pct,
                ),
            ),
        ),
        Exercise(
            f"{hole.out_kg:g} kg left the chill and {hole.in_kg:g} kg came to peeling. Each scale is good to ± {SCALE_SD_KG:g} kg (one standard deviation). How many standard deviations is the difference?",
            "",
            how_many_doubts,
            0.12,
            (
                "Two weights, two doubts: they add as squares.",
                f"{hole.unexplained_kg:.1f} / √({SCALE_SD_KG:g}² + {SCALE_SD_KG:g}²).",
            ),
            (
                (
                    "that is over the doubt of one scale. A difference has two.",
                    lambda: hole.unexplained_kg / SCALE_SD_KG,
                ),
            ),
        ),
        Exercise(
            "A cook house: 100 ± 0.6 kg in, 89 ± 0.3 kg out, 8 ± 0.6 kg lost by the drip pan and the stack together. The books miss 3 kg. What does the weight in become when the least change closes them, in kg?",
            "kg",
            reconciled,
            0.03,
            (
                "Each weight moves by its own variance's share of what is missing.",
                "0.36 / (0.36 + 0.09 + 0.36) of 3 kg, downwards.",
            ),
            (
                ("that shares it evenly. The surer scale gives way less.", lambda: 99.0),
                (
                    "that moves it by its doubt, not by its variance: square the doubts.",
                    lambda: 100 - 3 * 0.6 / 1.5,
                ),
            ),
        ),
        Exercise(
            f"A published table of meat patties: raw {raw:g} % fat, cooked {left:g} %, cook loss {patties.cook_loss_kg:g} %. It prints {printed:g} % fat retained. What follows from its own figures, in percent?",
            "%",
            kept_fat,
            0.15,
            (
                "Of 100 kg raw, how many kg are left, and how much fat is in them?",
                f"(100 − {patties.cook_loss_kg:g}) × {left:g} / {raw:g}.",
            ),
            (
                (
                    "that is what the table prints. Work it out from its other columns.",
                    lambda: printed,
                ),
                (
                    "that forgets that the patty shrank: the share of fat is of the cooked weight.",
                    lambda: 100 * left / raw,
                ),
            ),
        ),
        Exercise(
            f"{b.giveaway_kg:g} kg of {pack.out_kg:g} kg packed are above the labels. At {PRICES['sold']:.2f} per kg sold (invented), what is given away with every tonne packed, in money?",
            "money",
            given_away,
            0.3,
            (
                "First money for this batch, then scale it to a tonne.",
                f"1000 × {b.giveaway_kg:g} × {PRICES['sold']:.2f} / {pack.out_kg:g}.",
            ),
            (
                (
                    "that is this batch alone; scale it to 1000 kg.",
                    lambda: b.giveaway_kg * PRICES["sold"],
                ),
            ),
        ),
    )
