"""Are two tubes that were exchanged after the bath found, and what can hide? By hand: python tests/bench/bench_exchanged.py [plans] [seed]

Weights of another generator than the kit's: tubes filled near their target, weighed on a balance of 0.01 g, losses that scatter between stations, batters
and tubes. In each plan one station exchanges two weights after the bath; all other stations are clean and count for the false ones.
"""

import random
import sys
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

from kit.trial import ask, design  # noqa: E402
from kit.trial.exchanged import hidden_exchanges  # noqa: E402
from kit.trial.findings import findings  # noqa: E402
from kit.trial.readings import TubeReading  # noqa: E402
from kit.trial.scatter import scatter  # noqa: E402

EXCHANGED = "two tubes exchanged"
BALANCE_G, FILL_SD_G, EMPTY_SD_G = 0.01, 0.2, 0.15
EFFECT, LOSS, STATION_SD, BATTER_SD, TUBE_SD = 2.0, 9.0, 1.0, 1.0, 0.7


def weighed(planned, rng):
    """The tubes of a class as a careful hand would weigh them."""
    tubes = []
    for station in sorted({u.station for u in planned.units}):
        level = rng.gauss(LOSS, STATION_SD)
        for u in (u for u in planned.units if u.station == station):
            own = level + EFFECT * u.treatment + rng.gauss(0, BATTER_SD)
            for n, goal in enumerate(u.fills_g, 1):
                net, empty = goal + rng.gauss(0, FILL_SD_G), 13 + rng.gauss(0, EMPTY_SD_G)
                out = net * max(own + rng.gauss(0, TUBE_SD), 0) / 100
                its = (
                    round(w / BALANCE_G) * BALANCE_G
                    for w in (empty, empty + net, empty + net - out)
                )
                tubes.append(TubeReading(station, u.batter, n, *its))
    return tubes


def main(plans: int, seed: int) -> None:
    rng, its, told = random.Random(seed), scatter("usual"), Counter()
    for n in range(plans):
        tubes_each = 3 if n % 4 else 2
        planned = design(ask("end_C", (13, 18)), rng.choice((6, 8, 10)), 2, tubes_each, seed=n)
        tubes = {t.key: t for t in weighed(planned, rng)}
        station = rng.randint(1, planned.stations)
        a, b = rng.sample([key for key in tubes if key[0] == station], 2)
        # the whole tube changes places: the weight after the bath is that of the other one, glass and all
        before = dict(tubes)
        for one, other in ((a, b), (b, a)):
            t = before[one]
            tubes[one] = TubeReading(*one, t.empty_g, t.filled_g, before[other].after_g)
        apart_g = abs(before[a].net_g - before[b].net_g)
        said = findings(planned, list(tubes.values()), its=its, balance_step_g=BALANCE_G)
        named = [f for f in said if f.station == station and {a, b} & set(f.keys)]
        exchanged = [f for f in named if f.kind == EXCHANGED]
        told["all"] += 1
        told["found"] += bool(exchanged)
        told["told in any way"] += bool(named)
        told["pair"] += any(set(f.keys) == {a, b} for f in exchanged)
        far = apart_g >= 3
        told["far"] += far
        told["far found"] += far and bool(exchanged)
        listed = {frozenset(pair) for pair in hidden_exchanges(planned, station)}
        if not exchanged:
            told["missed"] += 1
            told["missed, listed"] += frozenset((a[1:], b[1:])) in listed
        told["listed pairs"] += len(listed)
        told["pairs"] += (
            len([k for k in tubes if k[0] == station])
            * (len([k for k in tubes if k[0] == station]) - 1)
            // 2
        )
        told["clean"] += planned.stations - 1
        told["false"] += sum(f.kind == EXCHANGED and f.station != station for f in said)
        clean = findings(planned, list(before.values()), its=its, balance_step_g=BALANCE_G)
        told["clean"] += planned.stations
        told["false"] += sum(f.kind == EXCHANGED for f in clean)

    def pct(part, of):
        return f"{100 * told[part] / max(told[of], 1):.2f} % of {told[of]}"

    print(
        f"{plans} plans, seed {seed}, filled weights in steps of 2 g, one exchange of after-bath weights in each"
    )
    print(f"found {pct('found', 'all')}; told in any way {pct('told in any way', 'all')}")
    print(f"found where filled weights differ by 3 g or more: {pct('far found', 'far')}")
    print(f"both tubes named where found: {pct('pair', 'found')}")
    print(
        f"missed pairs that stand on the list of what may not show: {told['missed, listed']} of {told['missed']}; the list holds {pct('listed pairs', 'pairs')} pairs"
    )
    print(f"false in clean stations: {pct('false', 'clean')}")


if __name__ == "__main__":
    main(*(int(a) for a in (*sys.argv[1:], *("1000", "8")[len(sys.argv) - 1 :])))
