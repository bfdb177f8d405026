"""Which clocks a piece of work starts again when the record does not say so itself."""

from __future__ import annotations

# A service resets only the rules it names. These are the names taken when the record is silent (our choice, from
# what the work consists of): an overhaul opens the compartment and refills it, so the oil is new as well; new
# contacts are fitted with the compartment open and are a contact service too; an oil change touches no contact;
# degassing, a new breather or a repair start no clock.
DEFAULT_RESETS: dict[str, tuple[str, ...]] = {
    "overhaul": ("contact service", "oil change"),
    "contact replacement": ("contact replacement", "contact service"),
    "oil change": ("oil change",),
    "inspection": ("inspection",),
    "oil degassing": (),
    "breather change": (),
    "repair": (),
    "other": (),
}
NO_RESETS = "none"  # what to write for work that starts no clock


def resets_of(work: str, stated: tuple[str, ...] | None) -> tuple[str, ...]:
    """The tasks whose clock this work starts again: those stated, or the usual ones when nothing was stated.

    `("none",)` stands for work that starts no clock. Raises KeyError for an unknown kind of work.
    """
    if stated is None:
        return DEFAULT_RESETS[work]
    return () if stated == (NO_RESETS,) else stated
