"""What can go wrong, as a tree. Every message says what, where, and the cure.

FlowcastError
├── InputError (also a ValueError)      the user's own files or options
│   ├── MissingColumnError              a column that the yard file names is not there
│   ├── UnitBoundsError                 a value that no weather or hive can have
│   └── TimeIndexError                  stamps that cannot be read, or lie in no order
├── SourceError                         a weather source
│   ├── SourceUnavailable               it did not answer, or there is none
│   │   └── NothingThere                it answered that it has nothing for this place and span
│   └── SourceFormatError               it answered in a shape we do not know
└── NotEnoughDataError                  too little to say anything honest
"""


class FlowcastError(Exception):
    """Anything flowcast itself raises; the command line prints it as one line and exits 1."""


class InputError(FlowcastError, ValueError):
    """Something in the user's own files or options; the message names file, line and cure."""


class MissingColumnError(InputError):
    """A column that the yard file names is not in the data file."""


class UnitBoundsError(InputError):
    """A value outside what the quantity can be; usually a wrong unit."""


class TimeIndexError(InputError):
    """Time stamps that cannot be read or do not make a series."""


class SourceError(FlowcastError):
    """A weather source that cannot be used."""


class SourceUnavailable(SourceError):
    """No source has weather for this yard and span."""


class NothingThere(SourceUnavailable):
    """A source answered that it has nothing for this place and span."""


class SourceFormatError(SourceError):
    """A source answered in a shape this version does not know."""


class NotEnoughDataError(FlowcastError):
    """Too little data for an honest answer."""
