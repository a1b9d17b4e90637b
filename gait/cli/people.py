"""Who may be named by ``--by``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gait.errors import StoreError
from gait.herd.people import may

if TYPE_CHECKING:
    from gait.store import Store


def must_know(store: Store, name: str, action: str) -> None:
    """Refuse a name that is none of the farm's people who may do this, as the pages do.

    Parameters
    ----------
    store : Store
    name : str
        As given by ``--by``.
    action : str
        Of :data:`gait.herd.people.ACTIONS`.

    Raises
    ------
    StoreError
        With the names. Where nobody is set up, any name is taken.
    """
    people = store.people.all()
    known = [person.name for person in people if may(person.roles, action)]
    if people and name not in known:
        names = ", ".join(known) or "nobody yet, see Settings, People"
        raise StoreError(
            f"{name} is none of this farm's people who may do this.", f"They are: {names}"
        )
