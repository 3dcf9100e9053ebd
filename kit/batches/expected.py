"""Did the process change, or only the recipe? Weighed yields beside what the batch model expects of each sheet."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.batches.change import change_points
from kit.batches.table import LEAST_EXPECTED, BatchTable
from kit.errors import need_known
from kit.faults import need_said
from kit.working import Result, notes_of, working_of

HALF = 0.5
"""share of a step in the weighed yield that the expected one must take along for the recipe to be its reason"""
NEAR = 3
"""batches within which two steps count as the same"""


@dataclass(frozen=True)
class Residuals(Result):
    """`residual` (n,) weighed less expected yield, percentage points, NaN where one is missing."""

    of: str
    weighed_pct: np.ndarray
    expected_pct: np.ndarray
    residual: np.ndarray
    bias: float
    explained_pct: float
    """share of the variance of weighed yields that the expected ones take away; below 0 where they add some"""
    recipe_changes: tuple[int, ...]
    """0-based batches at which the weighed yield stepped and the expected one with it, so that the residual did not"""
    process_changes: tuple[int, ...]


def residuals(table: BatchTable, of: str = "overall") -> Residuals:
    """Residual of a stage's yield, or of the overall yield, against table.expected_yield_pct[of]."""
    need_known("expected yield", of, table.expected_yield_pct)
    weighed = (
        table.overall_yield_pct if of == "overall" else 100 - table.loss_pct[:, table.place(of)]
    )
    expected = table.expected_yield_pct[of]
    left = weighed - expected
    rows = np.flatnonzero(np.isfinite(left))
    need_said(len(rows) >= LEAST_EXPECTED, "few expected", rows=len(rows), least=LEAST_EXPECTED)
    changes = change_points(left[rows], unit="percentage points")
    plain = change_points(weighed[rows], unit="%")
    process = tuple(int(rows[k]) for k in changes.starts)
    levels = [float(part.mean()) for part in np.split(expected[rows], plain.starts)]
    recipe = tuple(
        int(rows[c.start])
        for c, explained in zip(plain.changes, np.diff(levels), strict=True)
        if all(abs(c.start - other) > NEAR for other in changes.starts)
        and explained / c.shift >= HALF
    )
    sd_w, sd_r = float(weighed[rows].std(ddof=1)), float(left[rows].std(ddof=1))
    explained = 100 * (1 - sd_r**2 / sd_w**2) if sd_w > 0 else float("nan")
    bias = float(left[rows].mean())

    apart = abs(bias) > 2 * sd_r / np.sqrt(len(rows))
    notes = notes_of(
        "recipe and process",
        {
            "recipe": recipe,
            "process": process,
            "uncalibrated": explained < 0,
            "above": apart and bias > 0,
            "below": apart and bias <= 0,
        },
        recipe=counted(recipe),
        process=counted(process),
        bias=abs(bias),
    )
    last = rows[-1]
    known = {"r": left[last], "w": weighed[last], "e": expected[last]}
    return Residuals(
        of,
        weighed,
        expected,
        left,
        bias,
        explained,
        recipe,
        process,
        own_notes=notes,
        own_sources=(tables.computed("the batch model's expected yield of each sheet"),),
        own_working=working_of("recipe and process", **known),
    )


def counted(batches: Iterable[int]) -> str:
    """0-based batches as a person counts them, from 1."""
    return ", ".join(str(int(k) + 1) for k in batches) or "none"
