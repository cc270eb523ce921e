"""Dated advice, read off the same futures as the outlook. Pure.

visits (days fit to open a hive), refractometer (water in honey), ripe (whether honey is likely ripe),
start (a new colony), after (supers off, and the time before winter bees are reared).
"""
