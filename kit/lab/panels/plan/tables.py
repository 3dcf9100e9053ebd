"""The tables of a plan: the weigh sheet, the margins, expected results, what to do if the batter breaks, and what was measured."""

from kit import units
from kit.chain.cook_unsure import probe_words
from kit.chain.diagnosis import bowl_signs_of, evidence_of
from kit.diagnosis.decision_card import NO_RESCUE, cooked_defects
from kit.lab.charts.emulsion import LIMIT_WORDS
from kit.lab.pages.plan import grams
from kit.lab.panels.cook import cook_rows
from kit.lab.panels.cook.pieces import expected_row, rough_air_rows
from kit.lab.panels.outcome import COLUMNS as OUTCOME
from kit.lab.panels.panel import Row, Table, row
from kit.plan.after import AfterBatch
from kit.plan.batch_plan import BatchPlan
from kit.plan.stages import COME_UP, CORE, stage_cards
from kit.sheet import Sheet

COLUMNS = ("quantity", "value", "limit or range", "margin or note")
SIGNS = ("sign", "meaning", "stop?", "chill", "add", "continue?")
DEFECTS = ("defect", "likely causes and correction", "measurement", "result")
SPREAD = "90 % interval"


def _amount(verdict) -> str:
    """A value with no more figures than its limit is shown with, where the limit is met."""
    whole = verdict.holds and verdict.value >= 100
    return f"{verdict.value:{'.0f' if whole else '.4g'}} {verdict.limit.unit}".strip()


def tables_of(plan: BatchPlan, after: AfterBatch | None, system: str) -> tuple[Table, ...]:
    """Every table of a plan, in order."""
    return (
        weigh_table(plan, system),
        batter_table(plan, system),
        making_table(plan, system),
        *(after_tables(after, system) if after else ()),
        law_table(plan),
        *cook_tables(plan, system),
        *uncertainty_tables(plan, system),
        *card_tables(plan.sheet, system),
        steps_table(plan, system),
    )


def weigh_table(plan: BatchPlan, system: str) -> Table:
    """Everything that is weighed, in the order of the bowl."""
    rows = [row("withheld", plan.withheld, "", "", fails=True)] if plan.withheld else []
    for one in plan.weigh:
        weight = "withheld" if one.withheld else grams(one, system)
        if system == units.US:
            weight = weight.replace(" ", "\u00a0", 1)  # kept as the scale shows it
        reader = "read by a second person" if one.second_reader else ""
        name = f"{one.name} (separate bag)" if one.kind == "cure" else one.name
        rows.append(row(one.when, name, weight, "; ".join(filter(None, (reader, one.note)))))
    total = units.show(plan.weighed_kg, "kg", system)
    rows.append(row("", "total", total, "", mark="strong"))
    return Table("Weigh sheet", ("when", "ingredient", "weight", "note"), tuple(rows))


def batter_table(plan: BatchPlan, system: str) -> Table:
    """The margins of the batter, and its temperature limits."""

    def C(t: float) -> str:
        return units.show(t, "°C", system)

    rows: list[Row] = []
    if mix := plan.mix:
        reached, wanted = f"{mix.reached_pct:.1f} %", f"target {mix.target_pct:g} %"
        rows.append(row("fat", reached, wanted, mix.what_to_do or "met", fails=not mix.reached))
    if plan.emulsion:
        held, spread = plan.emulsion.held, plan.emulsion.spread
        first, margin = held.fails_first, held.margins[held.fails_first]
        low, _, high = (f"{q:+.2f}".replace("-", "−") for q in spread.margins[first])
        now, edge = f"{margin:+.2f}".replace("-", "−"), "limit of the model: 0; teaching model"
        what = f"smallest margin: {LIMIT_WORDS[first]}"
        rows.append(row(what, now, f"{SPREAD} {low} to {high}", edge, fails=margin < 0))
        low, _, high = (f"{q:.1f}" for q in spread.total_out_g)
        kg = units.show(plan.emulsion.kg(held.total_out_g), "kg", system)
        out, reach = f"{held.total_out_g:.1f} % ({kg})", f"{SPREAD} {low} to {high} %"
        rows.append(row("predicted cook-out", out, reach, "released on heating, without drying"))
    if plan.chop:
        guide, ice = plan.chop.guide, plan.chop.ice
        model = "no limit" if plan.model_C is None else f"up to {C(plan.model_C)}"
        stop, span = f"stop at {C(plan.upper_C)}", f"{C(guide.low_C)} to {C(guide.high_C)}"
        cells = (f"{guide.name} fat: {span}", f"teaching model: {model}")
        rows.append(row("limit for the chopping temperature", stop, *cells, mark="strong"))
        kg, rest = "no share of ice is enough", "start colder, or stop earlier"
        if ice:
            kg = units.show(ice.ice_kg, "kg", system)
            rest = f"and {units.show(ice.water_kg, 'kg', system)} as water"
        planned = f"planned {C(plan.chop.planned_C)}; {plan.chop.machine.name}"
        rows.append(row("ice for the planned final temperature", kg, planned, rest, fails=not ice))
    rows += [row("not computed", why, "", "", fails=True) for why in plan.unanswered]
    return Table("Batter", COLUMNS, tuple(rows))


def making_table(plan: BatchPlan, system: str) -> Table:
    """Links, casing, cook, packed weight and cost, calculated when opened: the come-up time has an interval where the air has one."""
    title = "Links, cook, packed weight, cost"
    return Table(title, COLUMNS, folded=True, later=lambda: _making_rows(plan, system))


def _making_rows(plan: BatchPlan, system: str) -> tuple[Row, ...]:
    rows: list[Row] = []
    if links := plan.links:
        each = units.show(links.link_weight_g, "g", system)
        casing = f"{units.show(links.casing_m, 'm', system, 1)} of casing needed"
        size = f"{units.show(links.link_length_mm, 'mm', system)}, {each} each"
        rows.append(row("number of links", f"{links.links:,}", size, casing))
    for card in stage_cards(plan, system):
        if card.stage in ("rest", "cook", "chill"):
            told = {blank.label: blank.expected for blank in card.blanks}
            core = f"core {told[CORE]} after {told[COME_UP]} min" if told.get(COME_UP) else ""
            note = "measure the coldest link" if core else ""
            rows.append(row(card.stage, " ".join(card.todo), core, note))
    if plan.packed_kg:
        packed, reach = units.show(plan.packed_kg, "kg", system), plan.packed_range_kg
        span = " to ".join(units.show(kg, "kg", system) for kg in reach) if reach else ""
        rows.append(row("expected packed weight", packed, span, "range over the stages"))
    if cost := plan.cost:
        unit = units.shown_unit("kg", system)
        per = cost.per_kg / units.to_shown(1.0, "kg", system)
        link = f"; {cost.per_link:.2f} per link" if cost.per_link else ""
        bare = (
            f"no price: {', '.join(cost.unpriced)}"
            if cost.unpriced
            else "all ingredients have a price"
        )
        batch = f"{cost.batch:.2f} {cost.currency}".strip()
        rows.append(row("cost", batch, f"{per:.2f} per {unit} packed{link}", bare))
    return tuple(rows)


def law_table(plan: BatchPlan) -> Table:
    """Every limit of law that applies to this batch."""
    rows = []
    for v in (*plan.followed.verdicts, *plan.followed.cure.verdicts):
        state = "not judged" if v.holds is None else "met" if v.holds else "NOT met"
        value = "not known" if v.value is None else _amount(v)
        cells = (v.limit.title, value, v.limit.in_words, state)
        rows.append(row(*cells, fails=v.holds is False))
    editions = plan.followed.cure.law.split(": ", 1)[-1]
    rules = plan.followed.rules or "no rule of composition chosen"
    title = f"Limits of law: {rules}; cure {editions}"
    return Table(title, COLUMNS, tuple(rows), folded=not plan.broken_limits)


def cook_tables(plan: BatchPlan, system: str) -> tuple[Table, ...]:
    """The calculated cook: come-up, evaporation, the published rows that the plan would meet, and the expected yield."""
    cook, found = plan.cook, plan.followed.expected_yield if plan.cook else None
    if cook is None or found is None:
        return ()
    rows = (*cook_rows(cook, system), expected_row(found))
    return (Table("Calculated cook and published limits", OUTCOME, rows, folded=True),)


def uncertainty_tables(plan: BatchPlan, system: str) -> tuple[Table, ...]:
    """What air that is known only roughly and one probe in one link leave open: more cooks, calculated when opened."""
    cook = plan.cook
    if cook is None:
        return ()

    def fill() -> list[tuple[str, ...]]:
        rows, probe = list(rough_air_rows(cook, system)), cook.probe
        if probe is not None:
            said = "; ".join((*probe.notes, *probe.sources, *map(str, probe.working)))
            rows.append(("uncertainty of the core probe", probe_words(probe), "", "", said))
        return rows

    process = plan.sheet.process
    asked = process.core_probes or any(one.air_low_C is not None for one in process.house)
    caption = "Uncertainty of the cook: air temperature, core probe"
    return (Table(caption, OUTCOME, folded=True, later=fill),) if asked else ()


def card_tables(sheet: Sheet, system: str) -> tuple[Table, ...]:
    """What to do at the bowl if the batter breaks, and what distinguishes the causes of a cooked defect, for this batch."""

    def bowl():
        rows = bowl_signs_of(sheet, system)
        return tuple(row(o.sign, o.means, o.stop, o.chill, o.add, o.go_on) for o in rows)

    def cooked():
        rows = cooked_defects(evidence_of(sheet).readings)
        return tuple(row(o.sign, "; ".join(o.causes), o.measure, "; ".join(o.tells)) for o in rows)

    broke = "Defects after the cook: causes and the measurement that distinguishes them"
    return (
        Table(
            f"Signs of a breaking batter at the bowl. {NO_RESCUE}", SIGNS, folded=True, later=bowl
        ),
        Table(broke, DEFECTS, folded=True, later=cooked),
    )


def steps_table(plan: BatchPlan, system: str) -> Table:
    """The steps as they are printed."""

    def fill() -> tuple[Row, ...]:
        return tuple(row(c.stage, " ".join(c.todo), c.caution) for c in stage_cards(plan, system))

    columns = ("stage", "work", "caution")
    return Table("Steps, as printed", columns, folded=True, later=fill)


def after_tables(after: AfterBatch, system: str) -> list[Table]:
    """Predicted and measured values, and what the next plan can take over."""

    def show(number: float | None, unit: str) -> str:
        if number is None:
            return ""
        return units.show(number, unit, system) if unit == "°C" else f"{number:.1f} %"

    rows = []
    for one in after.rows:
        low, high = show(one.low, one.unit), show(one.high, one.unit)
        reach = f"{low} to {high}" if one.low is not None else ""
        cells = (one.what, show(one.measured, one.unit), show(one.expected, one.unit), reach)
        rows.append(row(*cells, fails=one.outside))
    if after.core:
        met = after.core.words.replace("\n", "; ")
        rows.append(
            row("core temperature and holding time", met, "", "does not validate a process")
        )
    columns = ("quantity", "measured", "predicted", "expected range")
    nothing = "none yet: weigh into and out of the cook, and measure the final chopping temperature"
    learned = tuple(row(text) for text in after.learned or (nothing,))
    teaches = "Values that the next plan takes from this batch (button: plan the next batch)"
    return [
        Table("Predicted and measured", columns, tuple(rows)),
        Table(teaches, ("value",), learned),
    ]
