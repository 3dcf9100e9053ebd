"""A result becomes an Altair chart. One file per room; style.py holds every colour and size.

Each chart has two functions: `<name>_chart(system)` builds the picture once, with fixed axes and named
data sets; `<name>_data(result, system)` gives the rows that move under the slider.
"""
