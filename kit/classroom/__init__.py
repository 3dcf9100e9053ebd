"""Stations, clock times, weigh sheets, shopping list, cards and codes of a class that runs an experiment of `kit.trial`."""
