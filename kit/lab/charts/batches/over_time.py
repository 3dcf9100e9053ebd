"""Losses batch by batch: shares over time, a control chart with phases, and two plants side by side.

`frame` rows keep an axis still under a slider. Marks that may have no rows are hidden from screen readers: the chart's text says what they say.
"""

import altair as alt
import numpy as np

from kit.batches import BatchTable, Changes, Chart
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, finished, rows

LOSSES = ("#8f3410", "#c8551b", "#e58a4e", "#f2b88a", "#d9d9d9")
"""the largest loss darkest; what is left over grey"""
ROOM = 1.16
"""how far beyond the last batch the axis goes, for the names"""
SIGMAS = 6.0


def _across(field="batch:Q"):
    return alt.X(
        field,
        title="batch",
        scale=alt.Scale(zero=False, nice=False),
        axis=alt.Axis(tickMinStep=1, tickCount=8, grid=False, format="d"),
    )


def _framed(y):
    """Points that nobody sees, at the corners of the picture."""
    return alt.Chart(rows("frame")).mark_point(opacity=0).encode(x=_across(), y=y)


# loss share over time ------------------------------------------------------------------------------------------------------------------
def share_chart(system: str) -> dict:
    """Bands, one on the other, of what each stage loses; numbered lines where a finding begins."""
    y = alt.Y(
        "high:Q",
        title="lost, % of all that went in",
        scale=alt.Scale(zero=True, nice=True),
        axis=alt.Axis(tickCount=6),
    )
    band = (
        alt.Chart(rows("bands"))
        .mark_area(stroke="white", strokeWidth=1)
        .encode(
            x=_across(), y=y, y2="low:Q", color=alt.Color("colour:N", scale=None), detail="stage:N"
        )
    )
    name = (
        alt.Chart(rows("names"))
        .mark_text(align="left", dx=6, fontSize=LABEL, fontWeight=600)
        .encode(x=_across(), y=alt.Y("high:Q"), text="words:N")
    )
    line = (
        alt.Chart(rows("finds"))
        .mark_rule(aria=False, strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(x=_across())
    )
    dot = (
        alt.Chart(rows("finds"))
        .mark_point(
            aria=False, shape="circle", size=520, filled=True, color=COLOUR["limit"], opacity=1
        )
        .encode(x=_across(), y=y)
    )
    number = (
        alt.Chart(rows("finds"))
        .mark_text(aria=False, color="white", fontSize=LABEL + 1, fontWeight=700)
        .encode(x=_across(), y=y, text="words:N")
    )
    return finished(
        (_framed(y) + band + line + dot + number + name).properties(width=690, height=330),
        "What each stage loses, over time",
        "numbers: where the findings below begin",
    )


def share_data(table: BatchTable, over: int, finds=()) -> dict[str, list[dict]]:
    """Rows for `share_chart`. `over`: batches averaged, each with those before it. `finds`: (number, 0-based batch)."""
    share, at = smoothed(np.nan_to_num(table.loss_share_pct), over), np.arange(1, table.n + 1)
    order = np.argsort(-share.mean(axis=0), kind="stable")
    most = len(LOSSES) - 1
    named = [(table.stages[j], share[:, j]) for j in order[:most]]
    if len(order) > most:
        named.append(("others", share[:, order[most:]].sum(axis=1)))
    bands, names, low = [], [], np.zeros(table.n)
    for n, (stage, values) in enumerate(named):
        high = low + values
        colour = LOSSES[n] if stage != "others" else LOSSES[-1]
        bands += [
            {"batch": int(b), "low": a, "high": z, "stage": stage, "colour": colour}
            for b, a, z in zip(at, low.tolist(), high.tolist())
        ]
        names.append(
            {
                "batch": table.n,
                "high": float(low[-1] + high[-1]) / 2,
                "words": f"{stage} {values[-1]:.1f}",
            }
        )
        low = high
    top = float(np.nan_to_num(table.loss_share_pct).sum(axis=1).max()) * 1.12
    # names keep a line's height between them
    for a, b in zip(names, names[1:]):
        b["high"] = max(b["high"], a["high"] + top * 0.065)
    return {
        "bands": bands,
        "names": names,
        "finds": [{"batch": k + 1, "high": top * 0.96, "words": str(n)} for n, k in finds],
        "frame": [{"batch": 1, "high": 0}, {"batch": round(table.n * ROOM), "high": top}],
    }


def smoothed(values: np.ndarray, over: int) -> np.ndarray:
    """(n, ...) means of each batch with the `over` − 1 before it; the first ones with as many as there are."""
    run = np.cumsum(np.concatenate([np.zeros((1, *values.shape[1:])), values]), axis=0)
    n = np.arange(1, len(values) + 1)
    first = np.maximum(n - over, 0)
    return (run[n] - run[first]) / (n - first).reshape(-1, *[1] * (values.ndim - 1))


def share_text(table: BatchTable) -> str:
    means = np.nanmean(table.loss_share_pct, axis=0)
    return (
        f"Stacked bands of losses over {table.n} batches, % of all that went in; means: "
        + ", ".join(f"{s} {m:.1f}" for s, m in zip(table.stages, means))
        + "."
    )


# control chart -------------------------------------------------------------------------------------------------------------------------
def control_chart(system: str) -> dict:
    """Single batches, centre and limits phase by phase, rings where a rule spoke, levels found and the doubt about where they begin."""
    y = alt.Y(
        "pct:Q",
        title="%",
        scale=alt.Scale(zero=False, nice=False),
        axis=alt.Axis(tickCount=6, titleAngle=0, titleAlign="right"),
    )
    doubt = (
        alt.Chart(rows("starts"))
        .mark_rect(aria=False, color=COLOUR["band"], opacity=0.75)
        .encode(x=_across("from:Q"), x2="to:Q")
    )
    levels = (
        alt.Chart(rows("levels"))
        .mark_rule(aria=False, strokeWidth=6, color=COLOUR["loss"], opacity=0.85)
        .encode(x=_across("from:Q"), x2="to:Q", y=y)
    )
    base = (
        alt.Chart(rows("baseline"))
        .mark_rule(strokeWidth=7, color=COLOUR["cold"], opacity=0.9)
        .encode(x=_across("from:Q"), x2="to:Q", y=y)
    )
    lines = [
        alt.Chart(rows("limits"))
        .mark_rule(strokeWidth=2, color=COLOUR["limit"], strokeDash=dash)
        .encode(x=_across("from:Q"), x2="to:Q", y=alt.Y(f"{which}:Q"))
        for which, dash in (
            ("low", list(LIMIT_DASH)),
            ("centre", [1, 0]),
            ("high", list(LIMIT_DASH)),
        )
    ]
    names = (
        alt.Chart(rows("names"))
        .mark_text(align="left", dx=14, fontSize=LABEL)
        .encode(x=_across(), y=y, text="words:N")
    )
    dots = (
        alt.Chart(rows("dots"))
        .mark_point(filled=True, size=55, opacity=1, color=COLOUR["point"])
        .encode(
            x=_across(),
            y=y,
            tooltip=[
                alt.Tooltip("name:N", title="batch"),
                alt.Tooltip("pct:Q", title="%", format=".2f"),
                alt.Tooltip("words:N", title="rule"),
            ],
        )
    )
    rings = (
        alt.Chart(rows("rings"))
        .mark_point(
            aria=False, filled=False, size=230, strokeWidth=3, opacity=1, color=COLOUR["fails"]
        )
        .encode(x=_across(), y=y)
    )
    halo, said = (
        alt.Chart(rows("starts"))
        .mark_text(aria=False, align="left", fontSize=LABEL, fontWeight=600, dx=4, **more)
        .encode(x=_across("batch:Q"), y=alt.Y("at:Q"), text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    return finished(
        (
            _framed(y)
            + doubt
            + levels
            + sum(lines[1:], lines[0])
            + base
            + rings
            + dots
            + names
            + halo
            + said
        ).properties(width=690, height=330),
        "Is it stable, and when did it change?",
        "rings: a rule spoke; thick orange: levels found; grey: where a change may lie; blue foot: the baseline",
    )


def control_data(
    chart: Chart, changes: Changes | None, at: np.ndarray, names
) -> dict[str, list[dict]]:
    """Rows for `control_chart`; `at`: 0-based places of the charted values among all batches, `names` of those batches."""
    batch = at + 1
    spread = float(np.ptp(chart.values)) or 1.0
    low, high = float(chart.values.min()) - 0.25 * spread, float(chart.values.max()) + 0.35 * spread
    spoke = {}
    for alarm in chart.alarms:
        spoke.setdefault(alarm.at, alarm.words)
    limits = [
        {
            "from": float(batch[p.first]) - 0.5,
            "to": float(batch[p.last]) + 0.5,
            "low": max(p.low, low),
            "centre": p.centre,
            "high": min(p.high, high),
        }
        for p in chart.phases
    ]
    last, end = chart.phases[-1], float(batch[-1])
    words = [
        {
            "batch": end,
            "pct": float(np.clip(level, low, high)),
            "words": f"{name} {level:.2f}".replace("-", "−"),
        }
        for name, level in (("upper", last.high), ("centre", last.centre), ("lower", last.low))
    ]
    words[1]["pct"] = (
        float(
            np.clip(
                words[1]["pct"],
                words[2]["pct"] + 0.08 * (high - low),
                words[0]["pct"] - 0.08 * (high - low),
            )
        )
        if last.sigma * 6 > 0.2 * (high - low)
        else words[1]["pct"]
    )
    levels, starts = [], []
    if changes and changes.starts:
        edges = [0, *changes.starts, len(batch)]
        levels = [
            {
                "from": float(batch[a]) - 0.5,
                "to": float(batch[b - 1]) + 0.5,
                "pct": float(changes.fitted[a]),
            }
            for a, b in zip(edges, edges[1:])
        ]
        starts = [
            {
                "from": float(batch[c.likely[0]]) - 0.5,
                "to": float(batch[c.likely[-1]]) + 0.5,
                "batch": float(batch[c.start]),
                "at": high - (0.05 + 0.085 * (n % 2)) * (high - low),
                "words": f"from {batch[c.start]}",
            }
            for n, c in enumerate(changes.changes)
        ]
    return {
        "dots": [
            {"batch": int(b), "pct": v, "name": names[k], "words": spoke.get(i, "none")}
            for i, (b, k, v) in enumerate(zip(batch, at, chart.values.tolist()))
        ],
        "rings": [{"batch": int(batch[i]), "pct": float(chart.values[i])} for i in spoke],
        "limits": limits,
        "names": words,
        "levels": levels,
        "starts": starts,
        "baseline": [
            {
                "from": float(batch[p.first]) - 0.5,
                "to": float(batch[p.first + p.baseline - 1]) + 0.5,
                "pct": low,
            }
            for p in chart.phases
        ],
        "frame": [
            {"batch": float(batch[0]) - 1, "pct": low},
            {"batch": round(end * ROOM), "pct": high},
        ],
    }


def control_text(chart: Chart, changes: Changes | None, at: np.ndarray) -> str:
    first = chart.phases[0]
    moved = (
        ", ".join(str(int(at[k]) + 1) for k in changes.starts)
        if changes and changes.starts
        else "none found"
    )
    return (
        f"Dots of {len(at)} batches; centre {first.centre:.2f}, limits {first.low:.2f} and {first.high:.2f} in the first of {len(chart.phases)} phases. "
        f"Rules spoke at {len({a.at for a in chart.alarms})} batches. New levels at batch: {moved}."
    ).replace(" -", " −")


# two plants ----------------------------------------------------------------------------------------------------------------------------
def plant_chart(title: str, subtitle: str) -> dict:
    """One stage of one plant in standard deviations, with the line beyond which a batch is called bad."""
    scale = alt.Scale(domain=[-SIGMAS, SIGMAS], nice=False, clamp=True)
    y = alt.Y(
        "z:Q", title="standard deviations off", scale=scale, axis=alt.Axis(values=[-6, -3, 0, 3, 6])
    )
    zero = alt.Chart(rows("middle")).mark_rule(color=COLOUR["limit"], strokeWidth=2).encode(y=y)
    limits = (
        alt.Chart(rows("limits"))
        .mark_rule(color=COLOUR["limit"], strokeDash=list(LIMIT_DASH), strokeWidth=2)
        .encode(y=y)
    )
    truth = (
        alt.Chart(rows("truth"))
        .mark_rect(aria=False, color=COLOUR["band"], opacity=0.8)
        .encode(x=_across("from:Q"), x2="to:Q")
    )
    dots = (
        alt.Chart(rows("dots"))
        .mark_point(filled=True, size=60, opacity=1, clip=True)
        .encode(x=_across(), y=y, color=alt.Color("colour:N", scale=None))
    )
    rings = (
        alt.Chart(rows("rings"))
        .mark_point(
            aria=False,
            filled=False,
            size=230,
            strokeWidth=3,
            opacity=1,
            color=COLOUR["fails"],
            clip=True,
        )
        .encode(x=_across(), y=y)
    )
    return finished(
        (_framed(y) + truth + zero + limits + rings + dots).properties(width=290, height=280),
        title,
        subtitle,
    )


def plant_data(z: np.ndarray, beyond: float, touched=()) -> dict[str, list[dict]]:
    """Rows for `plant_chart`; `touched`: batches (0-based) that the planted cause moves, shown in grey behind."""
    out = np.abs(z) > beyond
    return {
        "dots": [
            {"batch": i + 1, "z": v, "colour": COLOUR["fails"] if o else COLOUR["point"]}
            for i, (v, o) in enumerate(zip(z.tolist(), out))
        ],
        "rings": [{"batch": int(i) + 1, "z": float(z[i])} for i in np.flatnonzero(out)],
        "middle": [{"z": 0}],
        "limits": [{"z": -beyond}, {"z": beyond}],
        "truth": [{"from": k + 0.5, "to": k + 1.5} for k in touched],
        "frame": [{"batch": 0, "z": 0}, {"batch": len(z) + 1, "z": 0}],
    }


def plant_text(z: np.ndarray, beyond: float) -> str:
    return f"Dots of {len(z)} batches in standard deviations; {int((np.abs(z) > beyond).sum())} lie beyond {beyond:g}, the furthest {np.abs(z).max():.1f} out."
