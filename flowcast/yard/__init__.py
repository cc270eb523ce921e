"""The yard folder: read, checked, and what is wrong with it said with file, line and cure."""

from flowcast.yard.folder import Yard, read_yard, yard_at

__all__ = ["Yard", "read_yard", "yard_at"]
