"""How far did this class scatter? What next year's power is calculated with."""

from collections.abc import Sequence
from math import sqrt

from kit import tables
from kit.errors import need
from kit.trial.design import Design
from kit.trial.readings import TubeLoss
from kit.trial.scatter import ClassScatter, balance_points, of_class, scatter


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

    level = {(u.station, u.batter): u.treatment for u in planned.units}
    count = {(one.station, one.batter) for one in losses}
    need(
        len(losses) > len(count),
        "one tube of each batter: tubes and batters cannot be told apart; read two tubes of a batter",
    )
    of: dict[str, list] = {
        "level": [level[one.station, one.batter] for one in losses],
        "station": [one.station for one in losses],
        "batter": [f"{one.station}-{one.batter}" for one in losses],
        "run": [one.batter for one in losses],
    }
    parts = {"split": ("level", "run", "station"), "single": ("level", "batter")}
    used = parts.get(planned.kind, ("level", "station", "batter"))
    found = components([one.loss_pct for one in losses], {part: of[part] for part in used})
    step = balance_points(balance_step_g, tables.value("trial_fill_g"))
    usual = scatter("usual")
    points = {"station": 0.0 if planned.kind == "single" else usual.station_points}
    points |= {"batter": usual.batter_points, "run": usual.run_points}
    points |= {part: found.part(part).sd for part in used[1:]}
    points["tube"] = sqrt(max(found.part("within").variance - step**2, 0.0))
    ends = {
        part: found.part("within" if part == "tube" else part).interval
        for part in (*used[1:], "tube")
    }
    return of_class(
        name,
        {part: round(sd, 3) for part, sd in points.items()},
        len({one.station for one in losses}),
        tuple(
            (part, round(sqrt(max(its[0], 0.0)), 3), round(sqrt(max(its[1], 0.0)), 3))
            for part, its in ends.items()
            if its
        ),
    )
