"""Charts of lesson 03: the warming batter, ice against water and cold meat, the map, machines, parts, and a log."""

import altair as alt
import numpy as np

from kit import units
from kit.lab.charts.marks import across, layer, named_list, up
from kit.lab.charts.style import COLOUR, WIDTH, finished, numbered
from kit.lab.panels.view import columns

T_LOW, T_HIGH, E_HIGH, MIN_HIGH, MOST_C = -10.0, 40.0, 160.0, 20.0, 60.0
NAMED_AT = {0.0: 55.0, 5.0: 49.0, 10.0: 43.0, 15.0: 9.0, 20.0: 13.0, 30.0: 5.0}
"""lines of the map, °C, and the ice, % of meat, beside which each is named"""
ENDS_C = tuple(NAMED_AT)
HEATS = {
    "ice": ("warming and melting ice", "cold"),
    "meat": ("warming the meat", "protein"),
    "water": ("warming the water", "water"),
    "salt dissolving": ("dissolving salt", "salt"),
    "melting fat": ("melting fat", "fat"),
    "dry goods": ("warming dry goods", "carbohydrate"),
}
"""what takes up heat: its words and its colour"""


def shown_t(value, system):
    return units.to_shown(value, "°C", system)


def shown_e(value, system):
    return units.to_shown(value, "kJ/kg", system)


def degrees(system, field="t:Q", low=T_LOW, high=T_HIGH, title="batter", side=up, **more):
    """An axis of temperature."""
    named = f"{title}, {units.shown_unit('°C', system)}"
    return side(field, named, shown_t(low, system), shown_t(high, system), **more)


def energy_axis(system, field="x:Q", title="heat from the knives"):
    named = f"{title}, {units.shown_unit('kJ/kg', system)}"
    return across(field, named, 0, shown_e(E_HIGH, system))


def end_colour(end_C, guide) -> str:
    """The colour of an end: warm where it passes the guide."""
    return COLOUR["heat" if end_C > guide.high_C else "cold"]


def guide_rows(guide, system) -> list[dict]:
    return [{"t": float(shown_t(guide.low_C, system)), "top": float(shown_t(guide.high_C, system))}]


# the path ------------------------------------------------------------------------------------------
def path_chart(system: str) -> dict:
    """Temperature against energy."""
    return _path(system, energy_axis(system))


def time_chart(system: str) -> dict:
    """Temperature against minutes."""
    return _path(system, across("x:Q", "chopping time, min, at an even pace", 0, MIN_HIGH))


def _path(system, x) -> dict:
    """The published end as a green band, melting ice as a blue one, the end with its range."""
    y = degrees(system)
    area = {"x": x, "x2": "to:Q", "y": y, "y2": "top:Q"}
    words = {"x": x, "y": y, "text": "words:N"}
    chart = alt.layer(
        layer("melting", "shade", colour="added water", opacity=0.45, **area),
        layer("band", "field", **area),
        layer("wet", "dots", x=x, y=y, colour="heat"),
        layer("line", "line", x=x, y=y, colour="cold"),
        layer("end", "interval", x=x, y=degrees(system, "low:Q"), y2="high:Q", clip=True),
        layer("wet_name", "quiet words", align="right", dx=-8, colour="heat", **words),
        layer("names", "words", halo=True, dx=0, **words),
        layer("end", "ring", x=x, y=y),
    )
    return finished(
        chart.properties(width=WIDTH - 20, height=340),
        "How warm the batter gets",
        "green: published range; blue: ice still melting; bar: uncertainty",
    )


def path_data(answer, wet, system: str, minutes: float, against: str) -> dict[str, list[dict]]:
    """Rows for `path_chart` or `time_chart` from a ChopAnswer and the same Bowl with its ice as water.

    Lines are exact: energy at each temperature.
    """
    energy = answer.energy_kJ_per_kg

    def place(e):
        e = np.asarray(e)
        if against != "time":
            return shown_e(e, system)
        return e * minutes / energy if energy else np.where(e > 0, np.inf, 0.0)

    high = MIN_HIGH if against == "time" else float(shown_e(E_HIGH, system))
    ice_gone = answer.chopped.ice_gone_kJ_per_kg
    gone = float(place(ice_gone)) if ice_gone else 0.0
    low_t, high_t = float(shown_t(T_LOW, system)), float(shown_t(T_HIGH, system))
    x, t = float(place(energy)), min(float(shown_t(answer.end_C, system)), high_t)
    low, top = (float(shown_t(end, system)) for end in (answer.range.low_C, answer.range.high_C))
    aside = float(shown_t(4.5, system) - shown_t(0, system))
    cold = answer.end_C < answer.guide.low_C
    name = {
        "x": min(max(x - 0.36 * high, 0.02 * high), 0.6 * high),
        "t": min(t + aside, high_t) if cold else max(t - aside, low_t),
        "words": f"{units.show(answer.end_C, '°C', system)} here",
    }
    return {
        "band": [{"x": 0, "to": high, **guide_rows(answer.guide, system)[0]}],
        "melting": [{"x": 0, "to": min(gone, high), "t": low_t, "top": high_t}] if gone else [],
        "wet": _line(wet, place, system, high),
        "line": _line(answer.bowl, place, system, high),
        "end": [{"x": x, "t": t, "low": low, "high": top}],
        "names": [name],
        "wet_name": _wet_name(wet, place, system, high),
    }


def _wet_name(bowl, place, system, high) -> list[dict]:
    """A label beside the dashed line, where it has passed most of the plot."""
    t = 0.8 * T_HIGH
    x = float(place(bowl.energy_to_kJ_per_kg(t)))
    if not 0.3 * high < x < high:
        return []
    return [{"x": x, "t": float(shown_t(t, system)), "words": "all of it water"}]


def _line(bowl, place, system, high) -> list[dict]:
    start, melted = float(bowl.end_C(0.0)), float(bowl.freezing_C)
    t = np.linspace(max(start, melted), 60.0, 30)
    if start < melted:
        t = np.concatenate([np.linspace(start, melted, 30), t])
    x = np.maximum(place(bowl.energy_to_kJ_per_kg(t)), 0)
    inside = x <= 1.3 * high
    return columns(x=x[inside], t=np.asarray(shown_t(t, system))[inside])


def heat_chart(system: str) -> dict:
    """Where the knives' heat went: one bar for each thing in the bowl."""
    title = f"{units.shown_unit('kJ/kg', system)} of batter"

    def x(field):
        return across(field, title, shown_e(-10, system), shown_e(220, system), ticks=4, clamp=True)

    layers = (
        ("heat", "bar", {"x": x("kJ:Q"), "colour": "colour:N", "height": 24}),
        ("heat", "quiet words", {"x": x("at:Q"), "text": "words:N"}),
    )
    return named_list("Where that heat went", "", layers, labels=230, width=210, row=40)


def heat_data(taken, kg: float, system: str) -> dict[str, list[dict]]:
    """Rows for `heat_chart` from the heats that the things in the bowl took up, kJ."""
    found = []
    for n, (key, (what, colour)) in enumerate(HEATS.items()):
        if abs(taken.get(key, 0.0)) > 1e-9:
            per_kg = float(shown_e(taken[key] / kg, system))
            found.append(
                {
                    "place": numbered(n, what),
                    "kJ": per_kg,
                    "at": max(per_kg, 0.0),
                    "colour": COLOUR[colour],
                    "words": f"{per_kg:.1f}".replace("-", "−"),
                }
            )
    return {"heat": found}


# ice, water, colder meat ---------------------------------------------------------------------------
def ends_chart(system: str, title="Same energy, same water", labels=200, width=220, row=48) -> dict:
    """Named ends of chopping as bars, beside the published range."""

    def x(field):
        return degrees(system, field, T_LOW, MOST_C, "end of chopping", across, ticks=4, clamp=True)

    layers = (
        ("ends", "bar", {"x": x("from:Q"), "x2": "t:Q", "colour": "colour:N", "height": 22}),
        ("ends", "words", {"x": x("at:Q"), "text": "words:N", "dx": 10, "halo": True}),
    )
    band = layer("band", "field", x=x("t:Q"), x2="top:Q")
    size = {"labels": labels, "width": width, "row": row}
    return named_list(title, "green: published range", layers, **size, under=(band,))


def ends_data(listed, guide, system: str) -> dict[str, list[dict]]:
    """Rows for `ends_chart` from (name, end in °C)."""
    zero, most, found = float(shown_t(0.0, system)), float(shown_t(0.85 * MOST_C, system)), []
    for n, (name, end) in enumerate(listed):
        t, words = float(shown_t(end, system)), units.show(end, "°C", system)
        place = {"place": numbered(n, name), "from": zero, "t": t, "at": min(max(t, zero), most)}
        found.append({**place, "words": words, "colour": end_colour(end, guide)})
    return {"ends": found, "band": guide_rows(guide, system)}


def same_chart(system: str) -> dict:
    """Share of ice against meat temperature: the line of pairs that end as wanted, the batch as a ring."""

    def x(field):
        return across(field, "ice, % of the added water", 0, 100, ticks=5)

    y = degrees(system, "meat:Q", -12, 12, "meat goes in at")
    share = x("share:Q")
    green = {"color": "#dfeadd", "stroke": COLOUR["meets"], "strokeWidth": 1.5, "opacity": 1}
    words = {"align": "right", "baseline": "bottom", "dx": 0, "text": "words:N"}
    chart = alt.layer(
        layer(
            "frozen", "shade", x=share, x2="to:Q", y=y, y2="bottom:Q", colour="band", opacity=0.45
        ),
        layer("same", "area", orient="horizontal", y=y, x=x("warm:Q"), x2="cold:Q", **green),
        layer("line", "line", x=share, y=y, order="meat:Q", colour="cold"),
        layer("names", "words", halo=True, x=share, y=y, **words),
        layer("here", "ring", x=share, y=y),
    )
    return finished(
        chart.properties(width=WIDTH - 20, height=320),
        "What gets the same end",
        "line: the end that is wanted; green: published range; ring: this batch",
    )


def same_data(options, warm_kg, cold_kg, share_pct: float, meat_C: float, system: str) -> dict:
    """Rows for `same_chart`; `warm_kg` and `cold_kg`: ice for both edges of the guide, per meat temperature."""
    kilograms = (options.ice_needed_kg, warm_kg, cold_kg)
    pct, warm, cold = (100 * np.asarray(kg) / options.added_kg for kg in kilograms)
    meat, shown = np.asarray(shown_t(options.meat_C, system)), options.meat_C >= -12
    warm, cold = np.clip(warm, 0, 100), np.clip(cold, 0, 100)
    line = shown & (pct >= 0) & (pct <= 100)
    bottom, frozen = float(shown_t(-12, system)), float(shown_t(options.frozen_C, system))
    return {
        "frozen": [{"share": 0, "to": 100, "meat": frozen, "bottom": bottom}],
        "same": columns(meat=meat[shown], warm=warm[shown], cold=cold[shown]),
        "line": columns(meat=meat[line], share=pct[line]),
        "names": [
            {"share": 99, "meat": float(shown_t(-11.6, system)), "words": "meat frozen in part"}
        ],
        "here": [{"share": share_pct, "meat": float(shown_t(meat_C, system))}],
    }


# the map and the machines --------------------------------------------------------------------------
def map_chart(system: str) -> dict:
    """Energy against ice: lines of equal end temperature, the published end in green, the batch with its range."""
    x, y = energy_axis(system), up("ice:Q", "ice, % of the meat", 0, 60)
    area = {"orient": "horizontal", "x": x, "x2": "to:Q", "y": y}
    green = {"color": "#dfeadd", "stroke": COLOUR["meets"], "strokeWidth": 1.5, "opacity": 1}
    thin = {"colour": "quiet", "strokeWidth": 2}
    chart = alt.layer(
        layer("melting", "area", colour="added water", **area),
        layer("band", "area", **area, **green),
        layer("lines", "line", x=x, y=y, detail="end:N", order="ice:Q", **thin),
        layer("names", "words", halo=True, align="center", dx=0, x=x, y=y, text="words:N"),
        layer("here", "interval", y=y, x=energy_axis(system, "low:Q"), x2="high:Q", clip=True),
        layer("here", "ring", x=x, y=y),
    )
    return finished(
        chart.properties(width=WIDTH, height=360),
        "Ice against energy",
        "lines: end temperature; green: published; blue: ice left; bar: uncertainty of energy",
    )


def map_data(plane, ice_pct: float, machine, system: str) -> dict[str, list[dict]]:
    """Rows for `map_chart`. `plane`: of `ice_map`, for ENDS_C and the two edges of the guide."""
    ice, energies, gone = plane
    *of_ends, low, high = energies
    low, high = (np.maximum(shown_e(edge, system), 0) for edge in (low, high))
    lines, names = [], []
    for end, energy in zip(ENDS_C, of_ends, strict=True):
        shown = np.asarray(shown_e(energy, system))
        inside = (energy >= -20) & (energy <= 1.2 * E_HIGH)
        lines += [{"end": end, **row} for row in columns(ice=ice[inside], x=shown[inside])]
        fits = np.flatnonzero((energy > 0.04 * E_HIGH) & (energy < 0.93 * E_HIGH))
        if fits.size:
            spot = fits[np.argmin(np.abs(ice[fits] - NAMED_AT[end]))]
            at = {"x": float(shown[spot]), "ice": min(max(float(ice[spot]), 3.0), 57.0)}
            names.append({**at, "words": units.show(end, "°C", system, 0)})
    ice_gone = shown_e(gone, system)
    return {
        "lines": lines,
        "names": names,
        "band": columns(ice=ice, x=low, to=high),
        "melting": columns(ice=ice, x=np.zeros(len(ice)), to=ice_gone),
        "here": [{"ice": ice_pct, **heat_range(machine, system, "x")}],
    }


def heat_range(machine, system, usual="usual") -> dict[str, float]:
    """Low, high and usual energy of a machine as drawn."""
    return {
        "low": float(shown_e(machine.low_kJ_per_kg, system)),
        "high": float(shown_e(machine.high_kJ_per_kg, system)),
        usual: float(shown_e(machine.usual_kJ_per_kg, system)),
    }
