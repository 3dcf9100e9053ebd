"""When to stop the knives: the bowl over time, a decision, and what the batter model answers."""

from typing import NamedTuple

import numpy as np
from ipywidgets import Button

from kit import units
from kit.chain.emulsion import described
from kit.chop import chop
from kit.chop.bowl import Bowl
from kit.chop.machines import Guide, guides
from kit.chop.path import TimePath, path_by_time
from kit.chop.result import Chopped
from kit.emulsion import hold
from kit.emulsion.batter import Batter, possible
from kit.emulsion.held import HeldBatter
from kit.errors import KitError
from kit.lab.charts import chop as charts
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.charts.section import section_chart
from kit.lab.panels.chop.pieces import (
    BLADES,
    COLD,
    GUIDE_WORDS,
    Batch,
    beside_guide,
    celsius,
    panel_of_bowl,
    published,
)
from kit.lab.panels.emulsion.words import ONLY_TEACHING, section_of_held
from kit.lab.panels.panel import Panel, Table, View, row
from kit.lab.panels.sheets import keep_stop
from kit.sheet import Sheet

MINUTES, USUAL_MIN = 15.0, 9.0
HAND_OVER = "Take this stop to lesson 04"
HANDED = (
    "Lesson 04 starts at this temperature: open 04 Why it breaks and choose Run ▸ Run All Cells."
)


class Stopped(NamedTuple):
    path: TimePath
    chopped: Chopped
    guide: Guide
    held: HeldBatter | None
    """what the batter model says of stopping there; None before it is asked"""


def stop_panel(sheet: Sheet | None = None) -> Panel:
    """Temperature and ice against chopping time; the person stops the knives, then asks for the answer."""

    def compute(bowl: Bowl, values, batch: Batch) -> Stopped:
        rate, stop = values["rate_kJ_per_kg"], values["stop_min"]
        chopped = chop(bowl, rate * stop)
        path = path_by_time(bowl, rate, np.linspace(0, MINUTES, 61))
        end_C = float(np.clip(chopped.end_C, *possible("end_C")))
        batter = batter_of(bowl, batch).but(end_C=end_C)
        held = hold(batter) if values["asked"] else None
        return Stopped(path, chopped, guides()[values["fat"]], held)

    def start(batch: Batch) -> dict:
        usual = round(2 * batch.start["energy_kJ_per_kg"] / USUAL_MIN) / 2
        return {"rate_kJ_per_kg": min(max(usual, 2), 20)}

    panel = panel_of_bowl(
        "Bowl over time: when to stop chopping",
        sheet,
        compute,
        stop_view,
        {"bowl": lambda system: charts.bowl_chart(system, MINUTES), "section": section_chart},
        {
            "Stop while ice is left": {"stop_min": 4, "asked": True},
            "Stop too late": {"stop_min": 13, "asked": True},
        },
        ("rate_kJ_per_kg", "stop_min", "asked"),
        start=start,
    )

    def hand_over(button: Button) -> None:
        try:
            keep_stop(panel.result.chopped.end_C)
            panel.tell(sentence=f"{panel.shown.sentence} {HANDED}")
        except KitError as error:
            panel.tell(error=str(error))

    button = Button(description=HAND_OVER, tooltip=HAND_OVER)
    button.on_click(hand_over)
    *controls_, presets, system = panel.children[0].children
    panel.children[0].children = (*controls_, button, presets, system)
    return panel


def batter_of(bowl: Bowl, batch: Batch) -> Batter:
    """The sheet's batter with the water and the salt of the bowl as it is set."""
    base, batter = batch.base, described(batch.sheet).batter
    water, salt = (
        100 * float(bowl.kg_of(*kinds) - base.kg_of(*kinds)) / float(base.kg)
        for kinds in (("ice", "water"), ("salt",))
    )
    wetter = batter.mixed_with(water, water_pct=100.0)
    return wetter.mixed_with(salt / (1 + water / 100), salt_pct=100.0)


def stop_view(stopped: Stopped, values, system: str, batch: Batch) -> View:
    guide, held, stop = stopped.guide, stopped.held, values["stop_min"]
    end_C = stopped.chopped.end_C
    where = beside_guide(end_C, guide, system)
    left = units.show(stopped.chopped.ice_left_kg, "kg", system)
    end = celsius(end_C, system)
    sentence = (
        f"Final chopping temperature after {stop:g} min: {end}, {where} for {GUIDE_WORDS[guide.name]}, "
        f"with {left} of ice left."
    )
    rows = [
        row("final chopping temperature", end, where, guide.cite, fails=guide.off_K(end_C) > 0),
        row("published range", published(guide, system), "", guide.cite),
        row("ice left", left, "", "computed"),
    ]
    drawn, text, steps, sources = {}, {}, stopped.chopped.working, stopped.chopped.sources
    if held:
        first, least = LIMIT_WORDS[held.fails_first], held.margins[held.fails_first]
        sentence += (
            f" The batter model of lesson 04 gives a temperature margin of {signed(held.temperature_margin)} and a cook-out of "
            f"{held.total_out_g:.1f} %; smallest margin: {first}, {signed(least)}."
        )
        rows += [
            row(f"margin, {LIMIT_WORDS[limit]}", signed(m), side, "teaching model", fails=m < 0)
            for limit, m in held.margins.items()
            for side in ["below 0" if m < 0 else "above 0"]
        ]
        rows.append(row("cook-out, % of batter", f"{held.total_out_g:.1f}", "", "teaching model"))
        drawn, text = section_of_held(held)
        steps, sources = (*steps, *held.working), (*sources, *held.sources)
    data = {"bowl": charts.bowl_data(stopped.path, stop, end_C, guide, system)}
    here = f"Temperature and ice left against chopping time, 0 to {MINUTES:g} min. {sentence}"
    asked = () if held else ("Decide first; then ask the batter model with the box.",)
    return View(
        sentence,
        data | drawn,
        {"bowl": here} | text,
        (Table("Where you stop", ("what", "value", "against its limit", "source"), rows),),
        (*batch.notes, *asked, *stopped.chopped.notes),
        steps,
        (guide.cite, *sources),
        (BLADES, COLD, *((ONLY_TEACHING,) if held else ())),
    )
