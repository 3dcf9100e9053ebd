"""Single changes by their size, and the model beside what was measured, row by row."""

import altair as alt
import numpy as np

from kit.lab.charts.style import COLOUR, LABEL, WIDTH, beyond, finished, names_down, numbered, rows


def remedies_chart(system: str) -> dict:
    """Each single change that does it, by how many plain steps it is."""
    y = names_down("place", 420)
    x = alt.X(
        "steps:Q",
        title="size of the change, in plain steps",
        scale=alt.Scale(domain=[0, 20], nice=False, clamp=True),
    )
    bar = (
        alt.Chart(rows("changes"))
        .mark_bar(height=24)
        .encode(
            y=y,
            x=x,
            color=alt.Color(
                "rank:N",
                scale=alt.Scale(
                    domain=["smallest three", "larger"], range=[COLOUR["meets"], COLOUR["band"]]
                ),
                legend=None,
            ),
        )
    )
    words = (
        alt.Chart(rows("changes"))
        .mark_text(align="left", dx=6, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N")
    )
    return finished(
        (bar + words).properties(width=WIDTH + 20, height=alt.Step(36)),
        "Single changes that would lift it",
        "dark: the three smallest",
    )


def remedies_data(found, system: str, words_of) -> dict[str, list[dict]]:
    ranked = [
        (rank, r)
        for rank, group in (("smallest three", found.cheapest), ("larger", found.dearer))
        for r in group
    ]
    changes = [
        {
            "place": numbered(n, words_of(r, system)),
            "steps": min(r.steps, 16.0),
            "rank": rank,
            "words": f"{r.steps:.1f} steps{beyond(r.steps, 16)}",
        }
        for n, (rank, r) in enumerate(ranked)
    ]
    return {"changes": changes} if changes else {}


def remedies_text(found) -> str:
    changes = (*found.cheapest, *found.dearer)
    return "Bars of single changes. " + (
        " ".join(f"{r.words}, {r.steps:.1f} plain steps." for r in changes)
        or "None reaches by itself."
    )


def beside_chart(title: str, subtitle: str, high: float):
    """A maker of charts with one line per measured row: what was measured as a ring, what the model says before as a square and after as a disc."""

    def chart(system: str) -> dict:
        y = names_down("place", 230, grid=True)
        how = {
            "title": "lost, % of the raw batter",
            "scale": alt.Scale(domain=[0, high], nice=False, clamp=True),
        }
        move = (
            alt.Chart(rows("rows"))
            .mark_rule(strokeWidth=2, color=COLOUR["band"])
            .encode(y=y, x=alt.X("first:Q", **how), x2="second:Q")
        )
        before = (
            alt.Chart(rows("rows"))
            .mark_point(
                shape="square", size=110, filled=True, color=COLOUR["unexplained"], opacity=1
            )
            .encode(y=y, x=alt.X("first:Q", **how))
        )
        after = (
            alt.Chart(rows("rows"))
            .mark_point(shape="circle", size=130, filled=True, color=COLOUR["cold"], opacity=1)
            .encode(y=y, x=alt.X("second:Q", **how))
        )
        measured = (
            alt.Chart(rows("rows"))
            .mark_point(
                shape="circle",
                size=300,
                filled=False,
                color=COLOUR["loss"],
                strokeWidth=3.5,
                opacity=1,
            )
            .encode(y=y, x=alt.X("measured:Q", **how))
        )
        far = (
            alt.Chart(rows("rows"))
            .mark_text(align="right", dx=-22, fontSize=LABEL)
            .encode(y=y, x=alt.XDatum(high, scale=how["scale"], title=how["title"]), text="far:N")
        )
        return finished(
            (move + before + after + measured + far).properties(
                width=WIDTH + 120, height=alt.Step(27)
            ),
            title,
            subtitle,
        )

    return chart


def beside_data(labels, measured, first, second, high: float) -> dict[str, list[dict]]:
    """Rows for a `beside_chart`; what lies beyond its end is drawn at the end, with its figure."""
    measured, first, second = (np.asarray(a, dtype=float) for a in (measured, first, second))
    return {
        "rows": [
            {
                "place": numbered(n, label),
                "measured": m,
                "first": a,
                "second": b,
                "far": ", ".join(
                    f"{what} {x:.1f}"
                    for what, x in (("ring", m), ("square", a), ("disc", b))
                    if x > high
                ),
            }
            for n, (label, m, a, b) in enumerate(
                zip(labels, measured.tolist(), first.tolist(), second.tolist())
            )
        ]
    }
