"""Losses batch by batch: shares over time, a control chart with phases, and two plants side by side.

`frame` rows keep an axis still under a slider. Marks that may have no rows are hidden from screen readers: the chart's text says what they say.
"""

import altair as alt
import numpy as np

from kit.batches import BatchTable
from kit.batches.change import Changes
from kit.batches.charts import Chart
from kit.lab.charts.marks import across, layer, up
from kit.lab.charts.style import COLOUR, LABEL, finished

LOSSES = ("#8f3410", "#c8551b", "#e58a4e", "#f2b88a", "#d9d9d9")
"""the largest loss darkest; what is left over grey"""
ROOM = 1.16
"""how far beyond the last batch the axis goes, for the names"""
SIGMAS = 6.0


def _batch(field="batch:Q"):
    return across(field, "batch", ticks=8, zero=False, tickMinStep=1, grid=False, format="d")


def _on(data: str, style: str, y=None, **said):
    """A layer over the batches; `y` is left out for what stands across the whole height."""
    said = {"x": _batch()} | ({"y": y} if y is not None else {}) | said
    return layer(data, style, **said)


def _drawn(y, layers, width, height, title, subtitle) -> dict:
    """The layers, over points that nobody sees at the corners of the picture."""
    whole = alt.layer(_on("frame", "dot", y, opacity=0), *layers)
    return finished(whole.properties(width=width, height=height), title, subtitle)


# loss share over time ---------------------------------------------------------------------------
def share_chart(system: str) -> dict:
    """Bands, one on the other, of what each stage loses; numbered lines where a finding begins."""
    y = up("high:Q", "lost, % of all that went in", zero=True)
    layers = (
        _on(
            "bands",
            "area",
            y,
            y2="low:Q",
            colour="colour:N",
            detail="stage:N",
            opacity=1,
            clip=False,
            stroke="white",
            strokeWidth=1,
        ),
        _on("finds", "limit", aria=False, strokeWidth=2),
        _on("finds", "dot", y, aria=False, size=520, colour="limit"),
        _on(
            "finds",
            "words",
            y,
            text="words:N",
            aria=False,
            align="center",
            dx=0,
            colour="white",
            fontSize=LABEL + 1,
            fontWeight=700,
        ),
        _on("names", "words", y, text="words:N"),
    )
    subtitle = "numbers: where the findings below begin"
    return _drawn(y, layers, 690, 330, "What each stage loses, over time", subtitle)


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


# control chart ----------------------------------------------------------------------------------
def control_chart(system: str) -> dict:
    """Single batches, centre and limits phase by phase, rings where a rule spoke, levels found and the doubt about where they begin."""

    def of(field):
        return up(field, "%", zero=False, titleAngle=0, titleAlign="right")

    y = of("pct:Q")
    span = {"x": _batch("from:Q"), "x2": "to:Q"}
    told = [
        alt.Tooltip("name:N", title="batch"),
        alt.Tooltip("pct:Q", title="%", format=".2f"),
        alt.Tooltip("words:N", title="rule"),
    ]
    layers = (
        layer("starts", "shade", **span, aria=False, clip=False, colour="band", opacity=0.75),
        layer(
            "levels", "rule", **span, y=y, aria=False, strokeWidth=6, colour="loss", opacity=0.85
        ),
        layer("limits", "limit", **span, y=of("low:Q"), strokeWidth=2),
        layer("limits", "rule", **span, y=of("centre:Q"), strokeWidth=2, colour="limit"),
        layer("limits", "limit", **span, y=of("high:Q"), strokeWidth=2),
        layer("baseline", "rule", **span, y=y, strokeWidth=7, colour="cold", opacity=0.9),
        _ring(y),
        _on("dots", "dot", y, size=55, colour="point").encode(tooltip=told),
        _on("names", "quiet words", y, text="words:N", dx=14),
        _on("starts", "words", of("at:Q"), text="words:N", dx=4, aria=False, halo=True),
    )
    subtitle = "rings: a rule spoke; thick orange: levels found; grey: where a change may lie; blue foot: the baseline"
    return _drawn(y, layers, 690, 330, "Is it stable, and when did it change?", subtitle)


def _ring(y, clip=False):
    ring = {"filled": False, "size": 230, "strokeWidth": 3, "colour": "fails"}
    return _on("rings", "dot", y, aria=False, clip=clip, **ring)


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


# two plants -------------------------------------------------------------------------------------
def plant_chart(title: str, subtitle: str) -> dict:
    """One stage of one plant in standard deviations, with the line beyond which a batch is called bad."""
    y = up("z:Q", "standard deviations off", -SIGMAS, SIGMAS, ticks=(-6, -3, 0, 3, 6), clamp=True)
    layers = (
        layer(
            "truth", "shade", x=_batch("from:Q"), x2="to:Q", aria=False, colour="band", opacity=0.8
        ),
        layer("middle", "rule", y=y, strokeWidth=2, colour="limit"),
        layer("limits", "limit", y=y, strokeWidth=2),
        _ring(y, clip=True),
        _on("dots", "dot", y, size=60, clip=True, colour="colour:N"),
    )
    return _drawn(y, layers, 290, 280, title, subtitle)


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
