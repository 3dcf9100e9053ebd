"""How far did this class scatter? What next year's power is calculated with."""

from collections.abc import Sequence
from math import sqrt

from kit import tables
from kit.faults import need_said
from kit.trial.design import Design
from kit.trial.readings import TubeLoss
from kit.trial.scatter import PARTS, ClassScatter, balance_points, of_class, scatter


def scatter_of(
    planned: Design,
    losses: Sequence[TubeLoss],
    balance_step_g: float = 0.01,
    name: str = "own class",
) -> ClassScatter:
    """Standard deviations of stations, batters and tubes with 90 % intervals, the levels' effect taken out.

    What a design cannot show keeps its usual value, and a note says so: bath runs where every station has batters of its own, batters where bath runs are compared.
    OutOfRange where no batter has two tubes. Source: analysis of variance, `kit.batches.components`.
    """
    from kit.batches.components import components

    count = {(one.station, one.batter) for one in losses}
    need_said(len(losses) > len(count), "tubes and batters together")
    of: dict[str, list] = {
        "level": [planned.level[one.station, one.batter] for one in losses],
        "station": [one.station for one in losses],
        "batter": [f"{one.station}-{one.batter}" for one in losses],
        "run": [one.batter for one in losses],
    }
    used = {"split": ("run", "station"), "single": ("batter",)}.get(
        planned.kind, ("station", "batter")
    )
    found = components(
        [one.loss_pct for one in losses], {part: of[part] for part in ("level", *used)}
    )
    step = balance_points(balance_step_g, tables.value("trial_fill_g"))
    usual = scatter("usual")
    points = {part: getattr(usual, f"{part}_points") for part in PARTS}
    points |= {"station": 0.0} if planned.kind == "single" else {}
    measured = {part: found.part(part) for part in used}
    points |= {part: its.sd for part, its in measured.items()}
    measured["tube"] = found.part("within")
    points["tube"] = sqrt(max(measured["tube"].variance - step**2, 0.0))
    pairs = tuple(
        (part, round(sqrt(max(its.interval[0], 0.0)), 3), round(sqrt(max(its.interval[1], 0.0)), 3))
        for part, its in measured.items()
        if its.interval
    )
    rounded = {part: round(sd, 3) for part, sd in points.items()}
    return of_class(name, rounded, len({one.station for one in losses}), pairs)
