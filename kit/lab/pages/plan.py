"""The plan of one batch on paper: the weigh sheet and the steps on the first sheet, the log and the decision card on the second. Stands alone."""

from html import escape

from kit import units
from kit.chain.diagnosis import bowl_signs_of
from kit.diagnosis.decision_card import NO_RESCUE
from kit.plan.batch_plan import BatchPlan
from kit.plan.stages import Blank, StageCard, stage_cards
from kit.plan.weigh import WeighRow
from kit.rules.verdicts import CAUTION

STYLE = """
@page { margin: 8mm 11mm; }
body { font: 10pt/1.2 "Helvetica Neue", Arial, "Liberation Sans", "DejaVu Sans", sans-serif; color: #111; margin: 0 auto; max-width: 190mm; }
h1 { font-size: 15pt; margin: 0 0 1mm; } h2 { font-size: 11.5pt; margin: 2.2mm 0 .8mm; }
p { margin: .6mm 0; } table { border-collapse: collapse; width: 100%; }
th, td { border-bottom: .3pt solid #777; padding: .4mm 1.6mm .4mm .6mm; text-align: left; vertical-align: top; }
th { font-weight: 600; } thead th { border-bottom: 1pt solid #111; }
.n { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
.box { width: 24mm; border: .6pt solid #111 !important; } .tick { width: 9mm; border: .6pt solid #111; }
.stop { border: 2pt solid #111; padding: 2mm; font-weight: 700; }
.when { width: 46mm; color: #333; } .caution { font-style: italic; }
.second { break-before: page; } .sign td { height: 7mm; padding: .8mm; border: .6pt solid #111; width: 33%; }
.log td { height: 4.6mm; vertical-align: middle; }
"""
ON_PAPER = ("bowl_warm", "bowl_greasy_film", "bowl_grainy", "bowl_wet", "bowl_slack")
"""the signs of the decision card that there is room for"""
CERTIFIES = "Calculated from the batch sheet. It certifies nothing and does not show that a product is safe."


def as_html(plan: BatchPlan, system: str = units.METRIC, batch: str = "") -> str:
    """The page, escaped, with no request to anywhere.

    plan: the batch. system: metric or US. batch: its number, for the top of both sheets.
    A plan whose cure is refused gives the reason in place of every weight.
    """
    cards = stage_cards(plan, system)
    title = escape(plan.sheet.name)
    number = f"Batch: {escape(batch) if batch else '________________'}"
    on = plan.followed.on
    head = f"<p>{number} &nbsp; Date: ______________ &nbsp; Made by: ________________ &nbsp; planned {on}</p>"
    return (
        "\n".join(
            (
                '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">',
                f"<title>{title}</title><style>{STYLE}</style></head><body>",
                f"<h1>{title}</h1>{head}",
                f'<p class="{"stop" if plan.stop else "said"}">{escape(plan.sentence)}</p>',
                "" if plan.stop else _weigh_table(plan, system) + _steps(cards),
                f"<p>{escape(_law(plan))}</p><p><strong>{CERTIFIES}</strong> {escape(CAUTION)}</p>",
                ""
                if plan.stop
                else f'<div class="second"><h1>{title}: log</h1>{head}{_log(cards)}{_sign()}{_card(plan, system)}</div>',
                "</body></html>",
            )
        )
        + "\n"
    )


def grams(row: WeighRow, system: str) -> str:
    """A weight in the digits that its scale shows; in US units the ounces beside the grams of the scale."""
    places = len(f"{row.step_g or 0.1:g}".partition(".")[2])
    heavy = row.grams >= 1000 and not places
    amount, unit = (row.grams / 1000, "kg") if heavy else (row.grams, "g")
    said = f"{amount:.{3 if heavy else places}f} {unit}"
    return said if system == units.METRIC else f"{said} ({units.show(amount, unit, system)})"


def _weigh_table(plan: BatchPlan, system: str) -> str:
    rows, when = [], ""
    for row in plan.weigh:
        first, when = row.when != when, row.when
        order = f'<td class="when">{escape(when) if first else ""}</td>'
        name = escape(row.name) + (" — <strong>separate bag</strong>" if row.kind == "cure" else "")
        weight = "withheld" if row.withheld else escape(grams(row, system))
        tick = '<td class="tick"></td>' if row.second_reader else "<td></td>"
        rows.append(
            f'<tr>{order}<td>{name}</td><td class="n">{weight}</td><td class="box"></td>{tick}</tr>'
        )
    total = units.show(plan.weighed_kg, "kg", system)
    rows.append(
        f'<tr><td></td><th>total</th><td class="n"><strong>{total}</strong></td><td></td><td></td></tr>'
    )
    why = f"<p><strong>Withheld:</strong> {escape(plan.withheld)}</p>" if plan.withheld else ""
    head = "<th>stage</th><th>ingredient</th><th class='n'>weight</th><th>weighed</th><th>2nd</th>"
    return f"<table><thead><tr>{head}</tr></thead>{''.join(rows)}</table>{why}"


def _steps(cards: tuple[StageCard, ...]) -> str:
    rows = "".join(
        f'<tr><th>{escape(card.stage)}</th><td>{escape(" ".join(card.todo))} <span class="caution">{escape(card.caution)}</span></td></tr>'
        for card in cards
    )
    return f"<h2>Steps</h2><table>{rows}</table>"


def _log(cards: tuple[StageCard, ...]) -> str:
    rows = []
    for card in cards:
        for n, blank in enumerate(card.blanks):
            stage = f'<th rowspan="{len(card.blanks)}">{escape(card.stage)}</th>' if n == 0 else ""
            rows.append(f"<tr>{stage}{_blank(blank)}</tr>")
    head = "<th>stage</th><th>quantity</th><th>expected</th><th>measured</th><th>unit</th>"
    return f'<table class="log"><thead><tr>{head}</tr></thead>{"".join(rows)}</table>'


def _blank(blank: Blank) -> str:
    return f'<td>{escape(blank.label)}</td><td>{escape(blank.expected)}</td><td class="box"></td><td>{escape(blank.unit)}</td>'


def _card(plan: BatchPlan, system: str) -> str:
    """What to do at the bowl if the batter breaks, in a few lines."""
    rows = {one.key: one for one in bowl_signs_of(plan.sheet, system)}
    lines = (
        f"<tr><th>{escape(one.sign.split(':')[0])}</th><td>{escape(one.stop)}; {escape(one.chill)}; add: {escape(one.add)}; continue: {escape(one.go_on)}</td></tr>"
        for one in map(rows.__getitem__, ON_PAPER)
    )
    return f"<h2>Signs of a breaking batter at the bowl</h2><p>{escape(NO_RESCUE)}</p><table>{''.join(lines)}</table>"


def _sign() -> str:
    places = ("weighed by", "weights checked by", "probe checked in ice on")
    return f'<h2>Signed</h2><table class="sign"><tr>{"".join(f"<td>{place}</td>" for place in places)}</tr></table>'


def _law(plan: BatchPlan) -> str:
    """Whose limits were applied, and whether they are met: never that the batch is right."""
    broken = plan.broken_limits
    met = (
        "NOT met: " + ", ".join(dict.fromkeys(v.limit.title for v in broken))
        if broken
        else "every limit is met as planned"
    )
    rules = f"{plan.followed.rules}; " if plan.followed.rules else "no rule of composition chosen; "
    return f"Limits applied: {rules}{plan.followed.cure.law}: {met}."
