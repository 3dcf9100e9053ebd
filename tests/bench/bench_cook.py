"""Speed of kit.cook beside scipy's solvers on the same link, run by hand: python tests/bench/bench_cook.py

All solve the same rings, the same surface law and the same three-hour schedule. "Error" is the largest core error against the same rings in
steps of a second, so that only the stepping is compared; scipy's tolerance is the loosest that is at least as good as the kit. Ratios count.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from kit import cook
from kit.cook.march import RINGS, march
from kit.cook.stages import air, shower
from kit.cook.surface import SCALAR, exchange, flux

LINK = cook.Link(
    26.0, moisture_diffusivity_m2_per_s=np.inf
)  # a skin that stays wet: what the other solvers have
DRYING = cook.Link(26.0)
SCHEDULE = (
    air(20, 55, humidity_pct=25, h_W_per_m2K=25),
    air(40, 65, humidity_pct=40, h_W_per_m2K=25, wetness=0.6),
    air(45, 78, humidity_pct=90, h_W_per_m2K=25, wetness=0.6),
    shower(10, 15, h_W_per_m2K=300),
    air(65, 2, humidity_pct=85, h_W_per_m2K=20, wetness=0.5),
)


def best(call, repeats=7):
    times = []
    for _ in range(repeats):
        start = (
            time.process_time()
        )  # what this process used: other work on the machine does not count
        answer = call()
        times.append(time.process_time() - start)
    return 1000 * min(times), answer


def scipy_run(method, rtol):
    """The ring network by solve_ivp, stage by stage, with the exact Jacobian where the method takes one."""
    n, R = RINGS, LINK.radius_m
    edges = np.concatenate([[0], (np.arange(n) + 0.5) / n, [1]])
    volumes = np.diff(edges**2) / 2
    link = edges[1:-1] * n
    net = np.zeros((n + 1, n + 1))
    for i, g in enumerate(link):
        net[i, i] -= g
        net[i + 1, i + 1] -= g
        net[i, i + 1] += g
        net[i + 1, i] += g
    net = net / volumes[:, None] * LINK.diffusivity_m2_per_s / R**2
    push = 1 / (LINK.density_kg_per_m3 * LINK.heat_capacity_J_per_kgK * R * volumes[-1])
    T, begin, times, core = np.full(n + 1, LINK.start_C), 0.0, [], []
    for stage in SCHEDULE:
        law = exchange(stage, LINK.diameter_mm, LINK.start_C, LINK.water_activity, float, SCALAR)

        def rhs(_, y):  # clipped: RK45 tries states far outside before it shortens its step
            out = net @ y
            out[-1] += push * flux(min(max(float(y[-1]), -40.0), 150.0), law)[0]
            return out

        def jac(_, y):
            out = net.copy()
            out[-1, -1] += push * flux(min(max(float(y[-1]), -40.0), 150.0), law)[1]
            return out

        run = solve_ivp(
            rhs,
            (0, stage.seconds),
            T,
            method,
            rtol=rtol,
            atol=1e-3 * rtol / 1e-4,
            **({"jac": jac} if method in ("BDF", "Radau") else {}),
        )
        times.append(begin + run.t[1:])
        core.append(run.y[0, 1:])
        T, begin = run.y[:, -1], begin + stage.seconds
    return np.concatenate(times), np.concatenate(core)


def main():
    fine = march(LINK, SCHEDULE, step_s=1.0)
    finest = march(LINK, SCHEDULE, rings=120, step_s=1.0)

    def error(seconds, core, fine=fine):
        return float(np.abs(core - np.interp(seconds, fine.seconds, fine.probes_C[:, 0])).max())

    ours_ms, run = best(lambda: march(LINK, SCHEDULE))
    ours = error(run.seconds, run.probes_C[:, 0])
    print(
        f"kit                 {ours_ms:8.2f} ms   error {ours:.3f} K (with the rings {error(run.seconds, run.probes_C[:, 0], finest):.3f} K)   "
        f"{len(run.seconds) - 1} steps"
    )
    whole_ms, _ = best(lambda: cook.cook(LINK, SCHEDULE, (70,)))
    print(
        f"kit, whole result   {whole_ms:8.2f} ms   limit 12 ms   {'ok' if whole_ms < 12 else 'TOO SLOW'}"
    )
    drying_ms, _ = best(lambda: march(DRYING, SCHEDULE, released_pct=5.0))
    print(
        f"kit, drying skin    {drying_ms:8.2f} ms   {drying_ms / ours_ms:6.2f} times a skin that stays wet, wanted 1.5   {'ok' if drying_ms / ours_ms < 1.5 else 'TOO SLOW'}"
    )
    for method, wanted in (("RK45", 10), ("BDF", 2), ("Radau", 1)):
        for rtol in (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 1e-6):  # loosest first
            off = error(*scipy_run(method, rtol))
            if off <= ours:
                break
        ms, _ = best(lambda: scipy_run(method, rtol), 3)
        print(
            f"{method:6s} rtol {rtol:.0e}   {ms:8.2f} ms   error {off:.3f} K   {ms / ours_ms:6.1f} times the kit, wanted {wanted}   "
            f"{'ok' if ms / ours_ms >= wanted else 'TOO SLOW'}"
        )
    many = replace(LINK, diameter_mm=np.random.default_rng(1).uniform(18, 32, 1000))
    ms, _ = best(lambda: march(many, SCHEDULE), 4)
    print(f"1000 links          {ms:8.2f} ms   limit 400 ms   {'ok' if ms < 400 else 'TOO SLOW'}")
    ms, _ = best(lambda: cook.one_probe(LINK, SCHEDULE[:3], 70), 3)
    print(f"one probe, 1000     {ms:8.2f} ms")


if __name__ == "__main__":
    main()
