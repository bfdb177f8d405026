"""Before anything is recorded or said, a clock that is behind what the store holds is told, and asked about."""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import typer

from tapwear.cli.context import now, open_the_store, say, today
from tapwear.cli.entering import at_a_terminal, confirmed
from tapwear.errors import TapwearError

if TYPE_CHECKING:
    from tapwear.store.engine import Store

APART = timedelta(hours=1)  # how far the clocks of two machines may be apart: our choice


def ask_about_clock(context: Any) -> None:
    """Asks where the newest entry was recorded after now, since one of the two clocks is wrong; tells it where nobody
    can answer. What hinders it is left to the command itself, which says it better. Raises typer.Abort for no."""
    from tapwear.store.ahead import newest_entry

    try:
        store = open_the_store(context)
        with store.rows() as connection:
            newest = newest_entry(connection)
        store.close()
    except TapwearError:
        return
    if newest is None or now() >= newest - APART:
        return
    words = (
        f"The clock of this machine says {now():%Y-%m-%d %H:%M} UTC, and the newest entry in the store was recorded at "
        f"{newest:%Y-%m-%d %H:%M} UTC: one of the two clocks is wrong."
    )
    if not at_a_terminal():
        say(f"{words} The entry carries this machine's time.")
    elif not confirmed(f"{words} Record all the same"):
        raise typer.Abort()


def say_ahead(store: Store, as_of: str | None, tags: Collection[str] | None = None) -> None:
    """Says what is left out since it is dated after today, as by somebody in another zone or by a clock that is wrong.

    as_of : the day that was asked for in so many words, which is no surprise to anybody; tags : only of these units
    """
    if as_of is not None:
        return
    from tapwear.store.ahead import dated_after

    with store.rows() as connection:
        found = dated_after(connection, today(), tags)
    if found:
        last = max(day for days in found.values() for day in days)
        counted = ", ".join(f"{len(days):,} {table}{'s' if len(days) != 1 else ''}" for table, days in found.items())
        say(
            f"Not counted, since dated after {today()}, which is today by this machine's clock: {counted}. "
            f"To count them: --as-of {last}"
        )
