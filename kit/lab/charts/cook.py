"""What a link goes through: schedule against core, water lost, two houses, two paces, two chills, a record, and one probe against many links."""

import altair as alt
import numpy as np

from kit import units
from kit.lab.charts.style import (
    COLOUR,
    LABEL,
    LIMIT_DASH,
    WIDTH,
    finished,
    names_down,
    numbered,
    rows,
)
from kit.lethality import thinned

T_LOW, T_HIGH, MIN_HIGH = 0.0, 110.0, 160.0
LOSS_HIGH, AHEAD_LOW, AHEAD_HIGH, PACE_HIGH = 25.0, -20.0, 70.0, 120.0
CHILL_LOW, CHILL_HIGH = 1.0, 1000.0
SHADES = ("#f3f4f7", "#e4e8ee")
CORE, SKIN, WET, MEDIUM = COLOUR["ink"], COLOUR["heat"], COLOUR["cold"], COLOUR["unexplained"]
POINTS = 160
"""of a line: more cannot be seen"""
DRAWN = 4
"""cores of a record: more cannot be told apart"""


def _t(value, system):
    return units.to_shown(value, "°C", system)


def _degrees(system, field="t:Q", low=T_LOW, high=T_HIGH, title="temperature"):
    return alt.Y(
        field,
        title=f"{title}, {units.shown_unit('°C', system)}",
        axis=alt.Axis(tickCount=6),
        scale=alt.Scale(domain=[float(_t(low, system)), float(_t(high, system))], nice=False),
    )


def _minutes(field="min:Q", high=MIN_HIGH, title="minutes"):
    return alt.X(
        field,
        title=title,
        scale=alt.Scale(domain=[0, high], nice=False),
        axis=alt.Axis(tickCount=8),
    )


def _line(name, x, y, colour, width=3, **more):
    return (
        alt.Chart(rows(name))
        .mark_line(color=colour, strokeWidth=width, clip=True, **more)
        .encode(x=x, y=y)
    )


def _course(minutes, values) -> list[dict]:
    """A trace thinned to what can be seen; its ends and its highest point stay."""
    m, v = np.asarray(minutes, float), np.asarray(values, float)
    keep = np.unique(
        np.concatenate(
            [np.linspace(0, m.size - 1, min(POINTS, m.size)).astype(int), [int(v.argmax())]]
        )
    )
    return [{"min": a, "t": b} for a, b in zip(m[keep].tolist(), v[keep].tolist())]


# schedule against core -----------------------------------------------------------------------------------------------------------------
def schedule_chart(system: str) -> dict:
    """Air or bath, wet bulb, skin and core over the stages, with the core that is aimed at."""
    x, y = _minutes(), _degrees(system)
    field = (
        alt.Chart(rows("stages"))
        .mark_rect(clip=True)
        .encode(x=x, x2="to:Q", y=y, y2="top:Q", color=alt.Color("shade:N", scale=None))
    )
    names = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, baseline="top", dy=6)
        .encode(x=x, y=y, text="words:N")
    )
    medium, wet = _line("medium", x, y, MEDIUM, 3), _line("wet", x, y, WET, 3, strokeDash=[2, 3])
    aim = (
        alt.Chart(rows("aim"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    tag, halo = (
        alt.Chart(rows("aim"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="right", dy=-10, **more)
        .encode(
            x=alt.XDatum(MIN_HIGH - 1, scale=alt.Scale(domain=[0, MIN_HIGH], nice=False)),
            y=y,
            text="words:N",
        )
        for more in ({}, {"stroke": "white", "strokeWidth": 5})
    )
    skin, core = _line("skin", x, y, SKIN, 3, strokeDash=[8, 3]), _line("core", x, y, CORE, 4)
    point = (
        alt.Chart(rows("reached"))
        .mark_point(
            size=220,
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
        (field + medium + wet + aim + skin + core + point + names + halo + tag).properties(
            width=550, height=330
        ),
        "The schedule against the core",
        [
            "black: core; red dashes: skin; blue dots: wet bulb",
            "grey: air or bath; ring: the core is there",
        ],
    )


def schedule_data(cooked, system: str) -> dict[str, list[dict]]:
    """Rows for `schedule_chart` from a Cooked with one target."""
    stages, names, medium, wet = [], [], [], []
    low, high = (float(_t(v, system)) for v in (T_LOW, T_HIGH))
    for n, s in enumerate(cooked.stages):
        stages.append(
            {
                "min": s.start_min,
                "to": min(s.end_min, MIN_HIGH),
                "t": low,
                "top": high,
                "shade": SHADES[n % 2],
            }
        )
        if s.end_min - s.start_min >= 2.4 * len(s.name):
            names.append({"min": (s.start_min + s.end_min) / 2, "t": high, "words": s.name})
        medium += [
            {"min": at, "t": float(_t(s.medium_C, system))} for at in (s.start_min, s.end_min)
        ]
        level = None if s.wet_bulb_C is None else float(_t(s.wet_bulb_C, system))
        wet += [{"min": at, "t": level} for at in (s.start_min, s.end_min)]
    target = cooked.targets[0]
    reached = (
        [{"min": target.minutes, "t": float(_t(target.target_C, system))}] if target.reached else []
    )
    return {
        "stages": stages,
        "names": names,
        "medium": medium,
        "wet": wet,
        "skin": _course(cooked.minutes, _t(cooked.surface_C, system)),
        "core": _course(cooked.minutes, _t(cooked.core_C, system)),
        "reached": reached,
        "aim": [
            {
                "t": float(_t(target.target_C, system)),
                "words": f"aim {units.show(target.target_C, '°C', system)}",
            }
        ],
    }


def schedule_text(cooked) -> str:
    parts = (
        f"{s.name} until {s.end_min:.0f} min: air or bath {s.medium_C:.0f} °C"
        + (f", wet bulb {s.wet_bulb_C:.0f} °C" if s.wet_bulb_C is not None else "")
        + f", core {s.core_end_C:.1f} °C, skin {s.surface_end_C:.1f} °C"
        for s in cooked.stages
    )
    return f"Lines over the stages. {'; '.join(parts)}. {cooked.targets[0].words}"


# water lost ----------------------------------------------------------------------------------------------------------------------------
def loss_chart(system: str) -> dict:
    """Water out in each stage, % of the raw weight."""
    y = names_down("place", 130)

    def x(field):
        return alt.X(
            field,
            title="% of the raw weight",
            scale=alt.Scale(domain=[0, LOSS_HIGH], nice=False, clamp=True),
            axis=alt.Axis(tickCount=5),
        )

    bar = (
        alt.Chart(rows("loss")).mark_bar(height=26, color=COLOUR["loss"]).encode(y=y, x=x("pct:Q"))
    )
    words = (
        alt.Chart(rows("loss"))
        .mark_text(align="left", dx=6, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("at:Q"), text="words:N")
    )
    return finished(
        (bar + words).properties(width=185, height=alt.Step(44)), "Water lost, by stage"
    )


def loss_data(cooked) -> dict[str, list[dict]]:
    rows_ = [
        {
            "place": numbered(n, s.name),
            "pct": s.lost_pct,
            "at": min(s.lost_pct, 0.8 * LOSS_HIGH),
            "words": f"{s.lost_pct:.1f}",
        }
        for n, s in enumerate(cooked.stages)
    ]
    return {
        "loss": [
            *rows_,
            {
                "place": numbered(len(rows_), "all"),
                "pct": cooked.lost_pct,
                "at": min(cooked.lost_pct, 0.8 * LOSS_HIGH),
                "words": f"{cooked.lost_pct:.1f}",
            },
        ]
    }


def loss_text(cooked) -> str:
    return (
        "Bars of water lost, % of the raw weight. "
        + " ".join(f"{s.name} {s.lost_pct:.1f}." for s in cooked.stages)
        + f" All {cooked.lost_pct:.1f}."
    )


# two houses ----------------------------------------------------------------------------------------------------------------------------
def house_core_chart(system: str) -> dict:
    x, y = _minutes(high=PACE_HIGH), _degrees(system, high=100.0)
    aim = (
        alt.Chart(rows("aim"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    both = _line("planned", x, y, COLOUR["unexplained"], 4) + _line("core", x, y, CORE, 4)
    return finished(
        (aim + both).properties(width=WIDTH - 40, height=290),
        "The core",
        "black: this house; grey: as planned; dashed: the aim",
    )


def house_loss_chart(system: str) -> dict:
    x = _minutes(high=PACE_HIGH)
    y = alt.Y(
        "t:Q",
        title="water lost, % of raw",
        scale=alt.Scale(domain=[-5, LOSS_HIGH], nice=False),
        axis=alt.Axis(tickCount=6),
    )
    limit = (
        alt.Chart(rows("limit"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    halo, word = (
        alt.Chart(rows("limit"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="right", dy=-10, **more)
        .encode(
            x=alt.XDatum(PACE_HIGH - 1, scale=alt.Scale(domain=[0, PACE_HIGH], nice=False)),
            y=y,
            text="words:N",
        )
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    both = _line("planned", x, y, COLOUR["unexplained"], 4) + _line("lost", x, y, COLOUR["loss"], 4)
    return finished(
        (limit + both + halo + word).properties(width=WIDTH - 40, height=290),
        "The water",
        "orange: this house; grey: as planned; falls where steam condenses",
    )


def houses_data(planned, here, limit_pct: float, system: str) -> tuple[dict, dict]:
    """Rows for `house_core_chart` and `house_loss_chart` from two Cooked."""
    core = {
        "planned": _course(planned.minutes, _t(planned.core_C, system)),
        "core": _course(here.minutes, _t(here.core_C, system)),
        "aim": [{"t": float(_t(here.targets[0].target_C, system))}],
    }
    lost = {
        "planned": _course(planned.minutes, planned.lost_pct_by_time),
        "lost": _course(here.minutes, here.lost_pct_by_time),
        "limit": [{"t": limit_pct, "words": f"your limit {limit_pct:g} %"}],
    }
    return core, lost


# gentle and fast -----------------------------------------------------------------------------------------------------------------------
def pace_chart(system: str) -> dict:
    x, y = _minutes(high=PACE_HIGH), _degrees(system, high=100.0)
    aim = (
        alt.Chart(rows("aim"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    lines = (
        _line("gentle_skin", x, y, COLOUR["cold"], 3, strokeDash=[3, 3])
        + _line("gentle_core", x, y, COLOUR["cold"], 4)
        + _line("fast_skin", x, y, COLOUR["heat"], 3, strokeDash=[3, 3])
        + _line("fast_core", x, y, COLOUR["heat"], 4)
    )
    return finished(
        (aim + lines).properties(width=WIDTH - 40, height=290),
        "Core and skin",
        "blue: gentle; red: fast; dotted: the skin; dashed: the aim",
    )


def ahead_chart(system: str) -> dict:
    x = _minutes(high=PACE_HIGH)
    y = alt.Y(
        "t:Q",
        title=f"skin less core, {units.shown_unit('K', system)}",
        axis=alt.Axis(tickCount=6),
        scale=alt.Scale(
            domain=[float(units.to_shown(v, "K", system)) for v in (AHEAD_LOW, AHEAD_HIGH)],
            nice=False,
        ),
    )
    limit = (
        alt.Chart(rows("limit"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    word = (
        alt.Chart(rows("limit"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="right", dy=-10)
        .encode(
            x=alt.XDatum(PACE_HIGH - 1, scale=alt.Scale(domain=[0, PACE_HIGH], nice=False)),
            y=y,
            text="words:N",
        )
    )
    lines = _line("gentle", x, y, COLOUR["cold"], 4) + _line(
        "fast", x, y, COLOUR["heat"], 4, strokeDash=[8, 3]
    )
    return finished(
        (limit + lines + word).properties(width=WIDTH - 40, height=290),
        "How far the skin runs ahead",
        "blue: gentle; red dashes: fast",
    )


def pace_data(gentle, fast, limit_K: float, system: str) -> tuple[dict, dict]:
    """Rows for `pace_chart` and `ahead_chart`; each is a Cooked, drawn until its core is there."""
    lines, ahead = {}, {}
    for name, done in (("gentle", gentle), ("fast", fast)):
        upto = slice(
            None,
            int(np.searchsorted(done.minutes, done.targets[0].minutes)) + 1
            if done.targets[0].reached
            else None,
        )
        m = done.minutes[upto]
        lines |= {
            f"{name}_core": _course(m, _t(done.core_C[upto], system)),
            f"{name}_skin": _course(m, _t(done.surface_C[upto], system)),
        }
        ahead[name] = _course(
            m, units.to_shown(done.surface_C[upto] - done.core_C[upto], "K", system)
        )
    return (
        lines | {"aim": [{"t": float(_t(gentle.targets[0].target_C, system))}]},
        ahead
        | {
            "limit": [
                {
                    "t": float(units.to_shown(limit_K, "K", system)),
                    "words": f"your limit {units.show(limit_K, 'K', system, 0)}",
                }
            ]
        },
    )


# chill ---------------------------------------------------------------------------------------------------------------------------------
def chill_chart(system: str) -> dict:
    """Cores on the way down over time in tenfold steps, with the temperatures of the window."""
    x = alt.X(
        "min:Q",
        title="minutes, each mark ten times the last",
        scale=alt.Scale(type="log", domain=[CHILL_LOW, CHILL_HIGH], nice=False),
        axis=alt.Axis(values=[1, 10, 100, 1000]),
    )
    y = _degrees(system, high=80.0)
    levels = (
        alt.Chart(rows("levels"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    halo, words = (
        alt.Chart(rows("levels"))
        .mark_text(fontSize=LABEL, align="right", dx=-2, dy=-9, **more)
        .encode(
            x=alt.XDatum(
                CHILL_HIGH, scale=alt.Scale(type="log", domain=[CHILL_LOW, CHILL_HIGH], nice=False)
            ),
            y=y,
            text="words:N",
        )
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    lines = _line("air", x, y, COLOUR["heat"], 4, strokeDash=[8, 3]) + _line(
        "water", x, y, COLOUR["cold"], 4
    )
    return finished(
        (levels + lines + halo + words).properties(width=WIDTH - 40, height=300),
        "The core on its way down",
        "blue: in water; red dashes: in cold air",
    )


def windows_chart(system: str) -> dict:
    """How much of each published window is used: a bar per part and chill."""
    y = names_down("place", 150)

    def x(field):
        return alt.X(
            field,
            title="% of the window used",
            scale=alt.Scale(domain=[0, 150], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 50, 100, 150]),
        )

    bar = (
        alt.Chart(rows("parts"))
        .mark_bar(height=18)
        .encode(y=y, x=x("used:Q"), color=alt.Color("colour:N", scale=None))
    )
    edge = (
        alt.Chart(rows("edge"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"])
        .encode(x=x("used:Q"))
    )
    words = (
        alt.Chart(rows("parts"))
        .mark_text(align="left", dx=2, dy=-19, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("zero:Q"), text="words:N")
    )
    return finished(
        (bar + edge + words).properties(width=240, height=alt.Step(62)),
        "The published window",
        "dashed: all of it used; red: longer than that",
    )


def chill_data(water, air, window_parts, water_found, air_found, system: str) -> tuple[dict, dict]:
    """Rows for `chill_chart` and `windows_chart`: two Cooked, the Window parts, and the findings of each."""
    levels = sorted(
        {t for part in window_parts for t in (part.start_C, part.end_C) if t is not None},
        reverse=True,
    )
    lines = {name: _log_course(done, system) for name, done in (("water", water), ("air", air))}
    lines["levels"] = [
        {"t": float(_t(t, system)), "words": units.show(t, "°C", system, 0)} for t in levels
    ]
    bars = []
    for found, name, colour in (
        (water_found, "water", COLOUR["cold"]),
        (air_found, "air", COLOUR["unexplained"]),
    ):
        for f, part in zip(found, window_parts):
            used = 100 * (f.found or 0.0) / f.asked
            late, said = (
                f.met is False,
                "not shown" if f.found is None else f"{f.found:.0f} of {f.asked:g} min",
            )
            if f.found is not None and f.met is None:
                said = f"not there after {f.found:.0f} min"
            bars.append(
                {
                    "place": numbered(
                        len(bars), f"{name} to {units.show(part.end_C, '°C', system, 0)}"
                    ),
                    "used": used,
                    "zero": 0.0,
                    "colour": COLOUR["fails"] if late else colour,
                    "words": f"✗ {said}" if late else said,
                }
            )
    return lines, {"parts": bars, "edge": [{"used": 100}]}


def _log_course(done, system) -> list[dict]:
    """The core at times that are evenly spaced on an axis of tenfold steps."""
    at = np.geomspace(CHILL_LOW, done.minutes[-1], POINTS)
    return [
        {"min": a, "t": b}
        for a, b in zip(
            at.tolist(),
            np.asarray(_t(done.at(np.minimum(at, done.minutes[-1]))["core"], system)).tolist(),
        )
    ]


# a record ------------------------------------------------------------------------------------------------------------------------------
def record_chart(system: str) -> dict:
    """Cores of a log, with the temperatures that matter. The axis of time follows the log, for nobody knows how long it is."""
    x = alt.X(
        "min:Q",
        title="minutes of the log",
        scale=alt.Scale(zero=True, nice=False),
        axis=alt.Axis(tickCount=8),
    )
    y = _degrees(system, high=100.0)
    levels = (
        alt.Chart(rows("levels"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["quiet"])
        .encode(y=y)
    )
    halo, words = (
        alt.Chart(rows("levels"))
        .mark_text(fontSize=LABEL, align="right", dx=-4, dy=-10, **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    lines = (
        alt.Chart(rows("cores"))
        .mark_line(strokeWidth=3, clip=True)
        .encode(
            x=x,
            y=y,
            detail="name:N",
            color=alt.Color("colour:N", scale=None),
            strokeDash=alt.StrokeDash(
                "dash:O",
                legend=None,
                scale=alt.Scale(domain=[0, 1, 2, 3], range=[[1, 0], [8, 3], [3, 3], [10, 3, 2, 3]]),
            ),
        )
    )
    names = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="left", dx=8)
        .encode(x=x, y=y, text="words:N", color=alt.Color("colour:N", scale=None))
    )
    return finished(
        (levels + lines + halo + words + names).properties(width=760, height=310),
        "What the probes wrote",
        "dashed: where the tables begin, 70 °C, and the ends of the cooling windows"
        if system == units.METRIC
        else "dashed: where the tables begin, 158 °F, and the ends of the cooling windows",
    )


def record_data(channels, smokehouse, levels_C, system: str) -> dict[str, list[dict]]:
    """Rows for `record_chart` from Traces, and the smokehouse's or None; highs and lows survive the thinning."""
    lines, names = [], []
    palette = (COLOUR["ink"], COLOUR["heat"], COLOUR["cold"], COLOUR["meets"])
    for n, held in enumerate((*channels[:DRAWN], *((smokehouse,) if smokehouse else ()))):
        colour = palette[n] if held is not smokehouse else COLOUR["quiet"]
        keep = thinned(held.temperature_C, POINTS // 2)
        course = [
            {"min": a, "t": b}
            for a, b in zip(
                (held.time_s[keep] / 60).tolist(),
                np.asarray(_t(held.temperature_C[keep], system)).tolist(),
            )
        ]
        lines += [
            row | {"name": held.name, "colour": colour, "dash": n if held is not smokehouse else 0}
            for row in course
        ]
        top = course[len(course) // 2]
        names.append(
            {
                "min": top["min"],
                "t": float(_t(96.0 - 7.0 * n, system)),
                "words": held.name,
                "colour": colour,
            }
        )
    return {
        "cores": lines,
        "names": names,
        "levels": [
            {
                "min": max(float(held.time_s[-1]) for held in channels) / 60,
                "t": float(_t(t, system)),
                "words": units.show(t, "°C", system, 0),
            }
            for t in levels_C
        ],
    }


# one probe -----------------------------------------------------------------------------------------------------------------------------
READ_LOW, READ_HIGH = -2.0, 16.0


def probe_chart(system: str) -> dict:
    """Share of batches whose coldest link is there, against how far beyond the target the display reads."""
    x = alt.X(
        "k:Q",
        title=f"display beyond the target, {units.shown_unit('K', system)}",
        axis=alt.Axis(tickCount=7),
        scale=alt.Scale(
            domain=[float(units.to_shown(v, "K", system)) for v in (READ_LOW, READ_HIGH)],
            nice=False,
        ),
    )
    y = alt.Y(
        "pct:Q",
        title="batches with every link there, %",
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )
    line = (
        alt.Chart(rows("line"))
        .mark_line(color=COLOUR["ink"], strokeWidth=4, clip=True, interpolate="step-after")
        .encode(x=x, y=y)
    )
    at = (
        alt.Chart(rows("target"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(x=x)
    )
    point = (
        alt.Chart(rows("marks"))
        .mark_point(
            size=220,
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
        alt.Chart(rows("marks"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="left", dx=14, dy=14, **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    return finished(
        (at + line + point + halo + words).properties(width=WIDTH + 40, height=300),
        "What must the display read?",
        "dashed: the target itself",
    )


def coldest_chart(system: str) -> dict:
    """The coldest core when the display first shows the target: nine batches in ten, and the middle."""
    domain = [float(units.to_shown(v, "K", system)) for v in (-20, 5)]

    def x(field):
        return alt.X(
            field,
            title=f"against the target, {units.shown_unit('K', system)}",
            scale=alt.Scale(domain=domain, nice=False, clamp=True),
            axis=alt.Axis(tickCount=5),
        )

    y = names_down("place", 110)
    bar = (
        alt.Chart(rows("spread"))
        .mark_bar(height=26, color=COLOUR["band"])
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    middle = (
        alt.Chart(rows("spread"))
        .mark_tick(thickness=5, size=34, color=COLOUR["ink"])
        .encode(y=y, x=x("middle:Q"))
    )
    zero = (
        alt.Chart(rows("zero"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(x=x("at:Q"))
    )
    return finished(
        (bar + middle + zero).properties(width=190, height=alt.Step(60)),
        "When it first shows the target",
        "bar: nine batches in ten",
    )


def probe_data(found, system: str) -> tuple[dict, dict]:
    """Rows for `probe_chart` and `coldest_chart` from a OneProbe."""
    grid = np.linspace(READ_LOW, READ_HIGH, 91)
    share = (
        100
        * np.searchsorted(np.sort(found.readings_C - found.target_C), grid, side="right")
        / found.readings_C.size
    )
    marks = []
    if found.display_C is not None:
        marks = [
            {
                "k": float(units.to_shown(found.margin_K, "K", system)),
                "pct": found.confidence_pct,
                "words": f"wait for {units.show(found.display_C, '°C', system)}",
            }
        ]
    low, middle, high = (
        units.to_shown(t - found.target_C, "K", system) for t in found.coldest_at_target_C
    )
    spread = (
        [{"place": numbered(0, "coldest link"), "low": low, "middle": middle, "high": high}]
        if middle == middle
        else []
    )
    return (
        {
            "line": [
                {"k": a, "pct": b}
                for a, b in zip(
                    np.asarray(units.to_shown(grid, "K", system)).tolist(), share.tolist()
                )
            ],
            "target": [{"k": 0.0}],
            "marks": marks,
        },
        {"spread": spread, "zero": [{"at": 0.0}]},
    )
