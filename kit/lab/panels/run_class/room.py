"""Which designs fit the room, what blocks the others, and when does which station do what?"""

from dataclasses import dataclass, replace
from typing import Any

from kit.classroom.plan import ClassPlan, Option, options
from kit.classroom.tasks import StepMinutes
from kit.lab.charts import classroom as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Table, View, row
from kit.lab.panels.run_class.pieces import ClassPanel, cautions, plan_from

ASK_TIMES = "Calculate the clock times"
STEPS_G = (0.001, 0.01, 0.1, 1.0)
COUNTED = "people", "choppers", "bath_places", "balances"
BARS = 10
"""drawn where no design has the tubes of the plan"""


@dataclass(frozen=True, eq=False)
class RoomForClass:
    """The plan with its room, and every design near it."""

    plan: ClassPlan
    options: tuple[Option, ...]

    @property
    def times(self):
        """The clock times, where somebody asked for them; nothing is solved here."""
        return self.plan.__dict__.get("timetable")


def room_panel(question: Panel | None = None) -> Panel:
    """People, minutes, choppers, bath, balances: the designs that fit; the clock times when they are asked for."""
    plan_now = plan_from(question)
    start = plan_now()
    room, usual = start.room, StepMinutes.usual()
    weighed = start.minutes.weigh < usual.weigh
    steps = sorted({*STEPS_G, room.balance_step_g})
    held: dict[str, Any] = {key: getattr(room, key) for key in COUNTED} | {
        "step_g": room.balance_step_g
    }
    offered = {"step_g": [(f"{step:g}\u00a0g", step) for step in steps]}
    held |= {"session_min": room.sessions_min[0], "weighed": weighed, "overnight": room.overnight}
    controls = controls_of("class room", options=offered, **held)

    def asked(values) -> ClassPlan:
        plan = plan_now()
        minutes = plan.minutes
        if values["weighed"] != weighed:
            minutes = replace(minutes, weigh=usual.weigh / 2 if values["weighed"] else usual.weigh)
        sessions = (int(values["session_min"]), *room.sessions_min[1:])
        changed = replace(
            room,
            sessions_min=sessions * (2 if values["overnight"] and len(sessions) == 1 else 1),
            balance_step_g=values["step_g"],
            overnight=values["overnight"],
            **{key: int(values[key]) for key in COUNTED},
        )
        return replace(plan, room=changed, minutes=minutes)

    return ClassPanel(
        "The room and the designs",
        controls,
        asked,
        lambda plan: RoomForClass(plan, options(plan)),
        room_view,
        {"designs": charts.designs_chart, "times": charts.times_chart},
        {
            "One chopper": {"choppers": 1},
            "Kitchen scale": {"step_g": 1.0},
            "Twelve places in the bath": {"bath_places": 12},
        },
        above=question,
        acts={ASK_TIMES: (_ask_times, "There are no clock times")},
    )


def _ask_times(found: RoomForClass, values) -> None:
    _ = found.plan.timetable


def room_view(found: RoomForClass, values, system: str) -> View:
    plan, times = found.plan, found.times
    near = [one for one in found.options if one.tubes == plan.tubes or one.best]
    best = next((one for one in found.options if one.best), None)
    fits = sum(not one.blocked_by for one in found.options)
    sentence = f"{fits} of {len(found.options)} designs fit this room. "
    if best:
        sentence += f"Proposed: {charts.design_words(best)}; it sees the smallest difference worth knowing in {100 * best.chance:.0f} of 100 classes. "
    elif fits:
        sentence += "Each of them needs more stations than you have. "
    data = {"designs": charts.designs_data(near or found.options[:BARS])}
    if times is None:
        sentence += f"For the clock times of your own design press: {ASK_TIMES}."
    elif times.placed:
        kept = ", ".join(times.proof(plan.limits)[:3])
        sentence = (
            f"{plan.stations} stations end at minute {times.ends_min} ({times.method}). {kept}."
        )
        data["times"] = charts.times_data(times)
    else:
        sentence = f"Your own design: {times.no_times}."
    minutes = ", ".join(f"{step} {minutes:.2g} min" for step, minutes in vars(plan.minutes).items())
    return View(
        sentence,
        data,
        tables=(_designs(found.options, plan.tubes),),
        notes=(
            "A design is blocked where the work of one resource alone exceeds the session; the clock times decide the rest.",
            f"Model of the steps: {minutes}.",
            f"{plan.room.people} people: about {plan.room.people / plan.stations:.0f} at a station.",
        ),
        sources=times.sources if times else plan.spread.sources,
        cautions=cautions(plan),
    )


def _designs(found: tuple[Option, ...], tubes: int) -> Table:
    """Designs with the tubes of the plan come first, the best chances before others."""
    rows = [
        row(
            charts.design_words(one),
            *(f"{100 * chance:.0f} %" for chance in (one.chance, one.chance_predicted)),
            f"{one.least_min} min",
            one.blocked_by or ("fits, proposed" if one.best else "fits"),
            "; ".join(one.unblocked_by) or ("no single change" if one.blocked_by else ""),
            mark="strong" if one.best else "",
        )
        for one in sorted(found, key=lambda one: (one.tubes != tubes, -one.chance))
    ]
    columns = "design", "sees smallest difference", "sees prediction", "work, at least"
    columns += "blocked by", "single changes that unblock it"
    return Table("Designs near yours", columns, rows)
