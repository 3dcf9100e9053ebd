"""What the first notebook costs: python tests/bench/bench_start.py. Milliseconds are of this machine."""

import subprocess
import sys
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))


def importing(times: int = 5) -> float:
    """`import kit` in a process that has NumPy and pandas already, best of `times`, in ms."""
    code = "import numpy, pandas, time; t = time.perf_counter(); import kit; print(1000 * (time.perf_counter() - t))"
    return min(
        float(
            subprocess.run(
                [sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True
            ).stdout
        )
        for _ in range(times)
    )


def timed(call, times: int = 50) -> float:
    call()
    start = perf_counter()
    for _ in range(times):
        call()
    return 1000 * (perf_counter() - start) / times


def main() -> None:
    from kit.chain import follow
    from kit.chain.vary import Amounts, amounts_of, varied
    from kit.lab.panels.sheets import demo_sheet
    from kit.lab.panels.start import batch_panel
    from kit.meat_block import compose
    from kit.meat_block.mix import cooked
    from kit.rules import judge, rule_set
    from kit.rules.facts import facts_of

    sheet, rules = demo_sheet(), rule_set("us_frankfurter")
    now, panel = amounts_of(sheet), batch_panel()
    moved = Amounts(20, now.ice_pct_of_meat, now.binder_pct_of_batch, now.salt_pct_of_batch)
    rows = [
        ("import kit, beyond NumPy and pandas", importing(), 150),
        (
            "composition and standards of one sheet",
            timed(
                lambda: (
                    cooked(compose(sheet.materials, sheet.kg), 90),
                    judge(facts_of(compose(sheet.materials, sheet.kg), 90), rules),
                )
            ),
            1,
        ),
        ("a sheet varied and followed", timed(lambda: follow(varied(sheet, moved), 90)), None),
        (
            "slider move in the kernel: compute and view",
            timed(lambda: panel.set(ice_pct_of_meat=30 + panel._tick % 7)),
            25,
        ),
    ]
    print(f"{'what':48}{'ms':>8}{'budget':>8}")
    for what, ms, budget in rows:
        print(f"{what:48}{ms:8.2f}{budget if budget else '':>8}")


if __name__ == "__main__":
    main()
