"""Losses batch by batch: shares over time, and a control chart with its phases.

`frame` rows keep an axis still under a slider. Marks that may have no rows are hidden from screen readers: the chart's text says what they say.
"""

from functools import partial

import numpy as np
import pandas as pd

from kit.batches import BatchTable
from kit.batches.change import Changes
from kit.batches.charts import Chart
from kit.batches.expected import counted
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, picture, up
from kit.lab.charts.style import LABEL, NARROW
from kit.lab.panels.view import columns

LOSSES = ("#8f3410", "#c8551b", "#e58a4e", "#f2b88a", "#d9d9d9")
"""the largest loss darkest; what is left over grey"""
ROOM = 1.16
"""how far beyond the last batch the axis goes, for the names"""
DAYS = 4
"""dates written under the axis"""


def _batch(field="batch:Q"):
    under = {"titlePadding": 24, "titleAnchor": "end", "grid": False}
    return across(field, "batch", ticks=8, zero=False, tickMinStep=1, format="d", **under)


def days(table: BatchTable) -> list[dict]:
    """Dates to write under the numbers of their batches, the year with the first and where it changes; none where the records hold no dates."""
    if table.dates is None:
        return []
    dated = np.flatnonzero(~np.isnat(table.dates))
    at = dated[np.unique(np.linspace(0, len(dated) - 1, DAYS).astype(int))] if len(dated) else dated
    shown = [table.dates[k].item() for k in at]
    years = [None, *(day.year for day in shown)]
    return [
        {
            "batch": int(k) + 1,
            "words": f"{day.day} {day:%b}{f' {day.year}' if day.year != y else ''}",
            "end": bool(k in (at[0], at[-1])),
        }
        for k, day, y in zip(at, shown, years)
    ]


def _on(data: str, style: str, y=None, **said):
    """A layer over the batches; `y` is left out for what stands across the whole height."""
    said = {"x": _batch()} | ({"y": y} if y is not None else {}) | said
    return layer(data, style, **said)


def _drawn(y, layers, width, height, title, subtitle) -> dict:
    """The layers, over points that nobody sees at the corners of the picture."""
    under = {"align": "center", "dx": 0, "dy": 34, "aria": False, "colour": "quiet"}
    under["where"] = f"datum.end || !({NARROW})"  # where all would run together
    dates = _on("days", "quiet words", alt.value("height"), text="words:N", **under)
    corners = _on("frame", "dot", y, opacity=0)
    return picture(title, subtitle, (width, height), corners, dates, *layers)


# loss share over time ---------------------------------------------------------------------------
@alt.kept
def share_chart(system: str) -> dict:
    """Bands, one on the other, of what each stage loses; numbered lines where a finding begins."""
    y = up("high:Q", "loss (% of weight in)", zero=True)
    band = {"y2": "low:Q", "colour": "colour:N", "detail": "stage:N", "opacity": 1}
    edge = {"stroke": "white", "strokeWidth": 1, "clip": False}
    number = {"align": "center", "dx": 0, "colour": "white", "aria": False}
    layers = (
        _on("bands", "area", y, **band, **edge),
        _on("finds", "limit", aria=False, strokeWidth=2),
        _on("finds", "dot", y, aria=False, size=520, colour="limit"),
        _on("finds", "words", y, text="words:N", fontSize=LABEL + 1, fontWeight=700, **number),
        _on("names", "words", y, text="words:N"),
    )
    subtitle = "numbers: first batch of each finding below"
    return _drawn(y, layers, 690, 330, "Loss by stage over the batches", subtitle)


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
        band = {"stage": stage, "colour": colour}
        bands += [row | band for row in columns(batch=at, low=low, high=high)]
        middle, words = float(low[-1] + high[-1]) / 2, f"{stage} {values[-1]:.1f}"
        names.append({"batch": table.n, "high": middle, "words": words})
        low = high
    top = float(np.nan_to_num(table.loss_share_pct).sum(axis=1).max()) * 1.12
    # names keep a line's height between them
    for a, b in zip(names, names[1:]):
        b["high"] = max(b["high"], a["high"] + top * 0.065)
    return {
        "bands": bands,
        "names": names,
        "days": days(table),
        "finds": [{"batch": k + 1, "high": top * 0.96, "words": str(n)} for n, k in finds],
        "frame": [{"batch": 1, "high": 0}, {"batch": round(table.n * ROOM), "high": top}],
    }


def smoothed(values: np.ndarray, over: int) -> np.ndarray:
    """(n, ...) means of each batch with the `over` − 1 before it; the first ones with as many as there are."""
    return pd.DataFrame(values).rolling(over, min_periods=1).mean().to_numpy()


def share_text(table: BatchTable) -> str:
    means = np.nanmean(table.loss_share_pct, axis=0)
    return (
        f"Stacked areas of losses over {table.n} batches, % of the weight in; means: "
        + ", ".join(f"{s} {m:.1f}" for s, m in zip(table.stages, means))
        + "."
    )


# control chart ----------------------------------------------------------------------------------
@alt.kept
def control_chart(system: str) -> dict:
    """Single batches, centre and limits phase by phase, rings at points out of control, levels found and the uncertainty of where they begin."""
    of = partial(up, title="loss or deviation (%)", zero=False)
    y = of("pct:Q")
    span = {"x": _batch("from:Q"), "x2": "to:Q"}
    ring = {"filled": False, "size": 230, "strokeWidth": 3, "colour": "fails"}
    told = [
        alt.Tooltip("name:N", title="batch"),
        alt.Tooltip("pct:Q", title="%", format=".2f"),
        alt.Tooltip("words:N", title="rule"),
    ]
    named = {"text": "words:N", "align": "right", "dx": 0, "dy": -14, "aria": False}
    layers = (
        layer("starts", "shade", **span, aria=False, clip=False, colour="band", opacity=0.75),
        layer(
            "levels", "rule", **span, y=y, aria=False, strokeWidth=6, colour="loss", opacity=0.85
        ),
        layer("limits", "limit", **span, y=of("low:Q"), strokeWidth=2),
        layer("limits", "rule", **span, y=of("centre:Q"), strokeWidth=2, colour="limit"),
        layer("limits", "limit", **span, y=of("high:Q"), strokeWidth=2),
        layer("baseline", "rule", **span, y=y, strokeWidth=7, colour="cold", opacity=0.9),
        _on("rings", "dot", y, aria=False, clip=False, **ring),
        _on("dots", "dot", y, size=55, colour="point").encode(tooltip=told),
        _on("names", "quiet words", y, text="words:N", dx=14),
        _on("starts", "words", of("at:Q"), text="words:N", dx=4, aria=False, halo=True),
        layer("charted", "words", x=alt.value("width"), y=of("at:Q"), **named),
    )
    subtitle = "rings: out of control; orange: levels found; grey: possible start of a change; blue: baseline"
    return _drawn(y, layers, 690, 330, "Control chart", subtitle)


def control_data(
    table: BatchTable, chart: Chart, changes: Changes | None, at: np.ndarray, charted: str
) -> dict[str, list[dict]]:
    """Rows for `control_chart`; `at`: 0-based places of the charted values among the batches of the table, `charted`: what they are."""
    batch, values = (at + 1).tolist(), chart.values.tolist()
    last, spread = chart.phases[-1], float(np.ptp(chart.values)) or 1.0
    # room for names of starts
    low, high = max(min(values) - 0.25 * spread, last.least), max(values) + 0.35 * spread
    spoke: dict[int, str] = {}
    for alarm in chart.alarms:
        spoke.setdefault(alarm.at, alarm.words)

    def over(first: int, last: int, **more) -> dict:
        """A row that spans the batches from the first to the last of these places."""
        return {"from": batch[first] - 0.5, "to": batch[last] + 0.5} | more

    found = changes.changes if changes else ()
    edges = [*(c.start for c in found), len(batch)]
    ends = (("upper", last.high), ("centre", last.centre), ("lower", last.low))
    return {
        "dots": [
            {"batch": b, "pct": v, "name": table.batches[k], "words": spoke.get(i, "none")}
            for i, (b, k, v) in enumerate(zip(batch, at, values))
        ],
        "rings": [{"batch": batch[i], "pct": values[i]} for i in spoke],
        "limits": [
            over(p.first, p.last, low=max(p.low, low), centre=p.centre, high=min(p.high, high))
            for p in chart.phases
        ],
        "names": [
            {
                "batch": batch[-1],
                "pct": min(max(level, low), high),
                "words": f"{name} {level:.2f}".replace("-", "−"),
            }
            for name, level in ends
        ],
        "levels": [over(0, edges[0] - 1, pct=c.before) for c in found[:1]]
        + [over(c.start, end - 1, pct=c.after) for c, end in zip(found, edges[1:])],
        "starts": [
            over(
                c.likely[0],
                c.likely[-1],
                batch=batch[c.start],
                at=high - (0.05 + 0.085 * (n % 2)) * (high - low),
                words=f"from {batch[c.start]}",
            )
            for n, c in enumerate(found)
        ],
        "baseline": [over(p.first, p.first + p.baseline - 1, pct=low) for p in chart.phases],
        "days": days(table),
        "charted": [{"batch": batch[0] - 1, "at": high, "words": charted}],
        "frame": [
            {"batch": batch[0] - 1, "pct": low},
            {"batch": round(batch[-1] * ROOM), "pct": high},
        ],
    }


def control_text(chart: Chart, changes: Changes | None, at: np.ndarray, charted: str) -> str:
    first = chart.phases[0]
    moved = counted(at[list(changes.starts)]) if changes else "not tested"
    return (
        f"{charted}. Dots of {len(at)} batches; centre {first.centre:.2f}, limits {first.low:.2f} and {first.high:.2f} in the first of {len(chart.phases)} phases. "
        f"Points out of control: {len({a.at for a in chart.alarms})}. New levels at batch: {moved}."
    ).replace(" -", " −")
