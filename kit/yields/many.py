"""The same books for many batches at once: losses of stages and unexplained kilograms as arrays."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.errors import OutOfRange, UnknownName, need
from kit.stages import STAGES
from kit.yields.algebra import patterns
from kit.yields.ledger import IN, KINDS, OUT, SIGN, place_of
from kit.yields.spans import layout


@dataclass(frozen=True)
class ManyBooks:
    """Arrays over batches; NaN where a batch's weights cannot tell. Columns of `stages` and `handovers`."""

    stages: tuple[str, ...]
    """stages weighed on both sides in some batch, and spans of several where weights are missing ('stuff + cook')"""
    handovers: tuple[str, ...]
    all_in_kg: np.ndarray
    """(n, stages) in, additions and rework in"""
    out_kg: np.ndarray
    scrap_kg: np.ndarray
    lost_kg: np.ndarray
    """(n, stages); below 0: a gain with no addition, left as it is"""
    unexplained_kg: np.ndarray
    """(n, handovers) out of one stage less into the next"""
    start_kg: np.ndarray
    end_kg: np.ndarray

    @property
    def yield_pct(self) -> np.ndarray:
        return 100 * self.out_kg / self.all_in_kg


def books_many(weights: Mapping[tuple[str, str], np.ndarray]) -> ManyBooks:
    """`weights` maps (stage, kind) to kg over batches (n,), NaN where missing; kinds as in ledger.KINDS, names already added up.

    The lines are those of `books` for each batch. Raises UnknownName for a stage or kind, OutOfRange for a weight below 0,
    endless, or 0 kg into a stage: batches with such entries are set aside before.
    """
    for stage, kind in weights:
        if stage not in STAGES:
            raise UnknownName("stage", stage, STAGES)
        if kind not in KINDS:
            raise UnknownName("kind of weight", kind, KINDS)
    need(bool(weights), "no weights are given")
    marks = sorted((key for key in weights if key[1] in (IN, OUT)), key=lambda key: place_of(*key))
    sides = sorted((key for key in weights if key[1] in SIGN), key=lambda key: place_of(*key))
    need(
        len(marks) >= 2,
        "a yield needs two main-stream weights, such as what came in and what was packed",
    )
    keys = [*marks, *sides]
    kg = np.column_stack([np.asarray(weights[key], float) for key in keys])
    wrong = np.isinf(kg) | (kg < 0) | ((kg == 0) & np.array([kind == IN for _, kind in keys]))
    if wrong.any():
        row, column = np.argwhere(wrong)[0]
        raise OutOfRange(
            f"batch {row + 1}: {kg[row, column]:g} kg written as {keys[column][1]} of {keys[column][0]}; "
            "set such batches aside first (entry_faults names them)"
        )
    n, stage_lines, handover_lines = len(kg), {}, {}
    start, end = (np.full(n, np.nan) for _ in range(2))
    column = {key: number for number, key in enumerate(keys)}

    def cell(lines, name):
        return lines.setdefault(
            name, {what: np.full(n, np.nan) for what in ("all in", "out", "scrap", "lost")}
        )

    for rows, present in patterns(kg):
        here = [mark for mark in marks if present[column[mark]]]
        if not here:
            continue
        start[rows], end[rows] = kg[rows, column[here[0]]], kg[rows, column[here[-1]]]
        beside = [side for side in sides if present[column[side]]]
        for span in layout(here, {stage for stage, _ in beside}):
            first, last = kg[rows, column[span.start]], kg[rows, column[span.end]]
            if span.is_handover:
                cell(handover_lines, span.name)["lost"][rows] = first - last
                continue
            held = [side for side in beside if span.holds(place_of(*side))]
            line = cell(stage_lines, span.name)
            line["all in"][rows] = first + sum(
                (kg[rows, column[side]] for side in held if SIGN[side[1]] > 0), 0.0
            )
            line["scrap"][rows] = sum(
                (kg[rows, column[side]] for side in held if side[1] == "scrap"), np.zeros(len(rows))
            )
            line["out"][rows] = last
            line["lost"][rows] = (
                first + sum((SIGN[side[1]] * kg[rows, column[side]] for side in held), 0.0) - last
            )

    def table(lines, what):
        return (
            np.column_stack([line[what] for line in lines.values()]) if lines else np.empty((n, 0))
        )

    return ManyBooks(
        tuple(stage_lines),
        tuple(handover_lines),
        *(table(stage_lines, what) for what in ("all in", "out", "scrap", "lost")),
        table(handover_lines, "lost"),
        start,
        end,
    )
