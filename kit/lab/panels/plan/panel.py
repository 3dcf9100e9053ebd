"""The panel that plans a batch: the form, then the plan, the paper and what to change next time."""

from dataclasses import dataclass
from functools import partial

from kit import units
from kit.chain.cook_unsure import probe_words
from kit.chain.decision_card import decision_card_of
from kit.cure import cautions as cure_cautions
from kit.diagnosis.decision_card import BOWL, COOKED, NO_RESCUE
from kit.errors import Faulty
from kit.lab.charts import emulsion as emulsion_charts
from kit.lab.charts import meat_block as mix_charts
from kit.lab.command import file_stem
from kit.lab.pages.plan import as_html, grams
from kit.lab.panels.cook import cook_rows
from kit.lab.panels.cook.pieces import expected_row
from kit.lab.panels.outcome import COLUMNS as OUTCOME
from kit.lab.panels.panel import Panel, Row, Table, View
from kit.lab.panels.plan.files import handle
from kit.lab.panels.plan.form import FormSpec, placed, sheet_of_state, state_of, with_stages
from kit.lab.panels.sheets import current_sheet, faults_view, kitchen_sheet
from kit.lab.panels.view import row
from kit.plan import plan_batch
from kit.plan.after import AfterBatch, after_batch
from kit.plan.batch_plan import BatchPlan
from kit.plan.stages import stage_cards
from kit.sheet import Sheet

AT_EACH_STEP = (
    "The cautions on blades, heat, cooling, allergens and lifting stand at the step where they bite, on the page and under Steps. It certifies nothing: "
    "local codes and licensed practice come first."
)
COLUMNS = ("what", "value", "limit or range", "margin or note")


@dataclass(frozen=True)
class Planned:
    """The plan of what the form says, and what came of the batch where that was written down."""

    sheet: Sheet
    plan: BatchPlan
    after: AfterBatch | None


def plan_panel(sheet: Sheet | None = None) -> Panel:
    """Plan a batch: what is on hand and wanted, the weigh sheet, the batter, links, cook, yield, cost, paper, and what to change next time."""
    start = with_stages(state_of((sheet or current_sheet() or kitchen_sheet()).as_dict()))
    form = FormSpec("sheet", "Batch", start)
    system = [units.METRIC]
    last: list[Planned] = []
    """opening a fold asks for the same plan again"""

    def compute(values) -> Planned | Faulty:
        widget = panel_widget()
        try:
            written = sheet_of_state(values["sheet"], system[0])
        except Faulty as error:
            if widget is not None:
                widget.faults = placed(error, values["sheet"])
            return error
        if widget is not None:
            widget.faults = {}
        if not last or last[-1].sheet != written:
            plan = plan_batch(written)
            last[:] = [Planned(written, plan, after_batch(plan, written))]
        return last[-1]

    made: list[Panel] = []

    def panel_widget():
        return made[0].controls["sheet"].widget if made else None

    class PlanPanel(Panel):
        def use(self, shown: str) -> Panel:
            system[0] = shown
            return super().use(shown)

    panel = PlanPanel("Plan a batch", (form,), compute, _view, _charts, PRESETS)
    made.append(panel)
    panel.add_class("cb-wide")
    panel.controls["sheet"].widget.on_msg(partial(handle, panel))
    return panel


def _preset(fat_pct: str, basis: str, lines: list[dict], **process: str) -> dict:
    state = with_stages(state_of(kitchen_sheet().as_dict()))
    kept = [line for line in state["line"] if line["name"] not in ("pork shoulder", "pork backfat")]
    wanted = {"fat_target_pct": fat_pct, "fat_target_basis": basis}
    return {
        "sheet": state | {"line": [*lines, *kept], "process": state["process"] | wanted | process}
    }


PRESETS = {
    "3 kg of trim, 25 % fat wanted": _preset(
        "25",
        "finished",
        [{"name": "pork trim", "amount": "3 kg", "known": "about 20 % fat", "temperature_C": "1"}],
    ),
    "Trim and back fat on hand": _preset(
        "25",
        "finished",
        [
            {
                "name": "pork trim",
                "amount": "3 kg",
                "known": "15 to 25 % fat",
                "temperature_C": "1",
                "price_per_kg": "4.50",
            },
            {"name": "pork backfat", "amount": "1 kg", "temperature_C": "0", "price_per_kg": "2"},
        ],
    ),
}


def _charts(system: str) -> dict:
    return {
        "margins": emulsion_charts.margins_chart(system),
        "limits": mix_charts.limits_chart(system),
    }


def _view(found: Planned | Faulty, values, system: str) -> View:
    if isinstance(found, Faulty):
        return faults_view(found, "This form", (cure_cautions.NITRITE,))
    plan = found.plan
    followed = plan.followed
    data = (
        {"limits": mix_charts.limits_data(followed.verdicts, followed.fat)}
        if followed.verdicts
        else {}
    )
    if plan.emulsion:
        data = {"margins": emulsion_charts.margins_data(plan.emulsion), **data}
    tables = [weigh_table(plan, system), batter_table(plan, system), making_table(plan, system)]
    if found.after:
        tables += after_tables(found.after, system)
    tables += [
        law_table(plan),
        *cook_tables(plan, system),
        *card_tables(plan.sheet, system),
        steps_table(plan, system),
    ]
    page = None if plan.stop else (f"{file_stem(plan.sheet.name)}_plan.html", as_html(plan, system))
    return View(
        plan.sentence if not found.after else " ".join(found.after.next_time),
        data,
        {},
        tuple(tables),
        tuple(plan.notes),
        plan.working,
        plan.sources,
        (cure_cautions.NITRITE, cure_cautions.WEIGH, AT_EACH_STEP),
        page,
    )


def weigh_table(plan: BatchPlan, system: str) -> Table:
    """Everything that is weighed, in the order of the bowl."""
    rows = []
    for one in plan.weigh:
        withheld = one.reading_g is None and plan.withheld
        weight = "withheld" if withheld else grams(one, system)
        reader = "second person reads" if one.second_reader else ""
        name = f"{one.name} (bag of its own)" if one.kind == "cure" else one.name
        rows.append(row(one.when, name, weight, "; ".join(filter(None, (reader, one.note)))))
    total = units.show(plan.weighed_kg, "kg", system)
    rows.append(row("", "all together", total, "", mark="strong"))
    if plan.withheld:
        rows.insert(0, row("withheld", plan.withheld, "", "", mark="fails"))
    return Table("Weigh sheet", ("when", "ingredient", "weight", "note"), tuple(rows))


def batter_table(plan: BatchPlan, system: str) -> Table:
    """Whether the batter holds, and how warm it may get."""

    def C(t: float) -> str:
        return units.show(t, "°C", system)

    rows: list[Row] = []
    if plan.mix:
        target = f"{plan.mix.target_pct:g} % wanted"
        mark = "" if plan.mix.reached else "fails"
        rows.append(
            row(
                "fat",
                f"{plan.mix.reached_pct:.1f} %",
                target,
                plan.mix.what_to_do or "met",
                mark=mark,
            )
        )
    if plan.emulsion:
        held, spread = plan.emulsion.held, plan.emulsion.spread
        margin = held.margins[held.fails_first]
        low, _, high = (float(q) for q in spread.margins[held.fails_first])
        rows.append(
            row(
                f"smallest margin: {held.fails_first}",
                f"{margin:+.2f}".replace("-", "−"),
                f"{low:+.2f} to {high:+.2f} in 80 of 100 draws".replace("-", "−"),
                "0 is the edge; teaching model",
                mark="fails" if margin < 0 else "",
            )
        )
        low, _, high = (float(q) for q in spread.total_out_g)
        kg = units.show(plan.emulsion.kg(held.total_out_g), "kg", system)
        rows.append(
            row(
                "expected cook-out",
                f"{held.total_out_g:.1f} % ({kg})",
                f"{low:.1f} to {high:.1f} % in 80 of 100 draws",
                "released on heating, before drying",
            )
        )
    if plan.limits and plan.chop:
        limits = plan.limits
        model = "no end" if limits.model_C is None else f"up to {C(limits.model_C)}"
        rows.append(
            row(
                "how warm this batch may get",
                f"stop by {C(limits.upper_C)}",
                f"{limits.fat} fat: {C(limits.low_C)} to {C(limits.high_C)}",
                f"teaching model: {model}",
                mark="strong",
            )
        )
        ice = plan.chop.ice
        rows.append(
            row(
                "ice for the planned end",
                units.show(ice.ice_kg, "kg", system) if ice else "no share of ice does it",
                f"planned {C(plan.chop.planned_C)}; {plan.chop.machine.name}",
                f"and {units.show(ice.water_kg, 'kg', system)} as water"
                if ice
                else "start colder, or stop sooner",
                mark="" if ice else "fails",
            )
        )
    rows += [row("not computed", why, "", "", mark="fails") for why in plan.unanswered]
    return Table("The batter", COLUMNS, tuple(rows))


def making_table(plan: BatchPlan, system: str) -> Table:
    """Links, casing, cook, packed weight and cost."""
    rows: list[Row] = []
    if plan.links:
        links = plan.links
        each = units.show(links.link_weight_g, "g", system)
        casing = units.show(links.casing_m, "m", system, 1)
        size = units.show(links.link_length_mm, "mm", system)
        rows.append(
            row(
                "links",
                str(links.links),
                f"{size}, {each} each",
                f"{casing} of casing to have ready",
            )
        )
    for card in stage_cards(plan, system):
        if card.stage in ("rest", "cook", "chill"):
            minutes = next(
                (b.expected for b in card.blanks if b.label == "minutes to that core"), ""
            )
            target = next((b.expected for b in card.blanks if b.label == "core, coldest link"), "")
            core = f"core {target} after {minutes} min" if minutes else ""
            rows.append(
                row(
                    card.stage,
                    " ".join(card.todo),
                    core,
                    "measure the coldest link" if core else "",
                )
            )
    if plan.cook and plan.cook.unsure:
        rows.append(row("what the cooker leaves open", plan.cook.unsure.words, "", ""))
    if plan.cook and plan.cook.probe:
        rows.append(row("what the probe leaves open", probe_words(plan.cook.probe), "", ""))
    if plan.packed_kg:
        reach = plan.packed_range_kg
        span = " to ".join(units.show(kg, "kg", system) for kg in reach) if reach else ""
        rows.append(
            row(
                "packed weight to expect",
                units.show(plan.packed_kg, "kg", system),
                span,
                "range over the stages",
            )
        )
    if plan.cost:
        cost = plan.cost
        per_link = f"; {cost.per_link:.2f} a link" if cost.per_link else ""
        per = cost.per_kg / (1.0 if system == units.METRIC else units.to_shown(1.0, "kg", system))
        unit = units.shown_unit("kg", system)
        without = (
            f"no price: {', '.join(cost.unpriced)}" if cost.unpriced else "every ingredient priced"
        )
        rows.append(
            row(
                "cost",
                f"{cost.batch:.2f} {cost.currency}".strip(),
                f"{per:.2f} per {unit} packed{per_link}",
                without,
            )
        )
    return Table("Links, cook, packed weight, cost", COLUMNS, tuple(rows))


def law_table(plan: BatchPlan) -> Table:
    """Every limit of law that is held against this batch."""
    rows = []
    for v in (*plan.followed.verdicts, *plan.followed.cure.verdicts):
        state = "not judged" if v.holds is None else "met" if v.holds else "NOT met"
        value = "not known" if v.value is None else f"{v.value:.4g} {v.limit.unit}".strip()
        rows.append(
            row(
                v.limit.title,
                value,
                v.limit.in_words,
                state,
                mark="fails" if v.holds is False else "",
            )
        )
    editions = plan.followed.cure.law.split(": ", 1)[-1]
    title = (
        f"Limits of law: {plan.followed.rules or 'no rule of composition chosen'}; cure {editions}"
    )
    return Table(title, COLUMNS, tuple(rows), folded=not plan.broken_limits)


def cook_tables(plan: BatchPlan, system: str) -> tuple[Table, ...]:
    """The cook as calculated: come-up, what dries off, the published rows that the plan would meet, and the yield to expect."""
    cook, found = plan.cook, plan.followed.expected_yield if plan.cook else None
    if cook is None or found is None:
        return ()
    rows = (*cook_rows(cook, system), expected_row(found))
    return (Table("The cook as calculated, beside what is printed", OUTCOME, rows, folded=True),)


def card_tables(sheet: Sheet, system: str) -> tuple[Table, ...]:
    """If it breaks: what to do at the bowl, and what tells the causes of a cooked defect apart, for this batch."""

    def bowl():
        rows = (one for one in decision_card_of(sheet, system) if one.when == BOWL)
        return tuple(row(o.sign, o.means, o.stop, o.chill, o.add, o.go_on) for o in rows)

    def cooked():
        rows = (one for one in decision_card_of(sheet, system) if one.when == COOKED)
        return tuple(row(o.sign, "; ".join(o.causes), o.measure, "; ".join(o.tells)) for o in rows)

    signs = ("what is seen or felt", "what it means", "stop?", "chill", "add", "go on?")
    defects = (
        "what the defect looks like",
        "likely causes, and next time",
        "measure this",
        "what it tells",
    )
    return (
        Table(f"If it breaks at the bowl. {NO_RESCUE}", signs, folded=True, later=bowl),
        Table(
            "If it broke in the cook: defects, causes, and the measurement that tells them apart",
            defects,
            folded=True,
            later=cooked,
        ),
    )


def steps_table(plan: BatchPlan, system: str) -> Table:
    """The steps as they stand on the page."""
    rows = (row(c.stage, " ".join(c.todo), c.caution) for c in stage_cards(plan, system))
    return Table(
        "Steps, as on the page", ("stage", "what to do", "caution"), tuple(rows), folded=True
    )


def after_tables(after: AfterBatch, system: str) -> list[Table]:
    """Predicted beside measured, and what the next plan can take over."""

    def show(number: float | None, unit: str) -> str:
        if number is None:
            return ""
        return units.show(number, unit, system) if unit == "°C" else f"{number:.1f} %"

    rows = []
    for one in after.rows:
        reach = (
            f"{show(one.low, one.unit)} to {show(one.high, one.unit)}"
            if one.low is not None
            else ""
        )
        cells = (one.what, show(one.measured, one.unit), show(one.expected, one.unit), reach)
        rows.append(Row(cells, "fails" if one.outside else ""))
    if after.core:
        rows.append(
            row(
                "core and holding time",
                after.core.words.replace("\n", "; "),
                "",
                "validates nothing",
            )
        )
    columns = ("what", "measured", "predicted", "range expected")
    learned = tuple(row(text) for text in after.learned) or (
        row("nothing yet: weigh into and out of the cook, and measure the end of chopping"),
    )
    return [
        Table("After the batch: predicted beside measured", columns, tuple(rows)),
        Table(
            "What this batch teaches the next plan (button: plan the next batch)",
            ("taken over",),
            learned,
        ),
    ]
