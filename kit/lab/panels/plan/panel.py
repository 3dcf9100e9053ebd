"""The panel that plans a batch: the form, then the plan, the paper and what to change next time."""

from dataclasses import dataclass
from functools import partial

from kit import allergens
from kit.cook.cooked import CAUTION as PLAN_ONLY
from kit.cure import cautions as cure_cautions
from kit.errors import Faulty, KitError
from kit.files import file_stem
from kit.lab.charts import emulsion as emulsion_charts
from kit.lab.charts import meat_block as mix_charts
from kit.lab.pages.plan import as_html
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.plan.files import handle
from kit.lab.panels.plan.form import BatchForm, FormSpec, placed, sheet_of_state, start_of
from kit.lab.panels.plan.tables import tables_of
from kit.lab.panels.sheets import current_sheet, kitchen_sheet
from kit.plan import plan_batch
from kit.plan.after import AfterBatch, after_batch
from kit.plan.batch_plan import BatchPlan
from kit.sheet import Sheet

AT_EACH_STEP = (
    "The cautions on blades, heat, cooling and lifting are printed at each step, on the page and under Steps. The plan certifies nothing: "
    "local codes and licensed practice take precedence."
)


@dataclass(frozen=True)
class Planned:
    """The plan of what the form says, and what came of the batch where that was written down."""

    sheet: Sheet
    plan: BatchPlan
    after: AfterBatch | None


CHARTS = {"margins": emulsion_charts.margins_chart, "limits": mix_charts.limits_chart}
FAULTY = ("This form", cure_cautions.NITRITE)


class PlanPanel(Panel):
    """The form on top, wide; its faults are marked at its fields."""

    def __init__(self, start: dict, said: str):
        self._last: Planned | None = None
        form = FormSpec("sheet", "Batch", start)
        super().__init__(
            "Plan a batch", (form,), self._planned, _view, CHARTS, PRESETS, faulty=FAULTY
        )
        self.add_class("cb-wide")
        self.form.said = said
        self.form.on_msg(partial(handle, self))

    @property
    def form(self) -> BatchForm:
        return self.controls["sheet"].widget

    def _planned(self, values) -> Planned:
        """What the form says, planned; the last plan again where a fold was opened."""
        try:
            written = sheet_of_state(values["sheet"], self.system)
        except Faulty as error:
            self.form.faults = placed(error, values["sheet"])
            raise
        self.form.faults = {}
        if self._last is None or self._last.sheet != written:
            plan = plan_batch(written)
            self._last = Planned(written, plan, after_batch(plan, written))
        return self._last


def plan_panel(sheet: Sheet | None = None) -> Panel:
    """Plan a batch: what is on hand and wanted, the weigh sheet, the batter, links, cook, yield, cost, paper, and what to change next time.

    Without a sheet it starts with the current batch, else with the invented kitchen's; a spoilt current batch is said.
    """
    said = ""
    try:
        sheet = sheet or current_sheet()
    except KitError as error:
        said = f"The current batch cannot be read; choose it again. {error}"
    return PlanPanel(start_of(sheet or kitchen_sheet()), said)


def _preset(lines: list[dict]) -> dict:
    """The kitchen's batch with other meats, 25 % fat in the finished product."""
    state = start_of(kitchen_sheet())
    kept = [line for line in state["line"] if not line["name"].startswith("pork")]
    process = state["process"] | {"fat_target_pct": "25", "fat_target_basis": "finished"}
    return {"sheet": state | {"line": [*lines, *kept], "process": process}}


TRIM = {"name": "pork trim", "amount": "3 kg", "temperature_C": "1", "price_per_kg": "4.50"}
BACKFAT = {"name": "pork backfat", "amount": "1 kg", "temperature_C": "0", "price_per_kg": "2"}
PRESETS = {
    "Trim 3 kg (6.6 lb), target 25 % fat": _preset([TRIM | {"known": "about 20 % fat"}]),
    "Trim and back fat on hand": _preset([TRIM | {"known": "15 to 25 % fat"}, BACKFAT]),
}


def _view(found: Planned, values, system: str) -> View:
    plan = found.plan
    followed = plan.followed
    data = {}
    if plan.emulsion:
        data["margins"] = emulsion_charts.margins_data(plan.emulsion)
    if followed.verdicts:
        data["limits"] = mix_charts.limits_data(followed.verdicts, followed.fat)
    page = (f"{file_stem(plan.sheet.name)}_plan.html", lambda: as_html(plan, system))
    return View(
        plan.sentence if not found.after else " ".join(found.after.next_time),
        data,
        tables=tables_of(plan, found.after, system),
        cautions=(
            cure_cautions.NITRITE,
            cure_cautions.WEIGH,
            allergens.caution(followed.ingredient_names),
            *((PLAN_ONLY,) if plan.cook else ()),
            AT_EACH_STEP,
        ),
        page=None if plan.stop else page,
    ).of(plan)
