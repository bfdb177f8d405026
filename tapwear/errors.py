"""Everything that can stop Tapwear, as one family; each member carries the exit code it ends with.

    TapwearError            1   internal error
    ├── UsageError          2   the command was not understood, or names something that is not there
    ├── DataRejected        3   some or all of the data handed in was not taken
    ├── StoreError          4   no store, a locked store, or a file that is not one of ours
    │   ├── OutcomeUnknown  4   a write whose answer was lost: nobody can say here whether it landed
    │   └── SchemaError     5   a store of another schema version
    ├── PlanIncomplete      6   a plan was made, and not every job found a place
    ├── FoundWrong          7   a look through the store found something that cannot be right
    └── MissingExtra        2   an optional package is not installed
"""

from __future__ import annotations


class TapwearError(Exception):
    """What was needed, what was found, what to do next, in one or two sentences."""

    exit_code = 1


class UsageError(TapwearError):
    exit_code = 2


class DataRejected(TapwearError):
    exit_code = 3


class StoreError(TapwearError):
    exit_code = 4


class OutcomeUnknown(StoreError):
    """A write of which nobody can say here whether it landed."""


class SchemaError(StoreError):
    exit_code = 5


class PlanIncomplete(TapwearError):
    exit_code = 6


class FoundWrong(TapwearError):
    exit_code = 7


class MissingExtra(TapwearError):
    """An optional package is needed; the message holds the exact line that installs it."""

    exit_code = 2

    def __init__(self, package: str, what: str, extra: str = "report") -> None:
        super().__init__(
            f"{what} needs the package {package}, which is not installed. "
            f"Run: python -m pip install 'tapwear[{extra}]'"
        )
