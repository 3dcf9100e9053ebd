"""A quiet plant beside one with a planted cause: what noise looks like, and what a cause must be like to be seen."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import units
from kit.batches import find
from kit.batches.causes import short_sd
from kit.batches.findings import Findings
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import kilograms, noise, table, view
from kit.lab.panels.batches.plant import CAUSES, Planted, plant
from kit.lab.panels.panel import Choice, Panel, Slider, Switch, View

SIZES, COUNTS, SEEDS = (0.5, 1.0, 2.0, 3.0, 4.0), (20, 40, 80, 120, 200), tuple(range(1, 21))


@dataclass(frozen=True, eq=False)
class Pair:
    """A quiet plant and the same one with a cause planted, looked at in the stage it touches. `z`: standard deviations from the quiet mean."""

    planted: Planted
    quiet_found: Findings
    moved_found: Findings
    quiet_z: np.ndarray
    moved_z: np.ndarray
    sd_points: float
    batch_kg: float

    @property
    def named(self) -> bool:
        """Whether a finding names the stage that was planted."""
        return any(f.stage == self.planted.stage for f in self.moved_found.findings)

    @property
    def touched(self) -> np.ndarray:
        return np.isin(np.arange(len(self.moved_z)), self.planted.touched)


def _deviations(size: float) -> str:
    return f"{size:g} standard deviation{'' if size == 1 else 's'}"


@lru_cache(maxsize=64)
def pair_of(kind: str, n: int, size: float, seed: int) -> Pair:
    quiet, moved = plant(seed, (), n=n), plant(seed, kind, n=n, size=size)
    at = quiet.table.place(moved.planted[0].stage)
    losses = [p.table.loss_pct[:, at] for p in (quiet, moved)]
    mean, sd = float(losses[0].mean()), short_sd(losses[0])
    return Pair(
        moved.planted[0],
        find(quiet.table),
        find(moved.table),
        *((loss - mean) / sd for loss in losses),
        sd,
        float(quiet.table.all_in_kg[:, at].mean()),
    )


def noise_panel() -> Panel:
    """Two invented plants from one seed; the slider calls single batches bad, the table says what the search over all batches found."""
    controls = (
        Choice("kind", "Planted on the right", tuple(CAUSES), "leaking stuffer", "The plants"),
        Choice("size", "Its size", tuple((_deviations(s), s) for s in SIZES), 2.0, "The plants"),
        Choice("n", "Batches", COUNTS, 80, "The plants"),
        Choice("seed", "Seed", SEEDS, 3, "The plants"),
        Slider("beyond", "Called bad beyond, sigma", "", 1, 5, 0.1, 3, "What is shown"),
        Switch("truth", "Show which batches were touched", False, "What is shown"),
    )
    return Panel(
        "Noise, or a cause?",
        controls,
        lambda values: pair_of(values["kind"], values["n"], values["size"], values["seed"]),
        noise_view,
        lambda system: {
            "quiet": charts.plant_chart(
                "A plant where nothing is wrong", "rings: beyond your line"
            ),
            "moved": charts.plant_chart(
                "The same, with a cause planted", "grey, if asked: batches it touches"
            ),
        },
        {
            "Judge by a single bad batch": {"beyond": 2},
            "Too few batches": {"n": 20, "size": 1.0},
            "A cause of four": {"size": 4.0},
        },
    )


def noise_view(pair: Pair, values, system) -> View:
    beyond, planted, touched = values["beyond"], pair.planted, pair.touched
    n, all_touched = len(touched), int(touched.sum())
    false, called = int((np.abs(pair.quiet_z) > beyond).sum()), np.abs(pair.moved_z) > beyond
    hit = int(called[touched].sum())
    sentence = f"{planted.stage.capitalize()}: your line calls {false} of {n} batches bad where nothing is wrong, and {hit} of the {all_touched} that the {planted.kind} touches. "
    sentence += (
        "The search over all batches names the stage."
        if pair.named
        else "The search over all batches does not see it either."
        if hit <= all_touched / 2
        else "The search over all batches does not name it."
    )
    if pair.quiet_found.findings:
        sentence += f" It raises a false finding in the quiet plant too: in a steady plant that happens about {100 * pair.quiet_found.alpha:g} times in 100."
    verdict = "every one of them is a false call" if false else "no false call"
    one_sd = units.show(pair.sd_points / 100 * pair.batch_kg, "kg", system, 2)
    with_a = f"with a {planted.kind}"
    calls = table(
        "Batch by batch, by your line",
        ("plant", "called bad", "of", "so"),
        (
            (f"{'✗ ' if false else ''}nothing is wrong", str(false), str(n), verdict),
            (f"{with_a}: touched", str(hit), str(all_touched), f"{all_touched - hit} missed"),
            (
                f"{with_a}: not touched",
                str(int(called[~touched].sum())),
                str(n - all_touched),
                "false calls",
            ),
            (
                "one standard deviation of a batch",
                f"{pair.sd_points:.2f} points",
                one_sd,
                "so far a batch strays for no reason at all",
            ),
        ),
    )
    search = table(
        "All batches together, by the search for causes",
        ("plant", "finding", "lost by it (95 % interval)", "noise alone does as well"),
        _searched(pair, values["size"], with_a, system),
    )
    shown = planted.touched if values["truth"] else ()
    return view(
        sentence,
        {
            "quiet": charts.plant_data(pair.quiet_z, beyond),
            "moved": charts.plant_data(pair.moved_z, beyond, shown),
        },
        {
            "quiet": charts.plant_text(pair.quiet_z, beyond),
            "moved": charts.plant_text(pair.moved_z, beyond),
        },
        (calls, search),
        (pair.moved_found,),
        ("Both plants are invented, from the same seed.",),
    )


def _searched(pair: Pair, size: float, with_a: str, system: str):
    """What the search says of both plants, and of the planted stage where it says nothing."""
    for f in pair.quiet_found.findings:
        said = f"{f.sentence} A false finding."
        yield "✗ nothing is wrong", said, kilograms(f, system), noise(f.chance)
    if not pair.quiet_found.findings:
        yield "nothing is wrong", pair.quiet_found.verdict, "", ""
    for f in pair.moved_found.findings:
        yield with_a, f.sentence, kilograms(f, system), noise(f.chance)
    if not pair.named:
        said = f"Nothing is said of {pair.planted.stage}, where it was planted: {_deviations(size)} over {pair.touched.sum()} of {len(pair.touched)} batches"
        yield f"✗ {with_a}", said, "", ""
