"""Everything that can stop a command, drawn as one small tree.

    HarvestError            exit code 1: a fault of the program
    ├── FieldError          a table left a stage in a shape that its register forbids
    └── InputError          exit code 2: something given to the program can't be used
        ├── ProjectError    the project file
        ├── LayerError      footprints, parcels, or another vector layer
        ├── GridError       a rainfall grid
        ├── ResultError     a result folder that is missing, foreign or incomplete
        └── OutputError     the place where results should go

A message is one or two sentences: what is wrong, where (file, layer, column, row), what to do.
"""

from __future__ import annotations


class HarvestError(Exception):
    """A fault of the program, told in words."""

    exit_code = 1


class FieldError(HarvestError):
    """A table does not match its register entry."""


class InputError(HarvestError):
    """Something given to the program can't be used; the message says what to do about it."""

    exit_code = 2


class ProjectError(InputError):
    """The project file can't be used."""


class LayerError(InputError):
    """A vector layer can't be used."""


class GridError(InputError):
    """A rainfall grid can't be used."""


class ResultError(InputError):
    """A result folder is missing, incomplete, or not one of ours."""


class OutputError(InputError):
    """Results can't be written where they should go."""
