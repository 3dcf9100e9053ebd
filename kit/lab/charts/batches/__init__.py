"""The pictures of 09_across_batches.

over_time   loss share over time; a control chart with its phases and changes
bars        what varies, what it costs
"""
