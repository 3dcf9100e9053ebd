"""The pictures of 09_across_batches.

over_time   loss share over time; a control chart with its phases and changes; two plants side by side
bars        what varies, what goes with it, what it costs
"""
