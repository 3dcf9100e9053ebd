"""Make the invented batch records of the demo from the generator of plants and its seed.

    python tests/tools/demo_records.py          prints data/demo/demo_records.csv

`tests/test_plant.py` holds the stored file against it, weight by weight.
"""

import csv
import sys

import numpy as np
from batch_plant import plant

SEED, CAUSES, SIZE = 1, ("leaking stuffer", "humidity drop"), 2.5
STAGES = ("trim", "grind", "chop", "stuff", "cook", "chill", "peel", "pack")
RECIPE_B_FROM, RECIPE_B_POINTS = 40, 1.8
"""batches of recipe A before it changes; percentage points more that recipe B loses in the cook"""


def demo_records() -> list[dict[str, str]]:
    """One row for each batch, under the headers of the file."""
    planted = plant(SEED, CAUSES, n=120, size=SIZE, stages=STAGES)
    table = planted.table
    into, out = table.in_kg.copy(), table.out_kg.copy()
    cook = STAGES.index("cook")
    later = np.arange(table.n) >= RECIPE_B_FROM
    less = np.where(later, 1 - RECIPE_B_POINTS / 100 * into[:, cook] / out[:, cook], 1)
    out[:, cook:] *= less[:, None]
    into[:, cook + 1 :] *= less[:, None]
    return [_row(table, into, out, k, bool(later[k])) for k in range(table.n)]


def _row(table, into, out, k: int, recipe_b: bool) -> dict[str, str]:
    label = {name: str(held[k]) for name, held in table.labels.items()}
    fact = {name: float(held[k]) for name, held in table.facts.items()}
    row = {
        "Batch No.": f"B{k + 1:03d}",
        "Date": str(table.dates[k].astype("datetime64[D]")),
        "Recipe": "B" if recipe_b else "A",
        "Lot": label["lot"].replace("lot ", "L"),
        "Supplier": label["supplier"].replace("supplier", "Farm"),
        "Shift": label["operator"].removesuffix(" shift"),
        "Smokehouse": label["smokehouse"].replace("smokehouse", "SH"),
        "Fat %": f"{fact['fat_pct']:.1f}",
        "Batter end temp (°C)": f"{fact['chop_end_C']:.1f}",
        "Smokehouse RH %": f"{fact['humidity_pct']:.0f}",
        "Core end temp (°C)": f"{fact['cook_end_C']:.1f}",
    }
    for j, stage in enumerate(table.stages):
        name = stage.capitalize()
        row[f"{name} in (kg)"] = f"{into[k, j]:.2f}"
        if stage == "chop":
            row["Chop ice and dry goods (kg)"] = f"{table.added_kg[k, j]:.2f}"
            rework = table.rework_in_kg[k, j]
            row["Chop rework in (kg)"] = f"{rework:.2f}" if rework else ""
        if stage == "stuff":
            row["Stuff rework out (kg)"] = f"{table.rework_out_kg[k, j]:.2f}"
        row[f"{name} out (kg)"] = f"{out[k, j]:.2f}"
    return row


if __name__ == "__main__":
    records = demo_records()
    writer = csv.DictWriter(sys.stdout, list(records[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(records)
