"""How fast are records read, checked and summed up, in how much memory, and does it grow in line?   python tests/bench/bench_records.py   (by hand)

Each run is a process of its own, so that peak memory (VmHWM, on Linux) is its own; CPU seconds are of the reading alone, with the loading of what it uses, and of all threads.
The yardstick is pandas' own read and group-by of the same file: a million weighings in at most 3 times its CPU seconds and 1.3 times its memory.
The last table counts, over invented plants, what is found of what was planted, and how many quiet plants raise anything.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
SIZES = (250_000, 500_000, 1_000_000)
LARGE = 4_000_000
PLAN = (
    ("receive", "out", "", 102),
    ("trim", "in", "", 102),
    ("trim", "scrap", "", 1.5),
    ("trim", "out", "", 100),
    ("grind", "in", "", 100),
    ("grind", "out", "", 99.5),
    ("chop", "in", "", 99.5),
    ("chop", "addition", "ice", 28),
    ("chop", "addition", "salt", 3),
    ("chop", "out", "", 130),
    ("stuff", "in", "", 130),
    ("stuff", "out", "", 128.5),
    ("cook", "in", "", 128.5),
    ("cook", "out", "", 116),
    ("chill", "in", "", 116),
    ("chill", "out", "", 113),
    ("peel", "in", "", 113),
    ("peel", "out", "", 111),
    ("pack", "in", "", 111),
    ("pack", "out", "", 110),
)
ONE = """
import re, sys, time
import pandas as pd
sys.path.insert(0, sys.argv[1])
from kit.reading.records import read_records
start, cpu = time.perf_counter(), time.process_time()
if sys.argv[3] == "kit":
    records = read_records(sys.argv[2])
    records.weights()
    r = records.report
    said = r.rows_used, r.rows_set_aside, len(records.findings)
else:
    frame = pd.read_csv(sys.argv[2]) if sys.argv[2].endswith(".csv") else pd.read_parquet(sys.argv[2])
    kg = pd.to_numeric(frame["Weight (kg)"], errors="coerce")
    said = len(kg.groupby([frame["Batch"], frame["Stage"], frame["In/Out"]]).sum()), 0, 0
print(time.perf_counter() - start, time.process_time() - cpu, int(re.search(r'VmHWM:\\s*(\\d+)', open('/proc/self/status').read())[1]) / 1e6, *said)
"""


def write(path: Path, weighings: int, faulty_pct: float = 0.0, seed: int = 1) -> None:
    """Invented records of twenty weighings a batch; `faulty_pct` of the rows hold a weight that cannot be read."""
    rng, batches, stages = np.random.default_rng(seed), weighings // len(PLAN), len(PLAN)
    kg = np.round(
        rng.normal(3, 0.08, batches)[:, None]
        * np.array([share for *_, share in PLAN])
        * np.exp(rng.normal(0, 0.004, (batches, stages))),
        2,
    ).ravel()
    batch = np.repeat(np.arange(batches), stages)
    time = (
        np.datetime64("2020-01-01T06:00:00") + (np.arange(batches) * 1900).astype("timedelta64[s]")
    )[:, None] + (np.arange(stages) * 1800).astype("timedelta64[s]")
    text = kg.astype(str).astype(object)
    text[rng.random(kg.size) < faulty_pct / 100] = "n/a"
    pd.DataFrame(
        {
            "Batch": np.char.add("B", batch.astype(str)),
            "Date": pd.Series(time.ravel()).dt.strftime("%Y-%m-%d %H:%M:%S"),
            "Stage": [p[0] for p in PLAN] * batches,
            "In/Out": [p[1] for p in PLAN] * batches,
            "Item": [p[2] for p in PLAN] * batches,
            "Weight (kg)": text,
            "Lot": np.char.add("L", (batch // 8).astype(str)),
            "Operator": np.array(["Ann", "Bo", "Cy"])[batch % 3],
            "Cooker": np.array(["1", "2"])[batch % 2],
            "Scale": "S1",
        }
    ).to_csv(path, index=False)


def measure(path: Path, how: str) -> list[float]:
    said = subprocess.run(
        [sys.executable, "-c", ONE, str(ROOT), str(path), how],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    return [float(word) for word in said.split()]


def found_of_planted(plants: int, first_seed: int = 1000) -> list[tuple[str, int, int]]:
    """(what was planted, plants, plants where the finding names the kind and the batch, or, when quiet, that raise anything)."""
    from test_records_findings import at, plant

    from kit.reading.records import read_records

    counts = dict.fromkeys(
        (
            "quiet",
            "unit error",
            "swapped in and out",
            "grew without an addition",
            "duplicate batch",
        ),
        0,
    )
    for seed in range(first_seed, first_seed + plants):
        rng = np.random.default_rng(seed)
        batches = int(rng.integers(20, 201))
        frame, b = plant(seed, batches), f"B{rng.integers(batches)}"
        counts["quiet"] += bool(read_records(frame).findings)
        slip, swap, grown = frame.copy(), frame.copy(), frame.copy()
        stage, kind = [("chop", "in"), ("stuff", "out"), ("cook", "in"), ("pack", "out")][
            rng.integers(4)
        ]
        slip.loc[at(frame, b, stage, kind), "Weight (kg)"] *= 2.20462
        (
            swap.loc[at(frame, b, "cook", "in"), "Weight (kg)"],
            swap.loc[at(frame, b, "cook", "out"), "Weight (kg)"],
        ) = (
            frame.loc[at(frame, b, "cook", "out"), "Weight (kg)"].item(),
            frame.loc[at(frame, b, "cook", "in"), "Weight (kg)"].item(),
        )
        grown.loc[at(frame, b, "chill", "out"), "Weight (kg)"] *= 1.12
        twice = pd.concat([frame, frame[frame["Batch"] == b]], ignore_index=True)
        for name, planted in (
            ("unit error", slip),
            ("swapped in and out", swap),
            ("grew without an addition", grown),
            ("duplicate batch", twice),
        ):
            counts[name] += bool(
                [f for f in read_records(planted).findings[:1] if (f.kind, f.batch) == (name, b)]
            )
    return [(name, plants, count) for name, count in counts.items()]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        print(
            f"{'weighings':>10} {'how':>18} {'s':>6} {'CPU s':>6} {'GB':>6} {'us each':>8} {'used':>9} {'aside':>8} {'findings':>8} {'x CPU':>6} {'x GB':>6}"
        )
        for size in (*SIZES, LARGE):
            for faulty in (0, 5) if size == 1_000_000 else (0,):
                csv = Path(folder) / f"{size}_{faulty}.csv"
                write(csv, size, faulty)
                parquet = csv.with_suffix(".parquet")
                pd.read_csv(csv, dtype=str, keep_default_na=False).to_parquet(parquet)
                for how, source in (("CSV", csv), ("Parquet", parquet)):
                    _, own, own_gb, *_ = measure(source, "pandas")
                    s, cpu, gb, used, aside, findings = measure(source, "kit")
                    print(
                        f"{size:>10,} {how + (f', {faulty} % faulty' if faulty else ''):>18} {s:6.2f} {cpu:6.2f} {gb:6.2f} {1e6 * s / size:8.2f} {used:>9,.0f} {aside:>8,.0f} {findings:>8,.0f} {cpu / own:6.2f} {gb / own_gb:6.2f}"
                    )
    for name, plants, count in found_of_planted(int(sys.argv[1]) if len(sys.argv) > 1 else 100):
        print(
            f"{name}: {count} of {plants} plants"
            + (" raise a finding" if name == "quiet" else " name the kind and the batch first")
        )
