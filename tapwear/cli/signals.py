"""How a command ends before its end: by a signal, or since nobody takes its output any more. Never half done."""

from __future__ import annotations

import os
import signal
import sys
import threading
from types import FrameType
from typing import Any, TextIO

# Ctrl-C, the end that a system asks for, a closed terminal; not every system has all.
SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name))
AGAIN_S = 0.05  # our choice: how soon a stop that Python lost on its way is tried again


RECEIVED: list[int] = []  # the signal that asked for the end: typer tells every one that it catches itself as Ctrl-C


class Stopped(KeyboardInterrupt):
    """A signal that ends the command; what is being made is cleared away on the way out."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.exit_code = 128 + number  # as a shell tells it


def open_streams() -> None:
    """Gives closed standard streams the null device, so that nothing else gets their numbers."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDONLY if number == 0 else os.O_WRONLY)  # the lowest free number, so this one
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, "r" if number == 0 else "w", encoding="utf-8", closefd=False))  # noqa: SIM115


def nowhere(stream: TextIO) -> None:
    """From now on the stream leads nowhere, so that what is left in it does not fail once more at the end."""
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, stream.fileno())
        os.close(null)
    except (OSError, ValueError):  # not a real file
        pass


def flush_or_drop(stream: TextIO) -> None:
    """Has what was said written, and drops it where nobody takes it."""
    try:
        stream.flush()
    except OSError:
        nowhere(stream)


def stop_on_signals() -> None:
    """Every signal that asks for an end raises `Stopped`, once; those that come while it is under way are dropped."""
    under_way = False

    def stop(number: int, frame: FrameType | None) -> None:
        nonlocal under_way
        if not under_way:
            under_way = True
            RECEIVED[:] = [number]
            raise Stopped(number)

    def lost(unraisable: Any) -> None:
        """Python drops what is raised in a destructor or the like: a stop is then tried once more."""
        nonlocal under_way
        if not isinstance(unraisable.exc_value, Stopped):
            sys.__unraisablehook__(unraisable)
            return
        under_way = False
        number = unraisable.exc_value.exit_code - 128
        timer = threading.Timer(AGAIN_S, signal.raise_signal, (number,))
        timer.daemon = True
        timer.start()

    for one in SIGNALS:
        if signal.getsignal(one) is not signal.SIG_IGN:  # as under nohup
            signal.signal(one, stop)
    sys.unraisablehook = lost
