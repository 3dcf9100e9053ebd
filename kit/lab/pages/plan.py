"""The plan of one batch on paper: the weigh sheet and the steps on the first sheet, the log and the decision card on the second. Stands alone."""

from html import escape

from kit import units
from kit.chain.diagnosis import bowl_signs_of
from kit.diagnosis.decision_card import NO_RESCUE
from kit.lab.pages import Markup, filled, table
from kit.plan.batch_plan import BatchPlan
from kit.plan.stages import StageCard, stage_cards
from kit.plan.weigh import WeighRow
from kit.rules.verdicts import CAUTION

ON_PAPER = ("bowl_warm", "bowl_greasy_film", "bowl_grainy", "bowl_wet", "bowl_slack")
"""the signs of the decision card that there is room for"""
CERTIFIES = "Calculated from the batch sheet. It certifies nothing and does not show that a product is safe."


def as_html(plan: BatchPlan, system: str = units.METRIC, batch: str = "") -> str:
    """The page, escaped, with no request to anywhere.

    plan: the batch. system: metric or US. batch: its number, for the top of both sheets.
    A plan whose cure is refused gives the reason in place of every weight.
    """
    head = filled("plan_head.html", batch=batch or "________________", on=plan.followed.on)
    first = second = ""
    if not plan.stop:
        cards = stage_cards(plan, system)
        first, second = _weighing(plan, cards, system), _log(plan, cards, head, system)
    return filled(
        "plan.html",
        plan=plan,
        head=head,
        tone="stop" if plan.stop else "said",
        first=first,
        law=_law(plan),
        certifies=CERTIFIES,
        caution=CAUTION,
        second=second,
    )


def grams(row: WeighRow, system: str) -> str:
    """A weight in the digits that its scale shows; in US units the ounces beside the grams of the scale."""
    places = len(f"{row.step_g or 0.1:g}".partition(".")[2])
    heavy = row.grams >= 1000 and not places
    amount, unit = (row.grams / 1000, "kg") if heavy else (row.grams, "g")
    said = f"{amount:.{3 if heavy else places}f} {unit}"
    return said if system == units.METRIC else f"{said} ({units.show(amount, unit, system)})"


def _weighing(plan: BatchPlan, cards: tuple[StageCard, ...], system: str) -> Markup:
    """What to weigh, in its order, and the steps."""
    rows, when = "", ""
    for row in plan.weigh:
        first, when = row.when != when, row.when
        name = escape(row.name) + (" — <strong>separate bag</strong>" if row.kind == "cure" else "")
        weight = "withheld" if row.withheld else escape(grams(row, system))
        tick = '<td class="tick"></td>' if row.second_reader else "<td></td>"
        rows += f'<tr><td class="when">{escape(when) if first else ""}</td><td>{name}</td><td class="n">{weight}</td><td class="box"></td>{tick}</tr>'
    why = f"<p><strong>Withheld:</strong> {escape(plan.withheld)}</p>" if plan.withheld else ""
    total = units.show(plan.weighed_kg, "kg", system)
    steps = (
        (card.stage, filled("plan_step.html", todo=" ".join(card.todo), card=card))
        for card in cards
    )
    return filled(
        "plan_weigh.html",
        rows=Markup(rows),
        total=total,
        withheld=Markup(why),
        steps=table(Markup(), steps, named=True),
    )


def _log(plan: BatchPlan, cards: tuple[StageCard, ...], head: Markup, system: str) -> Markup:
    """What to write down stage by stage, and what to do at the bowl if the batter breaks."""
    rows = ""
    for card in cards:
        for n, blank in enumerate(card.blanks):
            stage = f'<th rowspan="{len(card.blanks)}">{escape(card.stage)}</th>' if n == 0 else ""
            rows += f'<tr>{stage}<td>{escape(blank.label)}</td><td>{escape(blank.expected)}</td><td class="box"></td><td>{escape(blank.unit)}</td></tr>'
    told, signs = {one.key: one for one in bowl_signs_of(plan.sheet, system)}, []
    for one in map(told.__getitem__, ON_PAPER):
        said = f"{one.stop}; {one.chill}; add: {one.add}; continue: {one.go_on}"
        signs.append((one.sign.split(":")[0], said))
    return filled(
        "plan_log.html",
        plan=plan,
        head=head,
        rows=Markup(rows),
        no_rescue=NO_RESCUE,
        signs=table(Markup(), signs, named=True),
    )


def _law(plan: BatchPlan) -> str:
    """Whose limits were applied, and whether they are met: never that the batch is right."""
    broken = dict.fromkeys(v.limit.title for v in plan.broken_limits)
    met = f"NOT met: {', '.join(broken)}" if broken else "every limit is met as planned"
    rules = plan.followed.rules or "no rule of composition chosen"
    return f"Limits applied: {rules}; {plan.followed.cure.law}: {met}."
