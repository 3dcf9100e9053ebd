"""How fast is the emulsion model? Run by hand: python tests/bench/bench_emulsion.py"""

import sys
from pathlib import Path
from time import perf_counter

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from published_batters import base_batter

from kit.emulsion import calibrate, corrective_actions, hold
from kit.emulsion.break_map import break_map
from kit.emulsion.calibrate import MeasuredLoss
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults
from kit.emulsion.spread import cloud, spread

BASE = base_batter()
OWN = calibrate(
    [
        MeasuredLoss(BASE, water_out_g=4.7, fat_out_g=0.7),
        MeasuredLoss(BASE.but(end_C=20), total_out_g=11.0),
        MeasuredLoss(BASE, total_out_g=6.0),
    ]
)
CASES = {
    "hold, with working": (lambda: hold(BASE), None),
    "model, one batter": (lambda: work_out(BASE, defaults()), None),
    "spread, 2000 draws": (lambda: spread(BASE, cloud(np.random.default_rng(1))), None),
    "spread, 2000 draws, calibrated by 3 rows": (
        lambda: spread(BASE, cloud(np.random.default_rng(1), calibration=OWN)),
        None,
    ),
    "spread, 61 batters × 2000 draws": (
        lambda: spread(
            BASE.but(end_C=np.linspace(0, 30, 61)), cloud(np.random.default_rng(1), ndim=1)
        ),
        None,
    ),
    "break map 200 × 200, end temperature by fat": (
        lambda: break_map(BASE, "end_C", "fat_pct"),
        100,
    ),
    "break map 200 × 200, binder by salt (slowest)": (
        lambda: break_map(BASE, "binder_g", "salt_pct"),
        100,
    ),
    "corrective actions": (lambda: corrective_actions(BASE.but(end_C=20)), None),
    "calibrate, 3 rows": (lambda: calibrate(OWN.rows), None),
}


def median_ms(call, times: int = 15) -> float:
    call()
    taken = []
    for _ in range(times):
        start = perf_counter()
        call()
        taken.append(1000 * (perf_counter() - start))
    return float(np.median(taken))


if __name__ == "__main__":
    late = []
    for name, (call, limit_ms) in CASES.items():
        ms = median_ms(call)
        print(f"{name:50s} {ms:8.2f} ms" + (f"   (limit {limit_ms} ms)" if limit_ms else ""))
        late += [name] if limit_ms and ms > limit_ms else []
    sys.exit(f"too slow: {', '.join(late)}" if late else 0)
