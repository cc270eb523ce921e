"""Dates to act on: supers, splits, stores, what to leave, ripe honey, days fit to open a hive. Pure.

advice (what every advice is made of) -> hive (what is known of one hive now) -> ahead (what the
futures mean to it) -> supers, splits, stores, winter (one room a question). Every room reads the
same futures (`flow.scenarios.Scenarios`). Words live in `report`: advice carries short keys.
"""
