"""How often would this class say the right thing? Simulated before the meat is bought."""

from dataclasses import dataclass

from kit.classroom.plan import ClassPlan
from kit.lab.charts import trial as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.run_class.pieces import ClassPanel, cautions, plan_from
from kit.trial.rehearse import Rehearsal, rehearse

TRUTHS = (
    ("the smallest worth knowing", "worth"),
    ("as the model predicts", "model"),
    ("none", "none"),
)
ENDINGS = {"undecided": "no decision", "wrong in sign": "the wrong sign"}
LOST, EXCHANGED = (0, 10, 20, 30), (0, 1, 2)


@dataclass(frozen=True, eq=False)
class Rehearsed:
    """The plan, and what its simulated classes said."""

    plan: ClassPlan
    found: Rehearsal


def rehearsal_panel(room: Panel | None = None) -> Panel:
    """Simulated classes with the scatter of the plan: right, undecided, wrong in sign."""
    lost = [(f"{n} %", n) for n in LOST]
    offered = {"truth": TRUTHS, "lost": lost, "exchanged": EXCHANGED}
    controls = controls_of("class rehearsal", options=offered, lost=10)
    plan_now = plan_from(room)

    def asked(values) -> tuple:
        return plan_now(), values["truth"], values["lost"], values["exchanged"]

    return ClassPanel(
        "Rehearsal",
        controls,
        asked,
        _rehearsed,
        rehearsal_view,
        {"shares": charts.shares_chart, "intervals": charts.intervals_chart},
        {
            "No effect at all": {"truth": "none"},
            "A third of the tubes lost": {"lost": 30},
            "Two pairs of tubes exchanged": {"exchanged": 2},
        },
        above=room,
    )


def _rehearsed(asked: tuple) -> Rehearsed:
    plan, truth, lost_pct, exchanged = asked
    truths = {
        "worth": plan.question.worth_knowing_points,
        "model": plan.predicted.draws[plan.predicted.main],
        "none": 0.0,
    }
    found = rehearse(
        plan.design,
        plan.spread,
        truths[truth],
        lost_pct=lost_pct,
        exchanged=exchanged,
        balance_step_g=plan.room.balance_step_g,
    )
    return Rehearsed(plan, found)


def rehearsal_view(rehearsed: Rehearsed, values, system: str) -> View:
    plan, found = rehearsed.plan, rehearsed.found
    shares = {
        "right": found.right_pct,
        "undecided": found.undecided_pct,
        "wrong in sign": found.wrong_pct,
    }
    if values["truth"] == "none":
        claims = found.wrong_pct
        shares = {"right": 100 - claims, "an effect where there is none": claims}
    sentence = f"Of {found.classes} simulated classes with {plan.design.stations} stations, {shares['right']:.0f} of 100 end with the right sentence"
    sentence += "".join(
        f", {pct:.0f} with {ENDINGS.get(name, name)}"
        for name, pct in shares.items()
        if name != "right"
    )
    inside = "95 % confidence intervals with the true effect inside"
    rows = (
        ("true effect, mean", f"{found.effect_points:.1f} percentage points"),
        *((name, f"{pct:.1f} %") for name, pct in shares.items()),
        (inside, f"{found.covered_pct:.1f} %"),
    )
    data = {
        "shares": charts.shares_data(shares.items()),
        "intervals": charts.intervals_data(found.intervals_points, found.effect_points),
    }
    tables = (Table("Simulated classes", ("what", "value"), rows),)
    return View(f"{sentence}.", data, tables=tables, cautions=cautions(plan)).of(found)
