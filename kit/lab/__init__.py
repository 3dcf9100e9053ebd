"""The lab: charts, panels, lessons and printed pages over the library."""

import sys

_GRAMMAR = "rfc3987_syntax"
if _GRAMMAR not in sys.modules:
    # altair's jsonschema compiles this grammar of web addresses, half the time that a first panel takes, and no chart asks it
    sys.modules[_GRAMMAR] = None  # type: ignore[assignment]
    try:
        import jsonschema
    finally:
        del sys.modules[_GRAMMAR]
