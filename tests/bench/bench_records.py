"""How fast are records read, checked and summed up, in how much memory, and does it grow in line?   python tests/bench/bench_records.py   (by hand)

Each size runs in a process of its own, so that peak memory (VmHWM, on Linux) is its own; CPU seconds count imports too, and all threads. Limits: a million weighings in under 6 s and 1.5 GB.
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
sys.path.insert(0, sys.argv[1])
from kit.reading.records import read_records
start = time.perf_counter()
records = read_records(sys.argv[2], folder=None if sys.argv[3] == "memory" else sys.argv[3])
wide = records.weights()
print(time.perf_counter() - start, time.process_time(), int(re.search(r'VmHWM:\\s*(\\d+)', open('/proc/self/status').read())[1]) / 1e6, records.report.rows_used, records.report.rows_set_aside, len(records.findings))
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
            f"{'weighings':>10} {'how':>26} {'s':>6} {'CPU s':>6} {'GB':>6} {'us each':>8} {'used':>9} {'aside':>8} {'findings':>8}"
        )
        for size in (*SIZES, LARGE):
            for faulty in (0, 5) if size == 1_000_000 else (0,):
                path = Path(folder) / f"{size}_{faulty}.csv"
                write(path, size, faulty)
                pd.read_csv(path, dtype=str, keep_default_na=False).to_parquet(
                    path.with_suffix(".parquet")
                )
                out = Path(folder) / f"out_{size}_{faulty}"
                out.mkdir()
                for how, source, where in (
                    ("CSV", path, "memory"),
                    ("Parquet", path.with_suffix(".parquet"), "memory"),
                    ("CSV, folder", path, str(out)),
                ):
                    s, cpu, gb, used, aside, findings = measure(source, where)
                    print(
                        f"{size:>10,} {how + (f', {faulty} % faulty' if faulty else ''):>26} {s:6.2f} {cpu:6.2f} {gb:6.2f} {1e6 * s / size:8.2f} {used:>9,.0f} {aside:>8,.0f} {findings:>8,.0f}"
                    )
    for name, plants, count in found_of_planted(int(sys.argv[1]) if len(sys.argv) > 1 else 100):
        print(
            f"{name}: {count} of {plants} plants"
            + (" raise a finding" if name == "quiet" else " name the kind and the batch first")
        )
