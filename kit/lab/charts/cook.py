"""What a link goes through: schedule and core, two chills, a record, one probe."""

import numpy as np

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, measured, picture, up
from kit.lab.charts.style import COLOUR, NARROW, WIDTH
from kit.lab.pages.record import thinned
from kit.lab.panels.view import columns

T_LOW, T_HIGH, MIN_HIGH = 0.0, 110.0, 160.0
CHILL_LOW, CHILL_HIGH = 1.0, 1000.0
READ_LOW, READ_HIGH = -2.0, 16.0
SHADES = ("#f3f4f7", "#e4e8ee")
POINTS = 160
"""of a line: more cannot be seen"""
DRAWN = 4
"""cores of a record: more cannot be told apart"""
_CORES = ("ink", "heat", "cold", "meets")
_DASHES = [[1, 0], [8, 3], [3, 3], [10, 3, 2, 3]]
_AT_RIGHT = {"align": "right", "dx": 0, "dy": -10, "halo": True}


def _t(value, system):
    return units.to_shown(value, "°C", system)


def _degrees(system, high=T_HIGH):
    return measured(up, "t:Q", "temperature", "°C", system, T_LOW, high)


def _right(high, **scale):
    """A place for words at the right end of an axis from 0."""
    return alt.XDatum(high, scale=alt.Scale(**{"domain": [0, high + 1], "nice": False, **scale}))


def _rows(minutes, values) -> list[dict]:
    return columns(min=np.asarray(minutes), t=np.asarray(values))


def _course(minutes, values) -> list[dict]:
    """A trace thinned to what can be seen; its ends and its highest point stay."""
    m, v = np.asarray(minutes, float), np.asarray(values, float)
    even = np.linspace(0, m.size - 1, min(POINTS, m.size)).astype(int)
    keep = np.unique([*even, int(v.argmax())])
    return _rows(m[keep], v[keep])


@alt.kept
def schedule_chart(system: str) -> dict:
    """Air or bath, wet bulb, surface and core over the stages, with the target of the core."""
    at = {"x": across("min:Q", "time (min)", 0, MIN_HIGH, ticks=8), "y": _degrees(system)}
    title = {  # upright where the stages are too narrow for their names
        "align": {"expr": f"{NARROW} ? 'right' : 'center'"},
        "baseline": {"expr": f"{NARROW} ? 'middle' : 'top'"},
        "angle": {"expr": f"{NARROW} ? -90 : 0"},
        "dx": {"expr": f"{NARROW} ? -4 : 0"},
        "dy": {"expr": f"{NARROW} ? 0 : 6"},
    }
    layers = (
        layer("stages", "shade", **at, x2="to:Q", y2="top:Q", colour="shade:N"),
        layer("medium", "line", **at, colour="unexplained", strokeWidth=3),
        layer("wet", "dots", **at, colour="cold"),
        layer("aim", "limit", y=at["y"]),
        layer("skin", "dashes", **at, colour="heat"),
        layer("core", "line", **at, colour="ink"),
        layer("reached", "ring", **at),
        layer("names", "words", **at, text="words:N", **title),
        layer("aim", "words", x=_right(MIN_HIGH - 1), y=at["y"], text="words:N", **_AT_RIGHT),
    )
    says = [
        "black: core; red dashes: surface; blue dots: wet bulb;",
        "grey: dry bulb or bath; ring: target reached",
    ]
    return picture("Temperatures over the schedule", says, (550, 330), *layers)


def schedule_data(cooked, system: str) -> dict[str, list[dict]]:
    """Rows for `schedule_chart` from a Cooked with one target."""
    stages, names, medium, wet = [], [], [], []
    low, high = _t(T_LOW, system), _t(T_HIGH, system)
    for n, s in enumerate(cooked.stages):
        ends = (s.start_min, s.end_min)
        until = min(s.end_min, MIN_HIGH)
        stages.append(
            {"min": s.start_min, "to": until, "t": low, "top": high, "shade": SHADES[n % 2]}
        )
        if s.end_min - s.start_min >= 2.4 * len(s.name):
            names.append({"min": sum(ends) / 2, "t": high, "words": s.name})
        medium += [{"min": at, "t": _t(s.medium_C, system)} for at in ends]
        level = None if s.wet_bulb_C is None else _t(s.wet_bulb_C, system)
        wet += [{"min": at, "t": level} for at in ends]
    target = cooked.targets[0]
    aim, words = _t(target.target_C, system), units.show(target.target_C, "°C", system)
    return {
        "stages": stages,
        "names": names,
        "medium": medium,
        "wet": wet,
        "skin": _course(cooked.minutes, _t(cooked.surface_C, system)),
        "core": _course(cooked.minutes, _t(cooked.core_C, system)),
        "reached": [{"min": target.minutes, "t": aim}] if target.reached else [],
        "aim": [{"t": aim, "words": f"target {words}"}],
    }


@alt.kept
def chill_chart(system: str) -> dict:
    """Cores on the way down over time in tenfold steps, with the temperatures of the window."""
    title, ticks = "time (min), logarithmic", (1, 10, 100, 1000)
    x = across("min:Q", title, CHILL_LOW, CHILL_HIGH, kind="log", ticks=ticks)
    at = {"x": x, "y": _degrees(system, 80.0)}
    end = _right(CHILL_HIGH, type="log", domain=[CHILL_LOW, CHILL_HIGH])
    layers = (
        layer("levels", "limit", y=at["y"]),
        layer("air", "dashes", **at, colour="heat", strokeWidth=4),
        layer("water", "line", **at, colour="cold"),
        layer("levels", "quiet words", x=end, y=at["y"], text="words:N", **_AT_RIGHT),
    )
    says = "blue: in water; red dashes: in cold air"
    return picture("Core temperature during chilling", says, (WIDTH - 40, 300), *layers)


def chill_data(water, air, window_parts, system: str) -> dict[str, list[dict]]:
    """Rows for `chill_chart`: two Cooked, and the parts of the Window whose temperatures are drawn."""
    ends = {t for part in window_parts for t in (part.start_C, part.end_C) if t is not None}
    lines = {name: _log_course(done, system) for name, done in (("water", water), ("air", air))}
    lines["levels"] = [
        {"t": _t(t, system), "words": units.show(t, "°C", system, 0)}
        for t in sorted(ends, reverse=True)
    ]
    return lines


def _log_course(done, system) -> list[dict]:
    """The core at times that are evenly spaced on an axis of tenfold steps."""
    at = np.geomspace(CHILL_LOW, done.minutes[-1], POINTS)
    core = done.core_at(np.minimum(at, done.minutes[-1]))
    return _rows(at, _t(core, system))


@alt.kept
def record_chart(system: str) -> dict:
    """Cores of a log, with the temperatures that matter. The axis of time follows the log, for nobody knows how long it is."""
    at = {"x": across("min:Q", "time of the log (min)", zero=True, ticks=8)}
    at["y"] = _degrees(system, 100.0)
    scale = alt.Scale(domain=list(range(DRAWN)), range=_DASHES)
    dash = alt.StrokeDash("dash:O", legend=None, scale=scale)
    look = {"detail": "name:N", "strokeDash": dash, "colour": "colour:N", "strokeWidth": 3}
    layers = (
        layer("levels", "limit", y=at["y"], colour="quiet"),
        layer("cores", "line", **at, **look),
        layer("levels", "quiet words", **at, text="words:N", **(_AT_RIGHT | {"dx": -4})),
        layer("names", "words", **at, text="words:N", colour="colour:N", dx=8),
    )
    seventy = units.show(70, "°C", system, 0)
    says = f"dashed: start of the lethality tables, {seventy}, and ends of the cooling limits"
    return picture("Recorded temperatures", says, (760, 310), *layers)


def record_data(channels, smokehouse, levels_C, system: str) -> dict[str, list[dict]]:
    """Rows for `record_chart` from Traces, and the smokehouse's or None; highs and lows survive the thinning."""
    lines, names = [], []
    for n, held in enumerate((*channels[:DRAWN], *((smokehouse,) if smokehouse else ()))):
        own = held is not smokehouse
        look = {"colour": COLOUR[_CORES[n] if own else "quiet"]}
        keep = thinned(held.temperature_C, POINTS // 2)
        course = _rows(held.time_s[keep] / 60, _t(held.temperature_C[keep], system))
        lines += [row | look | {"name": held.name, "dash": n if own else 0} for row in course]
        middle, height = course[len(course) // 2]["min"], _t(96.0 - 7.0 * n, system)
        names.append({"min": middle, "t": height, "words": held.name} | look)
    last = max(float(held.time_s[-1]) for held in channels) / 60
    levels = [
        {"min": last, "t": _t(t, system), "words": units.show(t, "°C", system, 0)} for t in levels_C
    ]
    return {"cores": lines, "names": names, "levels": levels}


@alt.kept
def probe_chart(system: str) -> dict:
    """Share of batches whose coldest link is there, against how far beyond the target the display reads."""
    title = "display above the target"
    x = measured(across, "k:Q", title, "K", system, READ_LOW, READ_HIGH, ticks=7)
    y = up("pct:Q", "batches with every link at target (%)", 0, 100, ticks=(0, 25, 50, 75, 100))
    at = {"x": x, "y": y}
    layers = (
        layer("target", "limit", x=x),
        layer("line", "line", **at, colour="ink", interpolate="step-after"),
        layer("marks", "ring", **at),
        layer("marks", "words", **at, text="words:N", dx=14, dy=14, halo=True),
    )
    says = "dashed: target"
    return picture("Display reading needed", says, (WIDTH + 40, 300), *layers)


def probe_data(found, system: str) -> dict[str, list[dict]]:
    """Rows for `probe_chart` from a OneProbe."""
    grid = np.linspace(READ_LOW, READ_HIGH, 91)
    beyond = np.sort(found.readings_C - found.target_C)
    share = 100 * np.searchsorted(beyond, grid, side="right") / beyond.size
    line = columns(k=units.to_shown(grid, "K", system), pct=share)
    marks = []
    if found.display_C is not None:
        words = f"display {units.show(found.display_C, '°C', system)}"
        beyond_K = units.to_shown(found.margin_K, "K", system)
        marks = [{"k": beyond_K, "pct": found.confidence_pct, "words": words}]
    return {"line": line, "target": [{"k": 0.0}], "marks": marks}
