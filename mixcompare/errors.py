"""Errors with a message for a person: which file, what is wrong, what to do.

::

    MixcompareError
    ├── AudioFileError     the audio cannot be read or holds nothing to compare
    ├── ParameterError     an argument makes no sense (also a ValueError)
    ├── AlignmentError     a time map cannot be used or made
    ├── ScoreError         a score cannot be read or is of other music (also a ValueError)
    ├── OutputError        the report cannot be written
    └── ClusterError       the machines that share the work cannot be reached
"""


class MixcompareError(Exception):
    """Root of the family; catch this to catch them all."""


class AudioFileError(MixcompareError):
    """The audio cannot be read, or there is nothing in it to compare."""


class ParameterError(MixcompareError, ValueError):
    """An argument is outside what is allowed."""


class AlignmentError(MixcompareError):
    """A time map cannot be made or used."""


class ScoreError(MixcompareError, ValueError):
    """A score cannot be read, or is of other music."""


class OutputError(MixcompareError):
    """A result cannot be written."""


class ClusterError(MixcompareError):
    """The machines that share the work cannot be reached, or went away."""
