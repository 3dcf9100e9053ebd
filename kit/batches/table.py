"""Many batches as one table: weights per stage as arrays, and what else was written down about each batch."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from kit.errors import need_known
from kit.faults import Cell, Faults
from kit.stages import STAGES

SIDES = ("in", "out")
PRODUCTS = ("product", "recipe")
LEAST_EXPECTED = 8
"""batches with an expected yield that a yardstick takes"""
ARRAYS = ("in_kg", "out_kg", "added_kg", "rework_in_kg", "rework_out_kg", "sample_kg")


def _none() -> np.ndarray:
    """Nothing of this kind was weighed."""
    return np.zeros((0, 0))


@dataclass(frozen=True, eq=False)
class BatchTable:
    """n batches in the order they were made, S stages in the order of the line. Weights are (n, S) in kg, NaN where not weighed.

    `labels`: {"operator": (n,) text, ...}, "" where unknown. `facts`: {"fat_pct": (n,) numbers, ...}, NaN where unknown.
    `scales`: {("cook", "in"): "rack scale", ...}. `expected_yield_pct`: {"cook" or "overall": (n,)}, what the batch model expects of each sheet.
    Faulty, with every fault at once, for shapes that do not fit, unknown stages, weights below 0 or endless, batches out of order.
    """

    batches: tuple[str, ...]
    stages: tuple[str, ...]
    in_kg: np.ndarray
    out_kg: np.ndarray
    added_kg: np.ndarray = field(default_factory=_none)
    rework_in_kg: np.ndarray = field(default_factory=_none)
    rework_out_kg: np.ndarray = field(default_factory=_none)
    sample_kg: np.ndarray = field(default_factory=_none)
    dates: np.ndarray | None = None
    labels: Mapping[str, np.ndarray] = field(default_factory=dict)
    facts: Mapping[str, np.ndarray] = field(default_factory=dict)
    scales: Mapping[tuple[str, str], str] = field(default_factory=dict)
    expected_yield_pct: Mapping[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self):
        for stage in self.stages:
            need_known("stage", stage, STAGES)
        if self.dates is not None:
            object.__setattr__(self, "dates", np.asarray(self.dates, "datetime64[s]"))
        faults = Faults("", "table of batches")
        self._note_shape(faults)
        self._note_columns(faults)
        for name in ARRAYS:
            self._keep_weights(name, faults)
        faults.stop_if_any()
        for name in ("labels", "facts", "expected_yield_pct"):
            kind = str if name == "labels" else float
            held = {k: np.asarray(v).astype(kind) for k, v in getattr(self, name).items()}
            object.__setattr__(self, name, held)

    def _note_shape(self, faults: Faults) -> None:
        if list(self.stages) != [s for s in STAGES if s in self.stages]:
            faults.say("order of stages", given=", ".join(self.stages), line=", ".join(STAGES))
        if self.n < 2 or not self.stages:
            faults.say("small table", n=self.n, stages=len(self.stages))
        for stage, side in self.scales:
            if stage not in self.stages or side not in SIDES:
                faults.say("scale of no stage", name="scales", side=side, stage=stage)

    def _note_columns(self, faults: Faults) -> None:
        of = {"labels": self.labels, "facts": self.facts, "expected yield": self.expected_yield_pct}
        columns = {f"{title}: {k}": len(v) for title, held in of.items() for k, v in held.items()}
        columns |= {} if self.dates is None else {"dates": len(self.dates)}
        for name, entries in columns.items():
            if entries != self.n:
                faults.say("length of a column", name=name, entries=entries, n=self.n)
        known = self.dates[~np.isnat(self.dates)] if self.dates is not None else np.array([])
        if (np.diff(known).astype(float) < 0).any():
            faults.say("batches out of order", name="dates")

    def _keep_weights(self, name: str, faults: Faults) -> None:
        """Keeps the array, read only; notes what is wrong with it."""
        shape, given = (self.n, len(self.stages)), getattr(self, name)
        array = np.array(given, float) if np.size(given) else np.zeros(shape)
        if array.shape != shape:
            faults.say("shape of weights", name=name, given=array.shape, shape=shape)
            return
        main = name in ("in_kg", "out_kg")
        array = array if main else np.nan_to_num(array, nan=0.0)
        array.setflags(write=False)
        object.__setattr__(self, name, array)
        bad = np.isinf(array) | (array < 0) | (main & (array == 0))
        for i, j in np.argwhere(bad)[:20]:
            at = Cell(None, int(i) + 1, self.stages[j])
            faults.say("weight of a batch", at, name, kg=array[i, j])

    @property
    def n(self) -> int:
        return len(self.batches)

    @property
    def all_in_kg(self) -> np.ndarray:
        return self.in_kg + self.added_kg + self.rework_in_kg

    @property
    def lost_kg(self) -> np.ndarray:
        """(n, S): everything in, less what left as product, rework or sample. Scrap counts as lost."""
        return self.all_in_kg - self.rework_out_kg - self.sample_kg - self.out_kg

    @property
    def loss_pct(self) -> np.ndarray:
        """(n, S) of everything that went into the stage."""
        return 100 * self.lost_kg / self.all_in_kg

    @property
    def judged_loss_pct(self) -> np.ndarray:
        """(n, S) the loss without what the recipe is expected to add to it or take from it, about the mean of all recipes: what causes are sought in.

        A stage for which fewer than eight batches have an expectation is judged by its plain loss; else a batch without one is left out there (NaN).
        """
        judged = self.loss_pct
        for j in self.expected_stages():
            expected = self.expected_yield_pct[self.stages[j]]
            judged[:, j] += expected - np.nanmean(expected)
        return judged

    def expected_stages(self) -> tuple[int, ...]:
        """Places of the stages for which enough batches have an expected yield."""
        known = [self.expected_yield_pct.get(stage, np.array([])) for stage in self.stages]
        return tuple(j for j, x in enumerate(known) if np.isfinite(x).sum() >= LEAST_EXPECTED)

    @property
    def missing_kg(self) -> np.ndarray:
        """(n, S − 1): out of a stage less into the next."""
        return self.out_kg[:, :-1] - self.in_kg[:, 1:]

    @property
    def missing_pct(self) -> np.ndarray:
        return 100 * self.missing_kg / self.out_kg[:, :-1]

    @property
    def brought_in_kg(self) -> np.ndarray:
        """(n,) everything bought in: the first weight and all additions and rework taken in."""
        return self.in_kg[:, 0] + (self.added_kg + self.rework_in_kg).sum(axis=1)

    @property
    def loss_share_pct(self) -> np.ndarray:
        """(n, S) what each stage loses, of everything brought into the batch: shares on one base, which add up along the line."""
        return 100 * self.lost_kg / self.brought_in_kg[:, None]

    @property
    def overall_yield_pct(self) -> np.ndarray:
        """(n,) out of the last stage on everything bought in: the first weight and all additions; rework sent back counts as product, taken in as input."""
        return 100 * (self.out_kg[:, -1] + self.rework_out_kg.sum(axis=1)) / self.brought_in_kg

    @property
    def made(self) -> np.ndarray:
        """(n,) product, or else recipe, of each batch as the records call it; '' where unknown."""
        none = np.full(self.n, "", "U1")
        return next((self.labels[k] for k in PRODUCTS if k in self.labels), none)

    def unit_of(self, kind: str) -> np.ndarray | None:
        """(n,) 'lot' or 'day' of each batch as text, '' where unknown; None where none is recorded."""
        if kind == "day" and self.dates is not None:
            days = self.dates.astype("datetime64[D]").astype(str)
            return np.where(days == "NaT", "", days)
        return self.labels.get(kind)

    def handovers(self) -> tuple[str, ...]:
        return tuple(f"{a} to {b}" for a, b in zip(self.stages, self.stages[1:]))

    def lines(self) -> dict[str, np.ndarray]:
        """{stage or transfer: (n,) kilograms lost there}."""
        kg = np.hstack([self.lost_kg, self.missing_kg])
        return dict(zip((*self.stages, *self.handovers()), kg.T))

    def place(self, stage: str) -> int:
        need_known("stage of this table", stage, self.stages)
        return self.stages.index(stage)

    def own_name(self, k: int) -> str:
        """'batch 38 in this order is B041' where the plant's own name does not say its place; else ''."""
        said = re.findall(r"\d+", self.batches[k])
        clear = bool(said) and int(said[-1]) == k + 1
        return "" if clear else f"batch {k + 1} in this order is {self.batches[k]}"

    @property
    def span(self) -> str:
        """'120 batches, 2024-01-09 to 2024-02-20'."""
        if self.dates is None or np.isnat(self.dates).all():
            return f"{self.n} batches"
        first, last = np.nanmin(self.dates), np.nanmax(self.dates)
        return (
            f"{self.n} batches, {first.astype('datetime64[D]')} to {last.astype('datetime64[D]')}"
        )

    def at(self, rows: np.ndarray) -> "BatchTable":
        """The batches at these places (0-based), in the same order."""
        held = {name: getattr(self, name)[rows] for name in ARRAYS}
        for name in ("labels", "facts", "expected_yield_pct"):
            held[name] = {key: values[rows] for key, values in getattr(self, name).items()}
        dates = None if self.dates is None else self.dates[rows]
        return replace(self, batches=tuple(self.batches[k] for k in rows), dates=dates, **held)

    def changed(self, **fields) -> "BatchTable":
        """The same with some fields replaced."""
        return replace(self, **fields)
