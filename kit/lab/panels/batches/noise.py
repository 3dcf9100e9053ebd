"""A quiet plant beside one with a planted cause: what noise looks like, and what a cause must be like to be seen."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import units
from kit.batches import Findings, find
from kit.batches.causes import short_sd
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import CAUTIONS, kilograms, noise
from kit.lab.panels.batches.plant import CAUSES, Plant, plant
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Switch, Table, View

SIZES, COUNTS, SEEDS = (0.5, 1.0, 2.0, 3.0, 4.0), (20, 40, 80, 120, 200), tuple(range(1, 21))


@dataclass(frozen=True, eq=False)
class Pair:
    """A quiet plant and the same one with a cause planted, looked at in the stage it touches. `z`: standard deviations from the quiet mean."""

    quiet: Plant
    quiet_found: Findings
    moved: Plant
    moved_found: Findings
    stage: str
    quiet_z: np.ndarray
    moved_z: np.ndarray
    sd_points: float
    batch_kg: float

    @property
    def named(self) -> bool:
        """Whether a finding names the stage that was planted."""
        return any(f.stage == self.stage for f in self.moved_found.findings)


def _deviations(size: float) -> str:
    return f"{size:g} standard deviation{'' if size == 1 else 's'}"


@lru_cache(maxsize=64)
def pair_of(kind: str, n: int, size: float, seed: int) -> Pair:
    quiet, moved = plant(seed, (), n=n), plant(seed, kind, n=n, size=size)
    stage = moved.planted[0].stage
    losses = [p.table.loss_pct[:, p.table.place(stage)] for p in (quiet, moved)]
    mean, sd = float(losses[0].mean()), short_sd(losses[0])
    return Pair(
        quiet,
        find(quiet.table),
        moved,
        find(moved.table),
        stage,
        *((loss - mean) / sd for loss in losses),
        sd,
        float(quiet.table.all_in_kg[:, quiet.table.place(stage)].mean()),
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
    beyond, planted = values["beyond"], pair.moved.planted[0]
    touched = np.isin(np.arange(pair.moved.table.n), planted.touched)
    false, hit = (
        int((np.abs(pair.quiet_z) > beyond).sum()),
        int((np.abs(pair.moved_z) > beyond)[touched].sum()),
    )
    sentence = f"{pair.stage.capitalize()}: your line calls {false} of {len(pair.quiet_z)} batches bad where nothing is wrong, and {hit} of the {touched.sum()} that the {planted.kind} touches. "
    sentence += (
        "The search over all batches names the stage."
        if pair.named
        else "The search over all batches does not see it either."
        if hit <= touched.sum() / 2
        else "The search over all batches does not name it."
    )
    if pair.quiet_found.findings:
        sentence += f" It raises a false finding in the quiet plant too: in a steady plant that happens about {100 * pair.quiet_found.alpha:g} times in 100."
    calls = Table(
        "Batch by batch, by your line",
        ("plant", "called bad", "of", "so"),
        (
            Row(
                (
                    f"{'✗ ' if false else ''}nothing is wrong",
                    str(false),
                    str(len(pair.quiet_z)),
                    "every one of them is a false call" if false else "no false call",
                ),
                "fails" if false else "",
            ),
            Row(
                (
                    f"with a {planted.kind}: touched",
                    str(hit),
                    str(int(touched.sum())),
                    f"{touched.sum() - hit} missed",
                )
            ),
            Row(
                (
                    f"with a {planted.kind}: not touched",
                    str(int((np.abs(pair.moved_z) > beyond)[~touched].sum())),
                    str(int((~touched).sum())),
                    "false calls",
                )
            ),
            Row(
                (
                    "one standard deviation of a batch",
                    f"{pair.sd_points:.2f} points",
                    units.show(pair.sd_points / 100 * pair.batch_kg, "kg", system, 2),
                    "so far a batch strays for no reason at all",
                )
            ),
        ),
    )
    rows = [
        Row(
            (
                "✗ nothing is wrong",
                f"{f.sentence} A false finding.",
                kilograms(f, system),
                noise(f.chance),
            ),
            "fails",
        )
        for f in pair.quiet_found.findings
    ] or [Row(("nothing is wrong", pair.quiet_found.verdict, "", ""))]
    rows += [
        Row((f"with a {planted.kind}", f.sentence, kilograms(f, system), noise(f.chance)))
        for f in pair.moved_found.findings
    ]
    if not pair.named:
        rows.append(
            Row(
                (
                    f"✗ with a {planted.kind}",
                    f"Nothing is said of {pair.stage}, where it was planted: {_deviations(values['size'])} over {touched.sum()} of {len(touched)} batches",
                    "",
                    "",
                ),
                "fails",
            )
        )
    search = Table(
        "All batches together, by the search for causes",
        ("plant", "finding", "lost by it (95 % interval)", "noise alone does as well"),
        tuple(rows),
    )
    data = {
        "quiet": charts.plant_data(pair.quiet_z, beyond),
        "moved": charts.plant_data(
            pair.moved_z, beyond, planted.touched if values["truth"] else ()
        ),
    }
    return View(
        sentence,
        data,
        {
            "quiet": charts.plant_text(pair.quiet_z, beyond),
            "moved": charts.plant_text(pair.moved_z, beyond),
        },
        (calls, search),
        (*pair.moved_found.notes, "Both plants are invented, from the same seed."),
        pair.moved_found.working,
        pair.moved_found.sources,
        CAUTIONS,
    )
