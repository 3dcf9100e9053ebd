"""2,000 random sheets of ordinary range through every room, by hand: python tests/bench/bench_random_sheets.py [count] [seed]"""

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from random_sheets import ROOMS, SEED, random_sheet

from kit.chain import follow
from kit.reading import read_sheet


def main(count: int = 2000, seed: int = SEED):
    rng, wrong, start = np.random.default_rng(seed), Counter(), time.process_time()
    for _ in range(count):
        data = random_sheet(rng)
        try:
            followed = follow(read_sheet(data))
            for room in ROOMS:
                getattr(followed, room)
            if "not computed" in str(followed):
                wrong["printed as not computed"] += 1
        except Exception as error:  # every kind counts here
            wrong[f"{type(error).__name__}: {error}"] += 1
    print(
        f"{count} sheets, seed {seed}: {sum(wrong.values())} without an answer, {time.process_time() - start:.0f} s of processor time"
    )
    for words, times in wrong.most_common():
        print(f"  {times} × {words}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
