"""The lab: charts, panels, lessons and printed pages over the library."""
