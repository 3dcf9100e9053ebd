"""How often a cause is found, by its size and the number of batches."""

from collections.abc import Iterable

from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, picture, up

SHADES = ("#a9c3d9", "#6d9cc2", "#2b5f8a", "#16324a")
"""the more batches, the darker"""
NAME_PCT, BESIDE = 7.0, 0.03
"""height of a name, and distance between the bars of a size, on their axes"""


@alt.kept
def found_chart(system: str) -> dict:
    """A line for each number of batches; the chosen size as a dashed line, its shares as figures."""
    said = "size of the cause (standard deviations of the stage)"
    x = across("size:Q", said, 0.3, 3.7, ticks=(0.5, 1, 1.5, 2, 2.5, 3))
    title = "first finding (% of the plants)"
    y, low = (up(field, title, 0, 100, ticks=5) for field in ("share:Q", "low:Q"))
    at = {"x": x, "y": y}
    return picture(
        "What the search finds, by size and number of batches",
        "dashed: the size chosen; bars: 90 % interval of its shares",
        (560, 330),
        layer("chosen", "limit", x=x, aria=False, strokeWidth=2),
        layer("lines", "line", colour="colour:N", detail="batches:N", **at),
        layer("spread", "interval", x=x, y=low, y2="high:Q", colour="colour:N"),
        layer("at", "dot", colour="colour:N", size=130, **at),
        layer("names", "words", text="words:N", dx=10, **at),
    )


def found_data(rows: Iterable[dict], chosen: float) -> dict[str, list[dict]]:
    """Rows for `found_chart`, of `shares_of`; those of the chosen size carry their interval."""
    counts = sorted({row["batches"] for row in rows})
    shade = dict(zip(counts, SHADES[-len(counts) :]))
    drawn = ("batches", "size", "share", "low", "high")
    rows = [{key: row[key] for key in drawn} | {"colour": shade[row["batches"]]} for row in rows]
    now = [row for row in rows if row["size"] == chosen]
    last = max(row["size"] for row in rows)
    names, room = [], -100.0
    for row in sorted((r for r in rows if r["size"] == last), key=lambda r: r["share"]):
        room = max(row["share"], room + NAME_PCT)
        names.append({"size": last, "share": room, "words": f"{row['batches']} batches"})
    over = names[-1]["share"] - 103
    names = [row | {"share": row["share"] - max(over, 0)} for row in names]
    # beside one another, so that each bar is seen
    now = [row | {"size": chosen + BESIDE * (n - (len(now) - 1) / 2)} for n, row in enumerate(now)]
    return {"lines": rows, "at": now, "spread": now, "chosen": [{"size": chosen}], "names": names}
