"""Water activity against brine strength, and where the salt comes from."""

from kit import units
from kit.cure.brine import Brine
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, picture, up
from kit.lab.charts.style import LABEL, WIDTH
from kit.lab.panels.view import columns


@alt.kept
def aw_chart(system: str) -> dict:
    """Water activity against brine strength, with the least water activity at which each organism was seen to grow."""
    x = across("brine:Q", "salt in the water phase (%)", 0, 22, ticks=[0, 5, 10, 15, 20])
    title = f"water activity at {units.show(25, '°C', system, 0)}"
    y = up("aw:Q", title, 0.84, 1.0, ticks=8, format=".2f")
    raw = {"align": "right", "dx": -8, "dy": 13, "where": "datum.when == 'raw'"}
    done = {"dx": 11, "dy": -11, "where": "datum.when == 'finished'"}
    low = "height && height < 220"  # every second name stands further to the left; 0 in a picture of several charts
    at_end = {"x": alt.datum(21.8), "align": "right", "dy": alt.expr("datum.below ? 10 : -9")}
    at_end |= {"dx": alt.expr(f"{low} && datum.second ? -0.6 * width : 0")}
    at_end |= {"fontSize": alt.expr(f"{low} ? 12 : {LABEL}")}
    return picture(
        "Water activity and growth limits",
        "dashed: lowest water activity with growth; grey: usual frankfurters; blue: Pitzer equation",
        (WIDTH + 110, 380),
        layer("usual", "shade", x=x, x2="to:Q", colour="band", opacity=0.7),
        layer("growth", "limit", y=y, strokeWidth=2),
        layer("curve", "line", x=x, y=y, colour="water"),
        layer("growth", "quiet words", y=y, text="words:N", **at_end),
        layer("here", "ring", x=x, y=y),
        layer("here", "words", x=x, y=y, text="when:N", **raw),
        layer("here", "words", x=x, y=y, text="when:N", **done),
    )


def aw_data(curve, raw: Brine, done: Brine, usual) -> dict[str, list[dict]]:
    """Rows for `aw_chart`. `curve`: arrays (brine, aw). `usual`: (low, high) brine of published frankfurters."""
    floors: dict[float, list[str]] = {}
    for growth in done.growth:
        floors.setdefault(growth.least_aw, []).append(_short(growth.organism))

    return {
        "curve": columns(**dict(zip(("brine", "aw"), curve))),
        "usual": [{"brine": usual[0], "to": usual[1]}],
        "growth": [
            {"aw": aw, "what": f"growth down to {aw:g}", "words": ", ".join(names)}
            | {"below": any(0 < other - aw < 0.015 for other in floors), "second": n % 2 == 1}
            for n, (aw, names) in enumerate(floors.items())
        ],
        "here": [
            {"when": when, "brine": b.brine_pct, "aw": b.aw}
            for when, b in (("raw", raw), ("finished", done))
        ],
    }


def _short(organism: str) -> str:
    first, _, rest = organism.partition(" ")
    return f"{first[0]}. {rest}" if rest and not rest[0].isupper() else organism
