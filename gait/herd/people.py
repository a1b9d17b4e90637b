"""Who may do what."""

from __future__ import annotations

from collections.abc import Collection

ROLES: tuple[str, ...] = ("herdsperson", "vet", "manager", "trimmer")

ACTIONS: tuple[str, ...] = (
    "decide",
    "second_opinion",
    "identify",
    "trim",
    "plan",
    "rules",
    "people",
    "backup",
)

NOBODY_NAMED = "somebody"
"""What goes on record for a person who has given no name."""
_NOBODY_NAMED = (NOBODY_NAMED, "not named", "ohne Namen")  # as earlier versions wrote it

_RIGHTS: dict[str, frozenset[str]] = {
    "herdsperson": frozenset({"decide", "identify", "trim", "plan"}),
    "vet": frozenset({"decide", "second_opinion", "identify", "trim"}),
    "manager": frozenset({"decide", "identify", "trim", "plan", "rules", "people", "backup"}),
    "trimmer": frozenset({"identify", "trim"}),
}


def is_named(who: str) -> bool:
    """Say whether a name on record is that of a person, not the word for who gave none."""
    return who not in _NOBODY_NAMED


def may(roles: Collection[str], action: str) -> bool:
    """Say whether somebody with these roles may do this.

    Parameters
    ----------
    roles : collection of str
        Of :data:`ROLES`; an unknown role gives no right.
    action : str
        Of :data:`ACTIONS`.

    Raises
    ------
    ValueError
        If there is no such action: a misspelt one must not pass as forbidden to all.
    """
    if action not in ACTIONS:
        raise ValueError(f"unknown action {action!r}")
    return any(action in _RIGHTS.get(role, frozenset()) for role in roles)
