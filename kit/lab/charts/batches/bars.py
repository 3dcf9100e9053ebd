"""What varies, what goes with it, and what it costs: bars with their doubt."""

import altair as alt
import numpy as np

from kit import units
from kit.batches import Components, Drivers, Pareto
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, finished, names_down, numbered, rows

PARETO_ROOM = 180
LINES = 9
"""bars of a Pareto shown at most"""


def _share(field, title, room=130):
    return alt.X(
        field,
        title=title,
        scale=alt.Scale(domain=[0, room], nice=False, clamp=True),
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )


# what varies ---------------------------------------------------------------------------------------------------------------------------
def components_chart(system: str) -> dict:
    y, title = names_down("place", 150), "% of the variance"
    bar = (
        alt.Chart(rows("parts"))
        .mark_bar(height=26)
        .encode(y=y, x=_share("share:Q", title), color=alt.Color("colour:N", scale=None))
    )
    doubt = (
        alt.Chart(rows("parts"))
        .mark_rule(strokeWidth=5, color=COLOUR["ink"], opacity=0.6)
        .encode(y=y, x=_share("low:Q", title), x2="high:Q")
    )
    words = (
        alt.Chart(rows("parts"))
        .mark_text(align="left", dx=8, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=_share("end:Q", title), text="words:N")
    )
    return finished(
        (bar + doubt + words).properties(width=245, height=alt.Step(50)),
        "What varies",
        "dark bar: 90 % interval",
    )


def components_data(found: Components) -> dict[str, list[dict]]:
    """Rows for `components_chart`, in the order of the components; what is left within comes last."""
    total, made = found.total, []
    for n, p in enumerate(found.components):
        low, high = (100 * v / total for v in p.interval)
        name = "batch to batch" if p.name == "within" else p.name
        made.append(
            {
                "place": numbered(n, name),
                "share": p.share_pct,
                "low": min(low, 100.0),
                "high": min(high, 100.0),
                "end": max(p.share_pct, min(high, 100.0)),
                "words": f"{p.share_pct:.0f} %",
                "colour": COLOUR["unexplained"] if p.name == "within" else COLOUR["cold"],
            }
        )
    return {"parts": made}


def components_text(found: Components) -> str:
    return "Bars of the variance, %. " + " ".join(
        f"{'batch to batch' if p.name == 'within' else p.name}: {p.share_pct:.0f}."
        for p in found.components
    )


# what goes with it ---------------------------------------------------------------------------------------------------------------------
def drivers_chart(system: str) -> dict:
    """What the loss does when a column moves by its usual step, with its interval."""
    y = names_down("place", 190, grid=True)

    def x(field):
        return alt.X(
            field,
            title="points for a usual step",
            scale=alt.Scale(nice=False, zero=True),
            axis=alt.Axis(tickCount=3),
        )

    frame = alt.Chart(rows("frame")).mark_point(opacity=0).encode(x=x("at:Q"))
    zero = (
        alt.Chart(rows("zero"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(x=x("at:Q"))
    )
    doubt = (
        alt.Chart(rows("columns"))
        .mark_rule(strokeWidth=7, opacity=0.6)
        .encode(y=y, x=x("low:Q"), x2="high:Q", color=alt.Color("colour:N", scale=None))
    )
    point = (
        alt.Chart(rows("columns"))
        .mark_point(filled=True, size=200, opacity=1)
        .encode(y=y, x=x("at:Q"), color=alt.Color("colour:N", scale=None))
    )
    return finished(
        (frame + zero + doubt + point).properties(width=190, height=alt.Step(50)),
        "What goes with it",
        "bar: 95 % interval; grey: reaches over 0",
    )


def drivers_data(found: Drivers, steps) -> dict[str, list[dict]]:
    """Rows for `drivers_chart`; `steps`: {column: (its name, its usual step)}."""
    made = []
    for n, d in enumerate(found.drivers):
        name, step = steps[d.name]
        low, high = (end * step for end in d.interval)
        made.append(
            {
                "place": numbered(n, name),
                "at": d.slope * step,
                "low": low,
                "high": high,
                "colour": COLOUR["unexplained"] if low < 0 < high else COLOUR["loss"],
            }
        )
    reach = 1.1 * max(max(abs(row["low"]), abs(row["high"])) for row in made)
    return {"columns": made, "zero": [{"at": 0}], "frame": [{"at": -reach}, {"at": reach}]}


def drivers_text(found: Drivers, steps) -> str:
    return "What the loss does for a usual step of each column, % points. " + " ".join(
        f"{steps[d.name][0]}: {d.slope * steps[d.name][1]:+.2f}." for d in found.drivers
    ).replace("-", "−")


# what it costs -------------------------------------------------------------------------------------------------------------------------
def pareto_chart(title: str, subtitle: str) -> dict:
    """Largest first, with the interval of what as many batches lose, and what the bars so far come to."""
    y, of = names_down("place", 125), "% of all that is lost"
    bar = (
        alt.Chart(rows("bars"))
        .mark_bar(height=20)
        .encode(y=y, x=_share("share:Q", of, PARETO_ROOM), color=alt.Color("colour:N", scale=None))
    )
    doubt = (
        alt.Chart(rows("bars"))
        .mark_rule(strokeWidth=4, color=COLOUR["ink"], opacity=0.6)
        .encode(y=y, x=_share("low:Q", of, PARETO_ROOM), x2="high:Q")
    )
    words = (
        alt.Chart(rows("bars"))
        .mark_text(align="left", dx=8, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=_share("high:Q", of, PARETO_ROOM), text="words:N")
    )
    return finished(
        (bar + doubt + words).properties(width=300, height=alt.Step(32)), title, subtitle
    )


def pareto_data(found: Pareto, system: str, money: bool) -> dict[str, list[dict]]:
    """Rows for `pareto_chart` by kilograms or by money; lines beyond the largest are joined."""
    lines = [
        (b.name, b.money, b.money_interval) if money else (b.name, b.kg, b.kg_interval)
        for b in found.bars
    ]
    lines = sorted(
        (line for line in lines if line[1] is not None and line[1] > 0), key=lambda line: -line[1]
    )
    rest = lines[LINES - 1 :] if len(lines) > LINES else []
    shown = [
        *lines[: len(lines) - len(rest)],
        *([("all others", sum(line[1] for line in rest), None)] if rest else []),
    ]
    total = sum(line[1] for line in lines) or 1.0
    made, so_far = [], 0.0
    for n, (name, amount, interval) in enumerate(shown):
        so_far += 100 * amount / total
        said = f"{amount:,.0f}" if money else units.show(amount, "kg", system, 0)
        low, high = (
            (amount, amount) if interval is None or not np.isfinite(interval[0]) else interval
        )
        made.append(
            {
                "place": numbered(n, name),
                "share": 100 * amount / total,
                "low": max(100 * low / total, 0),
                "high": min(100 * high / total, 112.0),
                "words": f"{said}; so far {so_far:.0f} %",
                "colour": COLOUR["unexplained"] if name == "all others" else COLOUR["loss"],
            }
        )
    return {"bars": made}


def pareto_text(found: Pareto, system: str, money: bool) -> str:
    made = pareto_data(found, system, money)["bars"]
    return f"Bars of losses by {'money' if money else 'weight'}, largest first. " + " ".join(
        f"{row['place'].split('|')[1]}: {row['words']}." for row in made
    )
