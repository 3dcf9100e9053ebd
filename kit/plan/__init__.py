"""What is to be done for this batch: which mix, what to weigh, how warm, how long, what to measure, and what to change next time?

One sheet goes in, with the meats on hand and the fat that is wanted; the answers of the other rooms are set in the order of the work.
"""

from kit.plan.batch_plan import plan_batch

__all__ = ["plan_batch"]
