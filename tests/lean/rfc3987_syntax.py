"""Found before the library of this name while `python3 -m kit check` runs. jsonschema takes that as not installed.

It would compile the grammar of web addresses at its import, 1.5 s in each process that imports nbformat (the run itself, its workers, every
server), for a check that nothing here asks for.
"""

raise ImportError("left out while the tests run: see tests/lean")
