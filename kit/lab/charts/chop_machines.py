"""Charts of lesson 03: the batch step by step, and a log."""

from functools import partial

import numpy as np

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.chop import degrees, end_colour, guide_rows, shown_t
from kit.lab.charts.marks import above_or_beside, across, layer, named_list, picture
from kit.lab.charts.style import WIDTH, numbered
from kit.lab.panels.view import columns


# step by step -----------------------------------------------------------------
@alt.kept
def stops_chart(system: str) -> dict:
    """One line for each step: grey from the low to the high end of the machines so far, a dot at the usual."""
    x = partial(degrees, system, side=across, clamp=True)
    dot = {"x": x("usual:Q"), "colour": "colour:N", "size": 220}
    words = {"x": x("usual:Q"), "text": "words:N", **above_or_beside(52, 20)}
    return named_list(
        "Batter temperature by machine",
        "dot: usual energy; grey: range of the machines; green: published range",
        (
            ("stops", "bar", {"x": x("low:Q"), "x2": "high:Q", "height": 14, "colour": "band"}),
            ("stops", "words", {**words, "halo": True}),
            ("stops", "dot", dot),
        ),
        labels=200,
        width=520,
        row=52,
        under=(layer("band", "field", x=x("t:Q"), x2="top:Q"),),
    )


def stops_data(line, guide, system: str) -> dict[str, list[dict]]:
    """Rows for `stops_chart` from a ProcessingLine and the Guide of the fat."""
    stops = []
    for n, stop in enumerate(line.stops):
        low, usual, high = (shown_t(t, system) for t in (stop.low_C, stop.usual_C, stop.high_C))
        place, colour = numbered(n, stop.name), end_colour(stop.usual_C, guide)
        row = {"place": place, "low": low, "usual": usual, "high": high, "colour": colour}
        row["rows"] = len(line.stops)
        stops.append(row | {"words": units.show(stop.usual_C, "°C", system)})
    return {"stops": stops, "band": guide_rows(guide, system)}


# the log -------------------------------------------------------------------------------------------
@alt.kept
def log_chart(system: str) -> dict:
    """A log's readings with the fitted line and the lines at both ends of the interval. Axes follow the log."""
    title = f"batter, {units.shown_unit('°C', system)}"
    y = partial(alt.Y, title=title, scale=alt.Scale(nice=True, zero=False))
    minutes = "time since the start of chopping (min)"
    x = alt.X("minute:Q", title=minutes, scale=alt.Scale(nice=True, zero=True))
    read = {"size": 44, "colour": "ink", "opacity": 0.65}
    return picture(
        "Batter temperature in the log",
        "dots: readings; line: fitted heat balance; band: 90 % interval",
        (WIDTH - 20, 320),
        layer("fit", "area", x=x, y=y("low:Q"), y2="high:Q", colour="added water", opacity=0.6),
        layer("read", "dot", x=x, y=y("t:Q"), **read),
        layer("fit", "line", x=x, y=y("t:Q"), colour="cold"),
    )


def log_data(fit, low_C, high_C, minute, fitted_C, system: str) -> dict[str, list[dict]]:
    """Rows for `log_chart` from an EnergyFit and the three lines along `minute`."""
    every = max(len(fit.time_min) // 200, 1)
    measured = np.asarray(shown_t(fit.measured_C, system))
    t, low, high = (np.asarray(shown_t(line, system)) for line in (fitted_C, low_C, high_C))
    return {
        "read": columns(minute=fit.time_min[::every], t=measured[::every]),
        "fit": columns(minute=minute, t=t, low=low, high=high),
    }
