"""One weight of cure, three ways into the meat."""

import altair as alt

from kit import units
from kit.cure import Ways
from kit.lab.charts.style import COLOUR, LABEL, beyond, finished, names_down, numbered, rows

SHOWN = 300


def ways_chart(system: str) -> dict:
    """One bar per way, each on its own base, with the US figure for that way."""
    y = names_down("place", 230, labelFontSize=LABEL + 1)
    x = alt.X(
        "ppm:Q",
        title="ppm of what stands under the line",
        scale=alt.Scale(domain=[0, SHOWN], nice=False, clamp=True),
        axis=alt.Axis(tickCount=6),
    )
    bar = (
        alt.Chart(rows("ways"))
        .mark_bar(height=30)
        .encode(x=x, y=y, color=alt.Color("colour:N", scale=None))
    )
    words = [
        alt.Chart(rows("ways"))
        .transform_filter(f"datum.ppm {where} 60")
        .mark_text(align="left", dx=9, fontSize=LABEL + 2, fontWeight=700, color=ink)
        .encode(y=y, x=spot, text="words:N")
        for where, spot, ink in ((">=", alt.value(0), "white"), ("<", x, COLOUR["ink"]))
    ]
    base = (
        alt.Chart(rows("ways"))
        .mark_text(align="left", dx=2, dy=27, fontSize=LABEL, color=COLOUR["quiet"])
        .encode(x=alt.value(0), y=y, text="base:N")
    )
    tick = (
        alt.Chart(rows("limits"))
        .mark_tick(orient="vertical", thickness=3, size=42, color=COLOUR["limit"])
        .encode(x=x, y=y)
    )
    label = (
        alt.Chart(rows("limits"))
        .mark_text(align="left", dx=-2, dy=-30, fontSize=LABEL)
        .encode(x=x, y=y, text="words:N")
    )
    return finished(
        alt.layer(bar, base, tick, label, *words).properties(width=430, height=alt.Step(84)),
        "Three ways to cure",
        "the same cure; a limit stands only on the way it was written for",
    )


def ways_data(found: Ways, system: str) -> dict[str, list[dict]]:
    ways, limits = [], []
    for n, way in enumerate(found.ways):
        place, over = (
            numbered(n, way.name),
            way.limit is not None and way.ppm > way.limit.limit * 1.001,
        )
        ways.append(
            {
                "place": place,
                "ppm": way.ppm,
                "words": f"{'✗ ' if over else ''}{way.ppm:.0f}{beyond(way.ppm, SHOWN)}",
                "base": f"per kg of {way.base}, {units.show(way.base_kg, 'kg', system, 1)}",
                "colour": COLOUR["fails"] if over else COLOUR["cure"],
            }
        )
        if way.limit is not None:
            limits.append(
                {
                    "place": place,
                    "ppm": way.limit.limit,
                    "words": f"{way.limit.jurisdiction} {way.limit.limit:.0f}",
                }
            )
    return {"ways": ways, "limits": limits}


def ways_text(found: Ways) -> str:
    return (
        "Bars of the same cure: "
        + "; ".join(f"{way.name} {way.ppm:.0f} ppm of the {way.base}" for way in found.ways)
        + "."
    )
