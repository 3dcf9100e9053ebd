"""Charts of lesson 03: the warming batter, ice against cold meat."""

from functools import partial

import numpy as np

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, measured, picture, up
from kit.lab.charts.style import COLOUR, WIDTH, finished
from kit.lab.panels.view import columns

T_LOW, T_HIGH, E_HIGH = -10.0, 40.0, 160.0


def shown_t(value, system):
    return units.to_shown(value, "°C", system)


def shown_e(value, system):
    return units.to_shown(value, "kJ/kg", system)


def degrees(system, field="t:Q", low=T_LOW, high=T_HIGH, title="batter", side=up, **more):
    """An axis of temperature."""
    return measured(side, field, title, "°C", system, low, high, **more)


def end_colour(end_C, guide) -> str:
    """The colour of an end: warm where it passes the guide."""
    return COLOUR["heat" if end_C > guide.high_C else "cold"]


def guide_rows(guide, system) -> list[dict]:
    return [{"t": shown_t(guide.low_C, system), "top": shown_t(guide.high_C, system)}]


# the path ------------------------------------------------------------------------------------------
@alt.kept
def path_chart(system: str) -> dict:
    """Temperature against energy: the published end as a green band, melting ice as a blue one, the end with its range."""
    x = measured(across, "x:Q", "specific mechanical energy", "kJ/kg", system, 0, E_HIGH)
    y = degrees(system)
    area = {"x": x, "x2": "to:Q", "y": y, "y2": "top:Q"}
    words = {"x": x, "y": y, "text": "words:N"}
    return picture(
        "Batter temperature while chopping",
        "green: published range; blue: ice still melting; bar: 90 % interval",
        (WIDTH - 20, 340),
        layer("melting", "shade", colour="added water", opacity=0.45, **area),
        layer("band", "field", **area),
        layer("wet", "dots", x=x, y=y, colour="heat"),
        layer("line", "line", x=x, y=y, colour="cold"),
        layer("end", "interval", x=x, y=degrees(system, "low:Q"), y2="high:Q", clip=True),
        layer("wet_name", "quiet words", align="right", dx=-8, colour="heat", **words),
        layer("names", "words", halo=True, dx=0, **words),
        layer("end", "ring", x=x, y=y),
    )


def path_data(answer, wet, system: str) -> dict[str, list[dict]]:
    """Rows for `path_chart` from a ChopAnswer and the same Bowl with its ice as water.

    Lines are exact: energy at each temperature.
    """
    high, gone = (shown_e(e, system) for e in (E_HIGH, answer.chopped.ice_gone_kJ_per_kg))
    low_t, high_t = shown_t(T_LOW, system), shown_t(T_HIGH, system)
    x = shown_e(answer.energy_kJ_per_kg, system)
    t = min(shown_t(answer.end_C, system), high_t)
    low, top = (shown_t(end, system) for end in (answer.range.low_C, answer.range.high_C))
    aside = shown_t(4.5, system) - shown_t(0, system)
    cold = answer.end_C < answer.guide.low_C
    name = {
        "x": x - 0.14 * high if cold or x > 0.84 * high else x + 0.015 * high,
        "t": min(t + aside, high_t) if cold else max(t - aside, low_t),
        "words": f"{units.show(answer.end_C, '°C', system)} here",
    }
    # the dotted line is named where it has passed most of the plot
    wet_t = 0.8 * T_HIGH
    wet_x = shown_e(wet.energy_to_kJ_per_kg(wet_t), system)
    wet_name = {"x": wet_x, "t": shown_t(wet_t, system), "words": "all water"}
    return {
        "band": [{"x": 0, "to": high, **guide_rows(answer.guide, system)[0]}],
        "melting": [{"x": 0, "to": min(gone, high), "t": low_t, "top": high_t}] if gone else [],
        "wet": _line(wet, system),
        "line": _line(answer.bowl, system),
        "end": [{"x": x, "t": t, "low": low, "high": top}],
        "names": [name],
        "wet_name": [wet_name] if 0.3 * high < wet_x < high else [],
    }


def _line(bowl, system: str) -> list[dict]:
    start, melted = float(bowl.end_C(0.0)), float(bowl.freezing_C)
    t = np.linspace(max(start, melted), 60.0, 30)
    if start < melted:
        t = np.concatenate([np.linspace(start, melted, 30), t])
    energy = np.maximum(bowl.energy_to_kJ_per_kg(t), 0)
    inside = energy <= 1.3 * E_HIGH
    x, t = shown_e(energy[inside], system), shown_t(t[inside], system)
    return columns(x=np.asarray(x), t=np.asarray(t))


# the bowl over time --------------------------------------------------------------------------------
@alt.kept
def bowl_chart(system: str, minutes: float) -> dict:
    """Temperature over the ice that is left, against chopping time; green: where the fat is best, ring: where the knives stop."""
    x, y = across("x:Q", "", 0, minutes), degrees(system)
    ice = up("ice:Q", "ice left, %", 0, 40, ticks=2)
    stop = layer("stop", "limit", x=x)
    words = {"x": x, "text": "words:N", "dx": 0}
    warmth = alt.layer(
        layer("band", "field", x=x, x2="to:Q", y=y, y2="top:Q"),
        stop,
        layer("line", "line", x=x, y=y, colour="cold"),
        layer("stop", "ring", x=x, y=y),
        layer("names", "words", halo=True, y=y, **words),
    ).properties(width=WIDTH, height=230)
    below = across("x:Q", "chopping time, min", 0, minutes)
    melting = alt.layer(
        layer("line", "area", x=below, y=ice, colour="added water", opacity=1),
        layer("stop", "limit", x=below),
    ).properties(width=WIDTH, height=80)
    title = "The bowl over time"
    return finished(
        alt.vconcat(warmth, melting),
        title,
        "green: published range; dashed: the knives stop; ice: % of the batter",
    )


def bowl_data(path, stop_min: float, end_C: float, guide, system: str) -> dict[str, list[dict]]:
    """Rows for `bowl_chart` from a TimePath and where it is stopped."""
    last, t = float(path.minute[-1]), min(shown_t(end_C, system), shown_t(T_HIGH, system))
    shown = path.end_C <= T_HIGH + 5
    ice = 100 * path.ice_kg[shown] / path.batter_kg[shown]
    aside = shown_t(6.0, system) - shown_t(0, system)
    name = {"x": min(stop_min + 0.2, 0.72 * last), "t": t - aside}
    return {
        "band": [{"x": 0, "to": last, **guide_rows(guide, system)[0]}],
        "line": columns(x=path.minute[shown], t=shown_t(path.end_C[shown], system), ice=ice),
        "stop": [{"x": stop_min, "t": t}],
        "names": [name | {"words": f"{units.show(end_C, '°C', system)} here"}],
    }


# ice against colder meat ---------------------------------------------------------------------------
@alt.kept
def same_chart(system: str) -> dict:
    """Share of ice against meat temperature: the line of pairs that end as wanted, the batch as a ring."""
    x = partial(across, title="ice (% of ice and water)", low=0, high=100, ticks=5)
    y = degrees(system, "meat:Q", -12, 12, "meat temperature")
    share = x("share:Q")
    green = {"color": "#dfeadd", "stroke": COLOUR["meets"], "strokeWidth": 1.5, "opacity": 1}
    words = {"align": "right", "baseline": "bottom", "dx": 0, "text": "words:N"}
    return picture(
        "Ice and meat temperature for the target",
        "line: target temperature; green: published range; ring: this batch",
        (WIDTH - 20, 320),
        layer(
            "frozen", "shade", x=share, x2="to:Q", y=y, y2="bottom:Q", colour="band", opacity=0.45
        ),
        layer("same", "area", orient="horizontal", y=y, x=x("warm:Q"), x2="cold:Q", **green),
        layer("line", "line", x=share, y=y, order="meat:Q", colour="cold"),
        layer("names", "words", halo=True, x=share, y=y, **words),
        layer("here", "ring", x=share, y=y, clip=False),
    )


def same_data(options, warm_kg, cold_kg, share_pct: float, meat_C: float, system: str) -> dict:
    """Rows for `same_chart`; `warm_kg` and `cold_kg`: ice for both edges of the guide, per meat temperature."""
    kilograms = (options.ice_needed_kg, warm_kg, cold_kg)
    pct, warm, cold = (100 * np.asarray(kg) / options.added_kg for kg in kilograms)
    meat, shown = np.asarray(shown_t(options.meat_C, system)), options.meat_C >= -12
    warm, cold = np.clip(warm, 0, 100), np.clip(cold, 0, 100)
    line = shown & (pct >= 0) & (pct <= 100)
    bottom, frozen = shown_t(-12, system), shown_t(options.frozen_C, system)
    return {
        "frozen": [{"share": 0, "to": 100, "meat": frozen, "bottom": bottom}],
        "same": columns(meat=meat[shown], warm=warm[shown], cold=cold[shown]),
        "line": columns(meat=meat[line], share=pct[line]),
        "names": [{"share": 99, "meat": shown_t(-11.6, system), "words": "meat partly frozen"}],
        "here": [{"share": share_pct, "meat": shown_t(meat_C, system)}],
    }
