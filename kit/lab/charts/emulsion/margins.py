"""How far from each edge, and what leaves in the cook."""

import altair as alt
import numpy as np

from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, WIDTH, finished, rows

LIMIT_WORDS = {
    "coverage": "film on the drops",
    "temperature": "temperature",
    "fat load": "fat load",
    "water": "water",
}
PARTS = ("water", "fat", "solids")
MARGIN_SHOWN, LEAVES_SHOWN = (-2.0, 3.0), 30.0
"""edges of the fixed axes; what lies beyond is drawn at the edge with an arrowhead and said in figures"""


def signed(value: float, digits: int = 2) -> str:
    text = f"{value:.{digits}f}"
    return "0" + text[2:] if text.startswith("-0.") and float(text) == 0 else text.replace("-", "−")


def margins_chart(system: str) -> dict:
    """One line per limit: the margin as a point, 10 to 90 % of the draws as a band, the edge at 0."""
    y = alt.Y(
        "limit:N", title=None, sort=None, axis=alt.Axis(labelLimit=140, ticks=False, domain=False)
    )
    scale = alt.Scale(domain=list(MARGIN_SHOWN), nice=False, clamp=True)
    x = alt.X(
        "margin:Q",
        title="margin: 0 is the edge",
        scale=scale,
        axis=alt.Axis(values=[-2, -1, 0, 1, 2, 3], format="~g"),
    )
    past = (
        alt.Chart(rows("past"))
        .mark_rect(color="#f6dedc")
        .encode(x=alt.X("from:Q", scale=scale, title="margin: 0 is the edge"), x2="to:Q")
    )
    edge = (
        alt.Chart(rows("past"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"])
        .encode(x=alt.X("to:Q", scale=scale, title="margin: 0 is the edge"))
    )
    band = (
        alt.Chart(rows("margins"))
        .mark_rule(strokeWidth=16, color=COLOUR["band"])
        .encode(y=y, x=alt.X("low:Q", scale=scale, title="margin: 0 is the edge"), x2="high:Q")
    )
    state = alt.Color(
        "state:N",
        scale=alt.Scale(domain=["above", "below"], range=[COLOUR["cold"], COLOUR["fails"]]),
        legend=None,
    )
    point = (
        alt.Chart(rows("margins"))
        .mark_point(size=190, filled=True, opacity=1, stroke="white", strokeWidth=2)
        .encode(y=y, x=x, color=state)
    )
    at = {"y": y, "x": alt.X("at:Q", scale=scale, title="margin: 0 is the edge"), "text": "words:N"}
    halo = (
        alt.Chart(rows("margins"))
        .mark_text(
            fontSize=LABEL,
            fontWeight=600,
            dy=-21,
            stroke="white",
            strokeWidth=5,
            strokeJoin="round",
        )
        .encode(**at)
    )
    words = (
        alt.Chart(rows("margins")).mark_text(fontSize=LABEL, fontWeight=600, dy=-21).encode(**at)
    )
    return finished(
        (past + edge + band + point + halo + words).properties(
            width=WIDTH - 95, height=alt.Step(58)
        ),
        "How far from each edge",
        "grey: 10 to 90 % of the draws; red field: past the edge",
    )


def margins_data(holds) -> dict[str, list[dict]]:
    """Rows for `margins_chart` from a Holds."""
    low_end, high_end = MARGIN_SHOWN
    found = []
    for limit, margin in holds.held.margins.items():
        low, _, high = np.asarray(holds.spread.margins[limit]).tolist()
        first = " (first)" if limit == holds.fails_first else ""
        found.append(
            {
                "limit": LIMIT_WORDS[limit],
                "margin": margin,
                "low": low,
                "high": high,
                "state": "above" if margin >= 0 else "below",
                "at": min(max(margin, low_end + 0.75), high_end - 0.75),
                "words": f"{'✗ ' if margin < 0 else ''}{signed(margin)}{first}",
            }
        )
    return {"margins": found, "past": [{"from": low_end, "to": 0}]}


def margins_text(holds) -> str:
    return "Margin of each limit, 0 at the edge. " + " ".join(
        f"{LIMIT_WORDS[limit]} {margin:.2f}, in 80 of 100 draws between {holds.spread.margins[limit][0]:.2f} and {holds.spread.margins[limit][2]:.2f}."
        for limit, margin in holds.held.margins.items()
    )


def leaves_chart(system: str) -> dict:
    """What leaves in the cook: all of it as one bar made of its parts, then each part, with the 10 to 90 % of the draws as a line."""
    y = alt.Y(
        "what:N", title=None, sort=None, axis=alt.Axis(labelLimit=110, ticks=False, domain=False)
    )
    scale, title = (
        alt.Scale(domain=[0, LEAVES_SHOWN], nice=False, clamp=True),
        "% of the raw batter",
    )
    bar = (
        alt.Chart(rows("bars"))
        .mark_bar(height=26, stroke="white", strokeWidth=1)
        .encode(
            y=y,
            x=alt.X(
                "from:Q", scale=scale, title=title, axis=alt.Axis(values=[0, 5, 10, 15, 20, 25, 30])
            ),
            x2="to:Q",
            color=alt.Color(
                "part:N",
                scale=alt.Scale(
                    domain=list(PARTS), range=[COLOUR["water"], COLOUR["fat"], COLOUR["salt"]]
                ),
                legend=None,
            ),
        )
    )
    doubt = (
        alt.Chart(rows("doubt"))
        .mark_rule(strokeWidth=4, color=COLOUR["ink"])
        .encode(y=y, x=alt.X("low:Q", scale=scale, title=title), x2="high:Q")
    )
    words = (
        alt.Chart(rows("doubt"))
        .mark_text(fontSize=LABEL, fontWeight=600, dy=-23, align="left")
        .encode(y=y, x=alt.X("at:Q", scale=scale, title=title), text="words:N")
    )
    return finished(
        (bar + doubt + words).properties(width=WIDTH - 80, height=alt.Step(58)),
        "What leaves in the cook",
        "black line: 10 to 90 % of the draws",
    )


def leaves_data(holds) -> dict[str, list[dict]]:
    held, spread = holds.held, holds.spread
    parts = {"water": held.water_out_g, "fat": held.fat_out_g, "solids": held.solids_out_g}
    bars, start = [], 0.0
    for part, grams in parts.items():
        bars.append({"what": "all", "part": part, "from": start, "to": start + grams})
        start += grams
    bars += [
        {"what": part, "part": part, "from": 0.0, "to": grams} for part, grams in parts.items()
    ]
    doubt = [
        {
            "what": what,
            "low": low,
            "high": high,
            "at": 0.0,
            "words": f"{grams:.1f}   ({low:.1f} to {high:.1f})",
        }
        for what, grams, (low, _, high) in (
            ("all", held.total_out_g, spread.total_out_g.tolist()),
            ("water", held.water_out_g, spread.water_out_g.tolist()),
            ("fat", held.fat_out_g, spread.fat_out_g.tolist()),
            ("solids", held.solids_out_g, spread.solids_out_g.tolist()),
        )
    ]
    return {"bars": bars, "doubt": doubt}


def leaves_text(holds) -> str:
    held, (low, _, high) = holds.held, holds.spread.total_out_g
    return (
        f"Bars of what leaves, % of the raw batter: all {held.total_out_g:.1f}, in 80 of 100 draws {low:.1f} to {high:.1f}; water {held.water_out_g:.1f}, "
        f"fat {held.fat_out_g:.1f}, solids {held.solids_out_g:.1f}."
    )
