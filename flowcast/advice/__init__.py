"""Dated advice, read off the same futures as the outlook. Pure.

visits (days fit to open a hive), when (what a dated advice is made of), hive (what is known of one hive
now), ahead (what the futures mean to it); then one room a question: supers, splits, stores, winter,
ripe (whether honey is likely ripe), refractometer (water in honey), start (a new colony), after (supers
off, and the time before winter bees are reared). Words live in `report`: advice carries short keys.
"""
