"""How warm the batter gets, what the ice does, where the limits of ice and energy run, and what a log says of the chopper."""

import altair as alt
import numpy as np

from kit import units
from kit.lab.charts.style import COLOUR, LABEL, WIDTH, finished, names_down, numbered, rows

T_LOW, T_HIGH, E_HIGH, MIN_HIGH = -10.0, 40.0, 160.0, 20.0
FIELD = "#dfeadd"
NAMED_AT = {0.0: 55.0, 5.0: 49.0, 10.0: 43.0, 15.0: 9.0, 20.0: 13.0, 30.0: 5.0}
"""lines of the map, °C, and the ice, % of meat, beside which each is named"""
ENDS_C = tuple(NAMED_AT)
HEATS = {
    "ice": "warming and melting ice",
    "meat": "warming the meat",
    "water": "warming the water",
    "salt dissolving": "dissolving salt",
    "melting fat": "melting fat",
    "dry goods": "warming dry goods",
}


def _t(value, system):
    return units.to_shown(value, "°C", system)


def _e(value, system):
    return units.to_shown(value, "kJ/kg", system)


def _degrees(system, field="t:Q", low=T_LOW, high=T_HIGH, title="batter"):
    return alt.Y(
        field,
        title=f"{title}, {units.shown_unit('°C', system)}",
        scale=alt.Scale(domain=[_t(low, system), _t(high, system)], nice=False),
        axis=alt.Axis(tickCount=6),
    )


def _energy(system, field="x:Q", title="heat from the knives"):
    return alt.X(
        field,
        title=f"{title}, {units.shown_unit('kJ/kg', system)}",
        scale=alt.Scale(domain=[0, _e(E_HIGH, system)], nice=False),
        axis=alt.Axis(tickCount=6),
    )


# the path ------------------------------------------------------------------------------------------------------------------------------
def path_chart(system: str) -> dict:
    return _path(system, _energy(system))


def time_chart(system: str) -> dict:
    return _path(
        system,
        alt.X(
            "x:Q",
            title="chopping time, min, at an even pace",
            scale=alt.Scale(domain=[0, MIN_HIGH], nice=False),
            axis=alt.Axis(tickCount=6),
        ),
    )


def _path(system, x) -> dict:
    """Temperature against energy or minutes: printed end as a green band, melting ice as a blue one, the end with its range."""
    y = _degrees(system)
    band = (
        alt.Chart(rows("band"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5)
        .encode(x=x, x2="to:Q", y=y, y2="top:Q")
    )
    melting = (
        alt.Chart(rows("melting"))
        .mark_rect(color=COLOUR["added water"], opacity=0.45, clip=True)
        .encode(x=x, x2="to:Q", y=y, y2="top:Q")
    )
    wet = (
        alt.Chart(rows("wet"))
        .mark_line(color=COLOUR["heat"], strokeDash=[3, 4], strokeWidth=3, clip=True)
        .encode(x=x, y=y)
    )
    line = (
        alt.Chart(rows("line"))
        .mark_line(color=COLOUR["cold"], strokeWidth=4, clip=True)
        .encode(x=x, y=y)
    )
    doubt = (
        alt.Chart(rows("end"))
        .mark_rule(color=COLOUR["ink"], strokeWidth=6, opacity=0.6, clip=True)
        .encode(x=x, y=_degrees(system, "low:Q"), y2="high:Q")
    )
    tag = (
        alt.Chart(rows("wet_name"))
        .mark_text(fontSize=LABEL, align="right", dx=-8, color=COLOUR["heat"])
        .encode(x=x, y=y, text="words:N")
    )
    point = (
        alt.Chart(rows("end"))
        .mark_point(
            size=240,
            filled=True,
            opacity=1,
            color="white",
            stroke=COLOUR["point"],
            strokeWidth=4,
            clip=True,
        )
        .encode(x=x, y=y)
    )
    halo, words = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="left", **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    return finished(
        (melting + band + wet + line + doubt + tag + halo + words + point).properties(
            width=WIDTH - 20, height=340
        ),
        "How warm the batter gets",
        "green: the end in print; blue: ice still melting; bar: the doubt",
    )


def path_data(answer, wet, system: str, minutes: float, against: str) -> dict[str, list[dict]]:
    """Rows for `path_chart` or `time_chart` from a ChopAnswer and the same Bowl with its ice as water. Lines are exact: energy at each temperature."""
    energy = answer.energy_kJ_per_kg
    if against == "time":
        high = MIN_HIGH

        def across(e):
            return (
                np.asarray(e) * minutes / energy
                if energy
                else np.where(np.asarray(e) > 0, np.inf, 0.0)
            )
    else:
        high = float(_e(E_HIGH, system))

        def across(e):
            return _e(np.asarray(e), system)

    gone = (
        float(across(answer.chopped.ice_gone_kJ_per_kg))
        if answer.chopped.ice_gone_kJ_per_kg
        else 0.0
    )
    low_t, high_t = float(_t(T_LOW, system)), float(_t(T_HIGH, system))
    end = {
        "x": float(across(energy)),
        "t": min(float(_t(answer.end_C, system)), high_t),
        "low": float(_t(answer.range.low_C, system)),
        "high": float(_t(answer.range.high_C, system)),
    }
    names = [
        {
            "x": min(max(end["x"] - 0.36 * high, 0.02 * high), 0.6 * high),
            "t": max(end["t"] - float(_t(4.5, system) - _t(0, system)), low_t),
            "words": f"{units.show(answer.end_C, '°C', system)} here",
        }
    ]
    if answer.end_C < answer.guide.low_C:
        names[0]["t"] = min(end["t"] + float(_t(4.5, system) - _t(0, system)), high_t)
    return {
        "band": [
            {
                "x": 0,
                "to": high,
                "t": _t(answer.guide.low_C, system),
                "top": _t(answer.guide.high_C, system),
            }
        ],
        "melting": [{"x": 0, "to": min(gone, high), "t": low_t, "top": high_t}] if gone else [],
        "wet": _line(wet, across, system, high),
        "line": _line(answer.bowl, across, system, high),
        "end": [end],
        "names": names,
        "wet_name": _wet_name(wet, across, system, high),
    }


def _wet_name(bowl, across, system, high) -> list[dict]:
    """A label beside the dashed line, where it has passed most of the plot."""
    t = 0.8 * T_HIGH
    x = float(across(bowl.energy_to_kJ_per_kg(t)))
    return (
        [{"x": x, "t": float(_t(t, system)), "words": "all of it water"}]
        if 0.3 * high < x < high
        else []
    )


def _line(bowl, across, system, high) -> list[dict]:
    start, melted = float(bowl.end_C(0.0)), float(bowl.freezing_C)
    t = (
        np.concatenate([np.linspace(start, melted, 30), np.linspace(melted, 60.0, 30)])
        if start < melted
        else np.linspace(start, 60.0, 30)
    )
    x = np.maximum(across(bowl.energy_to_kJ_per_kg(t)), 0)
    inside = x <= 1.3 * high
    return [
        {"x": a, "t": b}
        for a, b in zip(x[inside].tolist(), np.asarray(_t(t, system))[inside].tolist())
    ]


def path_text(answer, wet_end_C: float) -> str:
    return (
        f"Line of batter temperature. It starts at {answer.chopped.start_C:.1f} °C, the last ice melts at {answer.chopped.ice_gone_kJ_per_kg:.0f} kJ/kg, and at "
        f"{answer.energy_kJ_per_kg:.0f} kJ/kg it ends at {answer.end_C:.1f} °C, eight draws in ten between {answer.range.low_C:.1f} and {answer.range.high_C:.1f} °C. "
        f"In print: {answer.guide.low_C:g} to {answer.guide.high_C:g} °C. With water in place of ice it ends at {wet_end_C:.1f} °C."
    )


def heat_chart(system: str) -> dict:
    """Where the knives' heat went: one bar for each thing in the bowl."""
    y = names_down("place", 230)
    low, high = (float(_e(v, system)) for v in (-10, 150))

    def x(field):
        return alt.X(
            field,
            title=f"{units.shown_unit('kJ/kg', system)} of batter",
            scale=alt.Scale(domain=[low, high], nice=False, clamp=True),
            axis=alt.Axis(tickCount=4),
        )

    bar = (
        alt.Chart(rows("heat"))
        .mark_bar(height=24)
        .encode(y=y, x=x("kJ:Q"), color=alt.Color("colour:N", scale=None))
    )
    words = (
        alt.Chart(rows("heat"))
        .mark_text(align="left", dx=6, fontSize=LABEL)
        .encode(y=y, x=x("at:Q"), text="words:N")
    )
    return finished(
        (bar + words).properties(width=190, height=alt.Step(40)), "Where that heat went"
    )


def heat_data(taken, kg: float, system: str) -> dict[str, list[dict]]:
    """Rows for `heat_chart` from chain.chop.taken_kJ."""
    colour = {
        "ice": "cold",
        "meat": "protein",
        "water": "water",
        "salt dissolving": "salt",
        "melting fat": "fat",
        "dry goods": "carbohydrate",
    }
    found = []
    for key, what in HEATS.items():
        if abs(taken.get(key, 0.0)) > 1e-9:
            per_kg = taken[key] / kg
            found.append(
                {
                    "place": numbered(list(HEATS).index(key), what),
                    "kJ": float(_e(per_kg, system)),
                    "at": max(float(_e(per_kg, system)), 0.0),
                    "colour": COLOUR[colour[key]],
                    "words": f"{_e(per_kg, system):.1f}".replace("-", "−"),
                }
            )
    return {"heat": found}


def heat_text(taken, kg: float) -> str:
    return "Bars of heat taken up, kJ per kg of batter. " + " ".join(
        f"{HEATS[key]} {taken[key] / kg:.1f}." for key in HEATS if key in taken
    )


# ice, water, colder meat ---------------------------------------------------------------------------------------------------------------
def ends_chart(system: str) -> dict:
    """The same energy with the added water as ice, half and half, and water."""
    y = names_down("place", 200)
    domain = [float(_t(v, system)) for v in (T_LOW, 60)]

    def x(field):
        return alt.X(
            field,
            title=f"end of chopping, {units.shown_unit('°C', system)}",
            scale=alt.Scale(domain=domain, nice=False, clamp=True),
            axis=alt.Axis(tickCount=4),
        )

    band = (
        alt.Chart(rows("band"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5)
        .encode(x=x("t:Q"), x2="top:Q")
    )
    bar = (
        alt.Chart(rows("ends"))
        .mark_bar(height=24)
        .encode(y=y, x=x("from:Q"), x2="t:Q", color=alt.Color("colour:N", scale=None))
    )
    words = (
        alt.Chart(rows("ends"))
        .mark_text(align="left", dx=6, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("right:Q"), text="words:N")
    )
    return finished(
        (band + bar + words).properties(width=220, height=alt.Step(48)),
        "Same energy, same water",
        "green: the end in print",
    )


def ends_data(ways, guide, system: str) -> dict[str, list[dict]]:
    zero = float(_t(0.0, system))
    return {
        "ends": [
            {
                "place": numbered(n, name),
                "from": zero,
                "t": float(_t(end, system)),
                "right": max(float(_t(end, system)), zero),
                "words": units.show(end, "°C", system),
                "colour": COLOUR["heat"] if end > guide.high_C else COLOUR["cold"],
            }
            for n, (name, end) in enumerate(ways.ends_C)
        ],
        "band": [{"t": float(_t(guide.low_C, system)), "top": float(_t(guide.high_C, system))}],
    }


def ends_text(ways) -> str:
    return "Bars of end temperature at the same energy. " + " ".join(
        f"{name}: {end:.1f} °C." for name, end in ways.ends_C
    )


def same_chart(system: str) -> dict:
    """Share of ice against meat temperature: the line of pairs that end where planned, the batch as a ring."""
    title, scale = "ice, % of the added water", alt.Scale(domain=[0, 100], nice=False)
    x = alt.X("share:Q", title=title, scale=scale, axis=alt.Axis(tickCount=5))
    y = _degrees(system, "meat:Q", -12, 12, "meat goes in at")
    frozen = (
        alt.Chart(rows("frozen"))
        .mark_rect(color=COLOUR["band"], opacity=0.45)
        .encode(x=x, x2="to:Q", y=y, y2="bottom:Q")
    )
    band = (
        alt.Chart(rows("same"))
        .mark_area(
            orient="horizontal", color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5, clip=True
        )
        .encode(
            y=y,
            x=alt.X("warm:Q", title=title, scale=scale, axis=alt.Axis(tickCount=5)),
            x2="cold:Q",
        )
    )
    line = (
        alt.Chart(rows("line"))
        .mark_line(color=COLOUR["cold"], strokeWidth=4, clip=True)
        .encode(x=x, y=y, order="meat:Q")
    )
    halo, words = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="right", baseline="bottom", **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=240, filled=True, opacity=1, color="white", stroke=COLOUR["point"], strokeWidth=4
        )
        .encode(x=x, y=y)
    )
    return finished(
        (frozen + band + line + halo + words + point).properties(width=WIDTH - 20, height=320),
        "What gets the same end",
        "line: the end that is wanted; green: the end in print; ring: this batch",
    )


def same_data(
    ways, warm_kg, cold_kg, share_pct: float, meat_C: float, system: str
) -> dict[str, list[dict]]:
    """Rows for `same_chart`; `warm_kg` and `cold_kg`: ice for the warm and the cold edge of the guide, per meat temperature."""
    pct, warm, cold = (
        100 * np.asarray(kg) / ways.added_kg for kg in (ways.ice_needed_kg, warm_kg, cold_kg)
    )
    meat = np.asarray(_t(ways.meat_C, system))
    inside = (pct >= 0) & (pct <= 100)
    shown = ways.meat_C >= -12
    names = [{"share": 99, "meat": float(_t(-11.6, system)), "words": "meat frozen in part"}]
    return {
        "frozen": [
            {
                "share": 0,
                "to": 100,
                "meat": float(_t(ways.frozen_C, system)),
                "bottom": float(_t(-12, system)),
            }
        ],
        "same": [
            {"meat": m, "warm": w, "cold": c}
            for m, w, c in zip(
                meat[shown].tolist(),
                np.clip(warm, 0, 100)[shown].tolist(),
                np.clip(cold, 0, 100)[shown].tolist(),
            )
        ],
        "line": [
            {"meat": m, "share": s}
            for m, s in zip(meat[inside & shown].tolist(), pct[inside & shown].tolist())
        ],
        "names": names,
        "here": [{"share": share_pct, "meat": float(_t(meat_C, system))}],
    }


# the map and the machines --------------------------------------------------------------------------------------------------------------
def map_chart(system: str) -> dict:
    """Heat from the knives against ice: lines of equal end temperature, the printed end in green, the batch with the doubt of its energy."""
    x = _energy(system)
    y = alt.Y("ice:Q", title="ice, % of the meat", scale=alt.Scale(domain=[0, 60], nice=False))
    band = (
        alt.Chart(rows("band"))
        .mark_area(
            orient="horizontal", color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5, clip=True
        )
        .encode(y=y, x=x, x2="to:Q")
    )
    melting = (
        alt.Chart(rows("melting"))
        .mark_area(orient="horizontal", color=COLOUR["added water"], opacity=0.45, clip=True)
        .encode(y=y, x=x, x2="to:Q")
    )
    lines = (
        alt.Chart(rows("lines"))
        .mark_line(color=COLOUR["quiet"], strokeWidth=2, clip=True)
        .encode(x=x, y=y, detail="end:N", order="ice:Q")
    )
    halo, names = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    doubt = (
        alt.Chart(rows("here"))
        .mark_rule(color=COLOUR["ink"], strokeWidth=6, opacity=0.6, clip=True)
        .encode(y=y, x=_energy(system, "low:Q"), x2="high:Q")
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=240,
            filled=True,
            opacity=1,
            color="white",
            stroke=COLOUR["point"],
            strokeWidth=4,
            clip=True,
        )
        .encode(x=x, y=y)
    )
    return finished(
        (melting + band + lines + halo + names + doubt + point).properties(width=WIDTH, height=360),
        "Ice against energy",
        "lines: end temperature; green: in print; blue: ice left; bar: doubt of energy",
    )


def map_data(plane, guide_edges, ice_pct: float, machine, system: str) -> dict[str, list[dict]]:
    """Rows for `map_chart`. `plane`: an IceMap whose ends are ENDS_C; `guide_edges`: energies at the two edges of the guide per ice."""
    ice = plane.ice_pct_of_meat.tolist()

    def shown(energy):
        return np.asarray(_e(np.asarray(energy), system)).tolist()

    low, high = guide_edges
    lines, names = [], []
    for end, energy in zip(plane.end_C.tolist(), plane.energy_kJ_per_kg):
        inside = (energy >= -20) & (energy <= 1.2 * E_HIGH)
        lines += [
            {"end": end, "ice": i, "x": e}
            for i, e, keep in zip(ice, shown(energy), inside.tolist())
            if keep
        ]
        fits = np.flatnonzero((energy > 0.04 * E_HIGH) & (energy < 0.93 * E_HIGH))
        if fits.size:
            spot = min(fits.tolist(), key=lambda i: abs(ice[i] - NAMED_AT[end]))
            names.append(
                {
                    "x": shown(energy)[spot],
                    "ice": min(max(ice[spot], 3.0), 57.0),
                    "words": units.show(end, "°C", system, 0),
                }
            )
    return {
        "lines": lines,
        "names": names,
        "band": [
            {"ice": i, "x": max(a, 0), "to": max(b, 0)}
            for i, a, b in zip(ice, shown(low), shown(high))
        ],
        "melting": [
            {"ice": i, "x": 0, "to": e} for i, e in zip(ice, shown(plane.ice_gone_kJ_per_kg))
        ],
        "here": [
            {
                "ice": ice_pct,
                "x": float(_e(machine.usual_kJ_per_kg, system)),
                "low": float(_e(machine.low_kJ_per_kg, system)),
                "high": float(_e(machine.high_kJ_per_kg, system)),
            }
        ],
    }


def map_text(ice_pct: float, answer) -> str:
    return (
        f"Map of ice against energy. This batch, {ice_pct:.0f} % ice on the meat and {answer.energy_kJ_per_kg:.0f} kJ/kg, ends at {answer.end_C:.1f} °C; "
        f"in print {answer.guide.low_C:g} to {answer.guide.high_C:g} °C."
    )


def machines_chart(system: str) -> dict:
    """Energy of each machine as a bar from low to high with its usual value, its status beside it; green: what this bowl needs."""
    y = names_down("place", 170)
    title = "heat into the batter"
    x = _energy(system, "low:Q", title)
    band = (
        alt.Chart(rows("needs"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5, clip=True)
        .encode(x=x, x2="high:Q")
    )
    bar = (
        alt.Chart(rows("machines"))
        .mark_bar(height=16, color=COLOUR["quiet"], clip=True)
        .encode(y=y, x=x, x2="high:Q")
    )
    tick = (
        alt.Chart(rows("machines"))
        .mark_tick(thickness=4, size=26, color=COLOUR["ink"], clip=True)
        .encode(y=y, x=_energy(system, "usual:Q", title))
    )
    halo, words = (
        alt.Chart(rows("machines"))
        .mark_text(align="left", dx=4, dy=-18, fontSize=LABEL - 1, **more)
        .encode(y=y, x=_energy(system, "at:Q", title), text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 4}, {"color": COLOUR["quiet"]})
    )
    return finished(
        (band + bar + tick + halo + words).properties(width=260, height=alt.Step(52)),
        "What machines put in",
        "rough ranges; green: what this bowl needs",
    )


def machines_data(machines, needs: tuple[float, float], system: str) -> dict[str, list[dict]]:
    return {
        "machines": [
            {
                "place": numbered(n, m.name),
                "low": float(_e(m.low_kJ_per_kg, system)),
                "high": float(_e(m.high_kJ_per_kg, system)),
                "usual": float(_e(m.usual_kJ_per_kg, system)),
                "at": float(min(_e(m.low_kJ_per_kg, system), _e(0.3 * E_HIGH, system))),
                "words": f"{m.basis if m.basis == 'per pass' else 'in all'}, {m.status}",
            }
            for n, m in enumerate(machines)
        ],
        "needs": [
            {
                "low": max(float(_e(needs[0], system)), 0),
                "high": max(float(_e(needs[1], system)), 0),
            }
        ],
    }


def machines_text(machines) -> str:
    return "Ranges of energy into the batter. " + " ".join(
        f"{m.name} {m.low_kJ_per_kg:g} to {m.high_kJ_per_kg:g} kJ/kg, {m.status}." for m in machines
    )


# the log -------------------------------------------------------------------------------------------------------------------------------
def log_chart(system: str) -> dict:
    """A log's readings with the fitted line and the lines at both ends of the interval. Axes follow the log."""
    x = alt.X(
        "minute:Q", title="minutes since the knives started", scale=alt.Scale(nice=True, zero=True)
    )

    def y(field):
        return alt.Y(
            field,
            title=f"batter, {units.shown_unit('°C', system)}",
            scale=alt.Scale(nice=True, zero=False),
        )

    band = (
        alt.Chart(rows("fit"))
        .mark_area(color=COLOUR["added water"], opacity=0.6)
        .encode(x=x, y=y("low:Q"), y2="high:Q")
    )
    line = (
        alt.Chart(rows("fit"))
        .mark_line(color=COLOUR["cold"], strokeWidth=4)
        .encode(x=x, y=y("t:Q"))
    )
    dots = (
        alt.Chart(rows("read"))
        .mark_circle(size=44, color=COLOUR["ink"], opacity=0.65)
        .encode(x=x, y=y("t:Q"))
    )
    return finished(
        (band + dots + line).properties(width=WIDTH - 20, height=320),
        "What the log says",
        "dots: readings; line: fitted balance; band: 90 % interval",
    )


def log_data(fit, low_C, high_C, minute, fitted_C, system: str) -> dict[str, list[dict]]:
    every = max(len(fit.time_min) // 200, 1)
    return {
        "read": [
            {"minute": m, "t": t}
            for m, t in zip(
                fit.time_min[::every].tolist(),
                np.asarray(_t(fit.measured_C, system))[::every].tolist(),
            )
        ],
        "fit": [
            {"minute": m, "t": t, "low": a, "high": b}
            for m, t, a, b in zip(
                minute.tolist(),
                *(np.asarray(_t(c, system)).tolist() for c in (fitted_C, low_C, high_C)),
            )
        ],
    }
