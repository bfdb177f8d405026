"""Keeps a solver's stray lines off standard output.

HiGHS 1.12 now and then writes a line of its own past all its switches; it would stand in the middle of a table or of
JSON. The descriptor itself is turned away, since compiled code does not ask Python.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_STDOUT = 1
_lock = threading.Lock()


@contextmanager
def quiet_stdout() -> Iterator[None]:
    """Whatever is written to standard output meanwhile is lost; standard error stays. Of several at a time only the
    first turns it away."""
    if not _lock.acquire(blocking=False):
        yield
        return
    try:
        with suppress(AttributeError, ValueError):  # no standard output, or a closed one
            sys.stdout.flush()
        kept = _dup()
        try:
            yield
        finally:
            if kept is not None:
                with suppress(OSError, TypeError, AttributeError):  # only where the C library can be asked
                    ctypes.CDLL(None).fflush(None)
                os.dup2(kept, _STDOUT)
                os.close(kept)
    finally:
        _lock.release()


def _dup() -> int | None:
    """A copy of standard output, which now leads nowhere; None where there is none."""
    try:
        kept = os.dup(_STDOUT)
    except OSError:
        return None
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, _STDOUT)
    os.close(nowhere)
    return kept
