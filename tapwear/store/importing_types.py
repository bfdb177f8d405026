"""What taking one row gives, and how a row is refused."""

from __future__ import annotations

from dataclasses import dataclass

from tapwear.findings import Finding, Severity


@dataclass(frozen=True)
class Result:
    """What became of one row: stored or not, and what is to be said about it. Not stored, nothing said: known."""

    findings: tuple[Finding, ...] = ()
    stored: bool = False


class Refused(Exception):
    """A row cannot be taken: the field, what was found there, what to do."""

    def __init__(self, field: str, found: str, remedy: str) -> None:
        super().__init__(found)
        self.field, self.found, self.remedy = field, found, remedy


def remark(field: str, found: str, remedy: str, severity: Severity) -> Finding:
    """A finding whose file and line are filled in by whoever knows the row."""
    return Finding("", 0, field, found, remedy, severity)
