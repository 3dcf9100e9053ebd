"""Do the intervals of a class keep their promise? By hand: python tests/bench/bench_class.py [seed]

Another generator than the kit's own: its numbers, its losses, seeds of its own. Rows: what is varied, what was promised, what came.
"""

import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

from kit.errors import OutOfRange  # noqa: E402
from kit.trial import ask, design, power  # noqa: E402
from kit.trial.analyse import effects, means_of  # noqa: E402
from kit.trial.design import smallest_effect  # noqa: E402
from kit.trial.readings import TubeLoss  # noqa: E402
from kit.trial.scatter import scatter  # noqa: E402

SD = {"station": 1.4, "batter": 1.0, "tube": 0.7, "run": 0.6}


def a_class(planned, mean, lost, rng):
    """Tubes as another hand would make them up; a batter is lost whole once in a while."""
    station, run = rng.normal(0, SD["station"], 100), rng.normal(0, SD["run"], 100)
    batter_of_station = rng.normal(0, SD["batter"], 100)
    rows = []
    for u in planned.units:
        split = planned.kind == "split"
        own = run[u.batter] + batter_of_station[u.station] if split else rng.normal(0, SD["batter"])
        for tube in range(1, planned.tubes + 1):
            if rng.random() >= lost:
                loss = 9 + station[u.station] + own + mean[u.treatment] + rng.normal(0, SD["tube"])
                rows.append(TubeLoss(u.station, u.batter, tube, loss))
    return rows


def run(planned, mean, lost, n, rng, which=0):
    """(covered, leaves 0 out, wrong sign) of `n` classes, in shares of those with an answer; together over all comparisons where there are several."""
    weights = list(planned.question.contrasts().values())
    truths = [sum(w * mean[t] for t, w in its.items()) for its in weights]
    covered = out = wrong = answered = 0
    for _ in range(n):
        try:
            found = [
                e.found
                for e in effects(planned, means_of(planned, a_class(planned, mean, lost, rng)))
            ]
        except OutOfRange:
            continue
        answered += 1
        if planned.kind == "dose":
            truths = [mean[-1] - mean[0], 0.0]
            found, its = found[:1], truths[:1]
        elif len(planned.question.factors) == 2:
            found, its = found[:1], truths[:1]
        else:
            its = truths
        covered += all(f.low <= t <= f.high for f, t in zip(found, its))
        out += any(f.low > 0 or f.high < 0 for f in found)
        wrong += any(t * f.value < 0 and (f.low > 0 or f.high < 0) for f, t in zip(found, its))
    return covered / answered, out / answered, wrong / answered, answered


def main(seed: int) -> None:
    rng, pair = np.random.default_rng(seed), ask("end_C", (13, 18))
    total = np.zeros(3)
    print(
        "pairs: stations x tubes x lost; covered %, false conclusions % (no effect), classes 300 each"
    )
    for stations in (4, 6, 8, 12):
        for tubes in (2, 3):
            for lost in (0.0, 0.15, 0.3):
                planned = design(pair, stations, 2, tubes, seed=int(rng.integers(1e6)))
                covered, _, wrong, n = run(planned, [0, 2.0], lost, 300, rng)
                false = run(planned, [0, 0.0], lost, 300, rng)[1]
                total += n * np.array([1, covered, false])
                print(
                    f"  {stations:2d} x {tubes} x {lost:4.2f}: {100 * covered:5.1f} {100 * false:5.1f}  wrong sign {100 * wrong:.1f}"
                )
    print(
        f"  together: covered {100 * total[1] / total[0]:.2f} %, false conclusions {100 * total[2] / total[0]:.2f} % of {total[0]:.0f}"
    )
    print("power promised and reached, 1,000 classes each")
    its = scatter("usual")
    for stations, tubes in ((6, 3), (8, 2)):
        planned = design(pair, stations, 2, tubes, seed=int(rng.integers(1e6)))
        for chance in (0.5, 0.8, 0.95):
            effect = smallest_effect(planned, its, chance)
            print(
                f"  {stations} stations, {tubes} tubes: {chance:.2f} -> {run(planned, [0, effect], 0, 1000, rng)[1]:.3f}"
            )
    print("other designs, 1,000 classes each, 10 % of tubes lost: covered %")
    for words, planned, mean in (
        ("incomplete 3 in pairs", design(ask("end_C", (13, 16, 19)), 6, 2, 3), [0, 1.5, 3]),
        ("blocks of 3", design(ask("end_C", (13, 16, 19)), 6, 3, 3), [0, 1.5, 3]),
        ("straight line of 4", design(ask("end_C", (10, 13, 16, 19)), 6, 4, 3), [0, 1, 2, 3]),
        (
            "two factors in pairs",
            design(ask(("end_C", "salt_pct"), ((13, 18), (2, 1))), 6, 2, 3),
            [0, 1, 2, 3],
        ),
        ("bath runs", design(ask("core_C", (68, 78)), 6, 3, 3), [0, 2]),
        ("one batter a station", design(pair, 8, 1, 3), [0, 2]),
    ):
        lost = 0.0 if words == "incomplete 3 in pairs" else 0.1
        covered, out, _, n = run(planned, mean, lost, 1000, rng)
        promised = f", power promised {power(planned, its, mean[-1]):.2f}" if len(mean) == 2 else ""
        print(
            f"  {words}: {100 * covered:.1f} (interval leaves 0 out {100 * out:.0f} %{promised}) of {n}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 77)
