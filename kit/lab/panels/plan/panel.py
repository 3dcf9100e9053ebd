"""The panel that plans a batch: the form, then the plan, the paper and what to change next time."""

from dataclasses import dataclass
from functools import partial

from kit import units
from kit.cure import cautions as cure_cautions
from kit.errors import Faulty
from kit.lab.charts import emulsion as emulsion_charts
from kit.lab.charts import meat_block as mix_charts
from kit.lab.command import file_stem
from kit.lab.pages.plan import as_html
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.plan.files import handle
from kit.lab.panels.plan.form import FormSpec, placed, sheet_of_state, state_of, with_stages
from kit.lab.panels.plan.tables import (
    after_tables,
    batter_table,
    card_tables,
    cook_tables,
    law_table,
    making_table,
    steps_table,
    weigh_table,
)
from kit.lab.panels.sheets import current_sheet, faults_view, kitchen_sheet
from kit.plan import plan_batch
from kit.plan.after import AfterBatch, after_batch
from kit.plan.batch_plan import BatchPlan
from kit.sheet import Sheet

AT_EACH_STEP = (
    "The cautions on blades, heat, cooling, allergens and lifting stand at the step where they bite, on the page and under Steps. It certifies nothing: "
    "local codes and licensed practice come first."
)


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


def _preset(lines: list[dict]) -> dict:
    """The kitchen's batch with other meats, 25 % fat wanted in the finished product."""
    state = with_stages(state_of(kitchen_sheet().as_dict()))
    kept = [line for line in state["line"] if not line["name"].startswith("pork")]
    process = state["process"] | {"fat_target_pct": "25", "fat_target_basis": "finished"}
    return {"sheet": state | {"line": [*lines, *kept], "process": process}}


TRIM = {"name": "pork trim", "amount": "3 kg", "temperature_C": "1", "price_per_kg": "4.50"}
BACKFAT = {"name": "pork backfat", "amount": "1 kg", "temperature_C": "0", "price_per_kg": "2"}
PRESETS = {
    "3 kg of trim, 25 % fat wanted": _preset([TRIM | {"known": "about 20 % fat"}]),
    "Trim and back fat on hand": _preset([TRIM | {"known": "15 to 25 % fat"}, BACKFAT]),
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
    data = {}
    if plan.emulsion:
        data["margins"] = emulsion_charts.margins_data(plan.emulsion)
    if followed.verdicts:
        data["limits"] = mix_charts.limits_data(followed.verdicts, followed.fat)
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
