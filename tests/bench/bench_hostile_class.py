"""Is any fault of a class's result files silent? By hand: python tests/bench/bench_hostile_class.py [files] [seed]"""

import sys
import traceback
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[n]) for n in (2, 1)]

from hostile_class import accused, hostile  # noqa: E402


def main(count: int, seed: int) -> None:
    kinds, wrong, crashed = Counter(), Counter(), 0
    for n, bad in enumerate(hostile(count, seed)):
        kinds[bad.kind] += 1
        try:
            said = accused(bad)
        except Exception:  # the benchmark counts what gets through
            crashed += 1
            said = [traceback.format_exc(limit=-2)]
        if said:
            wrong[bad.kind] += 1
            if wrong[bad.kind] <= 2:
                print(f"{n} {bad.kind}: {said[0]}")
    print(
        f"{count} hand-ins of {len(kinds)} kinds, seed {seed}: silent or half said {sum(wrong.values())}, tracebacks {crashed}"
    )
    print(dict(wrong))


if __name__ == "__main__":
    main(*(int(a) for a in (*sys.argv[1:], *("1000", "10")[len(sys.argv) - 1 :])))
