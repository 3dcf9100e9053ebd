"""Charts of lesson 03: the warming batter, ice against water and cold meat, the map, the machines, stop by stop, and a log."""
from kit.charts.chop.bowl import (ENDS_C, ends_chart, ends_data, ends_text, heat_chart, heat_data, heat_text, log_chart, log_data, machines_chart, machines_data,
                                  machines_text, map_chart, map_data, map_text, path_chart, path_data, path_text, same_chart, same_data, time_chart)
from kit.charts.chop.route import parts_chart, parts_data, parts_text, stops_chart, stops_data, stops_text

__all__ = ["ENDS_C", "ends_chart", "ends_data", "ends_text", "heat_chart", "heat_data", "heat_text", "log_chart", "log_data", "machines_chart", "machines_data",
           "machines_text", "map_chart", "map_data", "map_text", "parts_chart", "parts_data", "parts_text", "path_chart", "path_data", "path_text", "same_chart",
           "same_data", "stops_chart", "stops_data", "stops_text", "time_chart"]
