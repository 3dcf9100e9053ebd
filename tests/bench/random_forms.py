"""Two thousand random forms through the whole plan and its page: python tests/bench/random_forms.py [HOW_MANY]

No dose above a ceiling, no negative weight, no page whose numbers disagree (tests/test_plan.py says how each is checked).
"""

import sys
import time

from hypothesis import HealthCheck, given, settings

from kit.plan import plan_batch
from tests.test_plan import assert_plan_is_sound, forms


def main(count: int) -> None:
    stopped, missed, done = 0, 0, 0

    @given(forms())
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    def run(form):
        nonlocal stopped, missed, done
        plan = plan_batch(form)
        assert_plan_is_sound(plan)
        done += 1
        stopped += plan.stop
        missed += bool(plan.mix and not plan.mix.reached)

    began = time.perf_counter()
    run()
    print(
        f"{done} forms in {time.perf_counter() - began:.0f} s, none unsound; "
        f"{stopped} stopped by the cure calculation, {missed} could not reach the fat wanted"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 2000)
