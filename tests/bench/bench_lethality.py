"""How long do a long record and a long log take? Run by hand: python tests/bench/bench_lethality.py"""

import sys
from pathlib import Path
from timeit import repeat

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from kit.lethality import record, trace
from kit.lethality.record import traces_of_log
from kit.reading.logs import read_log


def cook(t, peak_C=76.0):
    return np.interp(t, [0, 1200, 3600, 4100, 6300, 8000, 10_500], [12, 33, 49, 70, peak_C, 15, 3])


def best(call, times=5):
    return 1000 * min(repeat(call, number=1, repeat=times))


t = np.arange(0, 10_500, 20.0)
rng = np.random.default_rng(0)
long_s = np.arange(2_000_000) * 0.00525
held = trace("core", long_s, cook(long_s) + rng.normal(0, 0.05, len(long_s)))
print(
    f"a record of 2,000,000 readings, every finding: {best(lambda: record(held, 'meat', cured=True), 2):.0f} ms"
)
short = trace("core", t, cook(t))
print(
    f"a record of {len(t)} readings, every finding: {best(lambda: record(short, 'meat', cured=True)):.0f} ms"
)
lines = "\n".join(
    (
        "time (s),core 1 (°C),core 2 (°C)",
        *(
            f"{s:.2f},{c:.2f},{c - 0.3:.2f}"
            for s, c in zip(np.arange(2_000_000) * 0.01, cook(long_s))
        ),
    )
).encode()
print(
    f"a log of 2,000,000 rows with two channels, read: {best(lambda: read_log(lines), 3):.0f} ms, wanted under 3000"
)
reading = read_log(lines)
print(
    f"its page, every finding of both: {best(lambda: record(traces_of_log(reading, reading.channels), 'meat', cured=True), 2):.0f} ms"
)
