"""The batch through its machines, stop by stop, and whole against split."""

import altair as alt

from kit import units
from kit.lab.charts.chop.bowl import FIELD, T_HIGH, T_LOW
from kit.lab.charts.style import COLOUR, LABEL, finished, names_down, numbered, rows

MOST_C = 60.0


def _across(system, field, high, title):
    domain = [float(units.to_shown(t, "°C", system)) for t in (T_LOW, high)]
    return alt.X(
        field,
        title=f"{title}, {units.shown_unit('°C', system)}",
        scale=alt.Scale(domain=domain, nice=False, clamp=True),
        axis=alt.Axis(tickCount=6),
    )


def _words(y, x, **place):
    return tuple(
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, **place, **more)
        .encode(y=y, x=x, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )


def stops_chart(system: str) -> dict:
    """One line for each step: grey from the low to the high end of the machines so far, a dot at the usual; the printed end in green."""
    y = names_down("place", 200)

    def x(field):
        return _across(system, field, T_HIGH, "batter")

    band = (
        alt.Chart(rows("band"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5)
        .encode(x=x("t:Q"), x2="top:Q")
    )
    bar = (
        alt.Chart(rows("stops"))
        .mark_bar(height=14, color=COLOUR["band"])
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    dot = (
        alt.Chart(rows("stops"))
        .mark_circle(size=220, opacity=1)
        .encode(y=y, x=x("usual:Q"), color=alt.Color("colour:N", scale=None))
    )
    return finished(
        alt.layer(band, bar, *_words(y, x("at:Q"), dy=-20), dot).properties(
            width=520, height=alt.Step(52)
        ),
        "Stop by stop",
        "dot: usual heat; grey: the machines' whole range; green: the end in print",
    )


def stops_data(route, system: str) -> dict[str, list[dict]]:
    """Rows for `stops_chart` from a chain.chop_route.Route."""

    def shown(t):
        return float(units.to_shown(t, "°C", system))

    stops = [
        {
            "place": numbered(n, s.name),
            "low": shown(s.low_C),
            "usual": shown(s.usual_C),
            "high": shown(s.high_C),
            "colour": COLOUR["heat"] if s.usual_C > route.guide.high_C else COLOUR["cold"],
        }
        for n, s in enumerate(route.stops)
    ]
    names = [
        {"place": row["place"], "at": row["usual"], "words": units.show(s.usual_C, "°C", system)}
        for row, s in zip(stops, route.stops, strict=True)
    ]
    return {
        "stops": stops,
        "names": names,
        "band": [{"t": shown(route.guide.low_C), "top": shown(route.guide.high_C)}],
    }


def stops_text(route) -> str:
    return "Temperature after each step. " + " ".join(
        f"{s.name}: {s.usual_C:.1f} °C, {s.low_C:.1f} to {s.high_C:.1f}." for s in route.stops
    )


def parts_chart(system: str) -> dict:
    """Where the whole batch ends, where each part ends, and the limit kept by chopping in goes."""
    y = names_down("place", 230)

    def x(field):
        return _across(system, field, MOST_C, "end of chopping")

    band = (
        alt.Chart(rows("band"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5)
        .encode(x=x("t:Q"), x2="top:Q")
    )
    bar = (
        alt.Chart(rows("parts"))
        .mark_bar(height=22)
        .encode(y=y, x=x("from:Q"), x2="t:Q", color=alt.Color("colour:N", scale=None))
    )
    return finished(
        alt.layer(band, bar, *_words(y, x("at:Q"), align="left", dx=10)).properties(
            width=480, height=alt.Step(40)
        ),
        "Whole, in parts, in goes",
        "green: the end in print",
    )


def parts_data(answer, guide, system: str) -> dict[str, list[dict]]:
    """Rows for `parts_chart` from a chain.chop_route.Parted."""

    def shown(t):
        return float(units.to_shown(t, "°C", system))

    listed = [("whole, in one go", answer.whole_end_C)]
    listed += [
        (
            f"part {n}, waited {part.waits_min:.1f} min"
            if part.waits_min
            else f"part {n}, at once",
            part.end_C,
        )
        for n, part in enumerate(answer.split.parts, 1)
        if len(answer.split.parts) > 1
    ]
    if answer.goes and answer.goes.goes > 1:
        listed.append((f"in {answer.goes.goes} goes, chilled between", guide.high_C))
    zero = shown(0.0)
    found = [
        {
            "place": numbered(n, name),
            "from": zero,
            "t": shown(t),
            "at": min(max(shown(t), zero), shown(0.85 * MOST_C)),
            "words": units.show(t, "°C", system),
            "colour": COLOUR["heat"] if t > guide.high_C else COLOUR["cold"],
        }
        for n, (name, t) in enumerate(listed)
    ]
    return {
        "parts": found,
        "names": found,
        "band": [{"t": shown(guide.low_C), "top": shown(guide.high_C)}],
    }


def parts_text(answer) -> str:
    goes = f" In goes: {answer.goes.goes}." if answer.goes else ""
    return (
        f"Whole batch: {answer.whole_end_C:.1f} °C. "
        + " ".join(f"Part {n}: {p.end_C:.1f} °C." for n, p in enumerate(answer.split.parts, 1))
        + goes
    )
