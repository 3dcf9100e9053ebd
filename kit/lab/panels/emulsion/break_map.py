"""Two things at once: what leaves over any two levers, where the edge of the model runs, and where the batch stands."""

from dataclasses import dataclass

import numpy as np

from kit import units
from kit.chain.emulsion import Holds
from kit.emulsion import LEVERS, BreakMap, break_map
from kit.emulsion.spread import LEAST_DRAWS
from kit.errors import need
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    batch_controls,
    batch_holds,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import assumed_notes, cautions, limits_in_words, margins_words
from kit.lab.panels.panel import Choice, Panel, Row, Table, View

POINTS = 61
AXES = tuple((lever.label, name) for name, lever in LEVERS.items())
RANGES = {
    "fat_pct": (5.0, 40.0),
    "collagen_pct": (5.0, 50.0),
    "core_C": (60.0, 95.0),
    "drop_um": (2.0, 60.0),
    "salt_pct": (0.0, 3.0),
}
"""where a map is drawn: a part of what was tried, so that the batch stands in the middle"""


@dataclass(frozen=True)
class Mapped:
    holds: Holds
    map: BreakMap


def break_map_panel() -> Panel:
    """The map over two axes of the person's choice."""

    def compute(values) -> Mapped:
        need(
            values["across"] != values["up"],
            f"both axes are {LEVERS[values['up']].label!r}; choose two different ones",
        )
        holds = batch_holds(values, draws=LEAST_DRAWS)
        found = break_map(
            holds.batter,
            values["across"],
            values["up"],
            calibration_of(values["calibration"]),
            POINTS,
            RANGES.get(values["across"]),
            RANGES.get(values["up"]),
        )
        return Mapped(holds, found)

    axes = (
        Choice("across", "Across", AXES, "end_C", "What is shown"),
        Choice("up", "Up", AXES, "fat_pct", "What is shown"),
        Choice(
            "shown",
            "Colour",
            tuple((words, key) for key, words in charts.SHOWN.items()),
            "total_out_g",
            "What is shown",
        ),
    )
    return Panel(
        "The break map",
        (*batch_controls(), *axes, saved_control()),
        compute,
        map_view,
        lambda system: {"map": charts.map_chart(system)},
        BREAKS
        | {
            "Salt against ice": {"across": "ice_g", "up": "salt_pct"},
            "Drops against salt": {"across": "drop_um", "up": "salt_pct"},
        },
    )


def map_view(mapped: Mapped, values, system) -> View:
    found, held = mapped.map, mapped.holds.held
    names = (values["across"], values["up"])
    axis_units = tuple(LEVERS[name].unit if LEVERS[name].unit == "°C" else "" for name in names)
    here = " and ".join(
        f"{LEVERS[name].label} {_shown(at, LEVERS[name].unit, system)}"
        for name, at in zip(names, found.point)
    )
    grams = {
        "total_out_g": held.total_out_g,
        "fat_out_g": held.fat_out_g,
        "water_out_g": held.water_out_g,
    }[values["shown"]]
    sentence = (
        f"With {here}, {charts.SHOWN[values['shown']]} in the cook is {grams:.1f} % of the batter ({units.show(mapped.holds.kg(grams), 'kg', system, 1)}) in this teaching model. "
        f"{margins_words(mapped.holds)}"
    )
    nearest = tuple(
        Row(
            (
                LEVERS[name].label,
                _shown(at, LEVERS[name].unit, system),
                _nearest_edge(found, axis, system),
            )
        )
        for axis, (name, at) in enumerate(zip(names, found.point))
    )
    share = Table(
        "Walking straight from the batch",
        ("moving only", "from", "the nearest edge lies at"),
        nearest,
    )
    shares = Table(
        "The map in words",
        ("limit", "it fails first on", "it lies past its edge and first on"),
        tuple(
            Row(
                (
                    limits_in_words((limit,)),
                    f"{100 * np.mean(found.weakest == n):.0f} % of the map",
                    f"{100 * np.mean((found.weakest == n) & (found.least_margin < 0)):.0f} %",
                )
            )
            for n, limit in enumerate(found.limits)
        ),
    )
    notes = (
        "The edge is one of the model with every number at its middle: read it as a broad band, not as a line.",
        *(
            ()
            if "ice_g" not in names
            else (
                "Ice counts as water here; that it also cools the batter is for the chopper's heat balance.",
            )
        ),
        *assumed_notes(mapped.holds),
    )
    return View(
        sentence,
        {"map": charts.map_data(found, values["shown"], system, axis_units)},
        {"map": charts.map_text(found, values["shown"])},
        (share, shares),
        notes,
        mapped.holds.working,
        mapped.holds.sources,
        cautions(),
    )


def _shown(value: float, unit: str, system: str) -> str:
    return units.show(value, "°C", system) if unit == "°C" else f"{value:.1f} {unit}"


def _nearest_edge(found: BreakMap, axis: int, system: str) -> str:
    """Where the least margin changes sign along one axis through the batch's point, nearest to it."""
    along, across = (
        (found.across_values, found.up_values)
        if axis == 0
        else (found.up_values, found.across_values)
    )
    name, other = (found.across, found.point[1]) if axis == 0 else (found.up, found.point[0])
    if not across[0] <= other <= across[-1]:
        return "the batch lies off the map"
    z = found.least_margin if axis == 0 else found.least_margin.T
    line = np.array([np.interp(other, across, z[:, i]) for i in range(len(along))])
    turns = np.flatnonzero(np.signbit(line[1:]) != np.signbit(line[:-1]))
    if not turns.size:
        return "nowhere on the map"
    at = along[turns] + (along[turns + 1] - along[turns]) * line[turns] / (
        line[turns] - line[turns + 1]
    )
    return f"about {_shown(float(at[np.argmin(np.abs(at - found.point[axis]))]), LEVERS[name].unit, system)}"
