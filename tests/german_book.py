"""An invented German workbook of 120 batches: no unit in its headers, decimal commas in texts, a row of sums, a sheet of notes. No such plant exists."""

import io
from datetime import date, timedelta

import numpy as np
from openpyxl import Workbook

HEADS = "Chargennummer|Datum|Artikel|Räucherkammer|Schicht|Kutter Einsatz|Eis|Kutter Ausgang|Füllen Ausgang|Kochen Eingang|Kochen Ausgang|Kühlen Ausgang|Verpacken Ausgang|Sollgewicht|Bemerkung"
BATCHES, BAD_FROM, BAD_HOUSE, BAD_POINTS = 120, 60, "RK 2", 2.0
"""from this batch (0-based) on the smokehouse RK 2 loses so many percentage points more"""
SHARES = {"Wiener": (0.6, 1.2, 10.0, 1.2, 0.8), "Lyoner": (0.6, 0.9, 7.0, 1.0, 0.9)}
"""usual loss of chop, stuff, cook, chill and pack, %"""
SD = (0.1, 0.2, 0.5, 0.15, 0.15)


def weights(seed: int = 5) -> list[tuple[str, date, str, str, str, list[float]]]:
    """(batch, day, product, smokehouse, shift, kilograms along the line) of each batch."""
    rng, made = np.random.default_rng(seed), []
    for k in range(BATCHES):
        product = "Wiener" if k % 5 else "Lyoner"
        house, shift = f"RK {rng.integers(1, 4)}", ("früh", "spät")[k % 2]
        lost = np.array(SHARES[product]) + rng.normal(0, SD)
        lost[2] += BAD_POINTS * (house == BAD_HOUSE and k >= BAD_FROM)
        meat, ice = rng.normal(320, 20), rng.normal(95, 5)
        kg = [meat, ice, (meat + ice) * (1 - lost[0] / 100)]
        kg.append(kg[-1] * (1 - lost[1] / 100))
        kg.append(kg[-1])
        kg += (kg[-1] * np.cumprod(1 - lost[2:] / 100)).tolist()
        day = date(2026, 1, 7) + timedelta(days=7 * (k // 15) + k % 15 // 3)
        made.append((f"W-{26001 + k}", day, product, house, shift, [round(x, 1) for x in kg]))
    return made


def german_workbook() -> bytes:
    """The file, as a plant would send it."""
    book, rows = Workbook(), weights()
    sheet = book.active
    sheet.title = "Chargen 2026"
    sheet.append(["Ausbeute je Charge, Werk Nord"])
    sheet.append([])
    sheet.append(HEADS.split("|"))
    for k, (name, day, product, house, shift, kg) in enumerate(rows):
        # one in three was typed as text, as exports of scales are
        shown = [f"{x:.1f}".replace(".", ",") if k % 3 == 0 else x for x in kg]
        remark = "Waage geprüft" if k % 30 == 0 else None
        sheet.append([name, day, product, house, shift, *shown, 365.0, remark])
    sums = [round(sum(row[-1][n] for row in rows), 1) for n in range(len(rows[0][-1]))]
    sheet.append(["Summe", None, None, None, None, *sums, 365.0 * len(rows), None])
    notes = book.create_sheet("Bemerkungen")
    notes.append(["Stand der Waagen: 3. Januar"])
    notes.append(["Kühlung", "kg im Lager", 12])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
