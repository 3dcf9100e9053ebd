"""How often a cause is found, by its size and the number of batches."""

from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, up
from kit.lab.charts.style import finished

SHADES = ("#a9c3d9", "#6d9cc2", "#2b5f8a", "#16324a")
"""the more batches, the darker"""
NAME_PCT = 7.0
"""height of a name on the axis"""


@alt.kept
def found_chart(system: str) -> dict:
    """A line for each number of batches; the chosen size as a dashed line, its shares as figures."""
    x = across("size:Q", "size of the cause (standard deviations of the stage)", 0, 3.7, ticks=7)
    y = up("share:Q", "plants in which it is the first finding (%)", 0, 100, ticks=5)
    at = {"x": x, "y": y}
    layers = (
        layer("chosen", "limit", x=x, aria=False, strokeWidth=2),
        layer("lines", "line", colour="colour:N", detail="batches:N", **at),
        layer("spread", "interval", x=x, y=up("low:Q", "", 0, 100), y2="high:Q", colour="colour:N"),
        layer("at", "dot", colour="colour:N", size=130, **at),
        layer("names", "words", text="words:N", dx=10, **at),
    )
    whole = alt.layer(*layers).properties(width=560, height=330)
    subtitle = "dashed: the size chosen; bars: 90 % interval of its shares"
    return finished(whole, "What the search finds, by size and number of batches", subtitle)


def found_data(rows: list[dict], chosen: float) -> dict[str, list[dict]]:
    """Rows for `found_chart`, of {batches, size, share, low, high}; those of the chosen size carry their interval."""
    counts = sorted({row["batches"] for row in rows})
    shade = dict(zip(counts, SHADES[-len(counts) :]))
    rows = [row | {"colour": shade[row["batches"]]} for row in rows]
    now = [row for row in rows if row["size"] == chosen]
    last = max(row["size"] for row in rows)
    names, room = [], -100.0
    for row in sorted((r for r in rows if r["size"] == last), key=lambda r: r["share"]):
        room = max(row["share"], room + NAME_PCT)
        names.append({"size": last, "share": room, "words": f"{row['batches']} batches"})
    over = names[-1]["share"] - 103
    names = [row | {"share": row["share"] - max(over, 0)} for row in names]
    now = [row | {"words": f"{row['share']:.0f}"} for row in now]
    return {"lines": rows, "at": now, "spread": now, "chosen": [{"size": chosen}], "names": names}
