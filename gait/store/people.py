"""People with their roles and PIN, and the farm's settings."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import insert, select, update

from gait.errors import StoreError
from gait.herd.records import Person
from gait.store import tables as t
from gait.store.database import Database
from gait.store.rows import record
from gait.store.types import utc_now

_TRIES = 5
_LOCKED_FOR = timedelta(minutes=5)
_COST = 2**14  # scrypt with r=8 and p=1 then takes 16 MiB and some hundredths of a second


class People:
    """Who works with the records."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(
        self, name: str, roles: Collection[str], *, pin: str | None = None, active: bool = True
    ) -> Person:
        """Add a person, or change roles, PIN (None leaves it) or whether they still work here.

        Raises
        ------
        StoreError
            If the name is empty or the PIN is not at least four digits.
        """
        name = name.strip()
        if not name:
            raise StoreError("A person needs a name.", "")
        if pin is not None and not (pin.isdecimal() and len(pin) >= 4):
            raise StoreError("A PIN has at least four digits.", "Choose another PIN.")
        values: dict[str, Any] = {"roles": sorted(set(roles)), "active": active}
        if pin is not None:
            values |= {"pin_hash": hash_pin(pin), "failed_tries": 0, "locked_until": None}
        with self._database.write() as connection:
            p = t.person
            known = connection.scalar(select(p.c.name).where(p.c.name == name))
            if known is None:
                connection.execute(insert(p).values({"failed_tries": 0} | values | {"name": name}))
            else:
                connection.execute(update(p).where(p.c.name == name).values(values))
            row = connection.execute(select(p).where(p.c.name == name)).mappings().one()
        return _person(row)

    def all(self, *, include_inactive: bool = False) -> list[Person]:
        """Return the people in order of name."""
        question = select(t.person).order_by(t.person.c.name)
        if not include_inactive:
            question = question.where(t.person.c.active.is_(True))
        with self._database.read() as connection:
            return [_person(row) for row in connection.execute(question).mappings()]

    def get(self, name: str) -> Person | None:
        """Return one person."""
        question = select(t.person).where(t.person.c.name == name)
        with self._database.read() as connection:
            row = connection.execute(question).mappings().first()
        return None if row is None else _person(row)

    def sign_in(self, name: str, pin: str, *, now: datetime | None = None) -> Person:
        """Return the person if the PIN is right.

        Raises
        ------
        StoreError
            If name or PIN is wrong, or after five wrong PINs for five minutes.
        """
        now = now or utc_now()
        p = t.person
        with self._database.write() as connection:
            row = (
                connection.execute(select(p).where(p.c.name == name).with_for_update())
                .mappings()
                .first()
            )
            if row is None or not row["active"] or row["pin_hash"] is None:
                raise StoreError("Name or PIN is not right.", "Try again.")
            if row["locked_until"] and now < row["locked_until"]:
                raise StoreError("Too many wrong PINs.", "Wait five minutes, then try again.")
            right = pin_matches(pin, row["pin_hash"])
            tries = 0 if right else row["failed_tries"] + 1
            locked = now + _LOCKED_FOR if tries >= _TRIES else None
            connection.execute(
                update(p)
                .where(p.c.name == name)
                .values(failed_tries=0 if locked else tries, locked_until=locked)
            )
        if not right:
            raise StoreError("Name or PIN is not right.", "Try again.")
        return _person(row)


class Settings:
    """The farm's settings. A change is a new line, so it stays known who changed what."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def get(self, name: str, default: Any = None) -> Any:
        """Return the newest value of a setting, a plain JSON value."""
        s = t.setting.c
        question = select(s.value).where(s.name == name).order_by(s.setting_id.desc()).limit(1)
        with self._database.read() as connection:
            row = connection.execute(question).first()
        return default if row is None else row[0]

    def put(self, name: str, value: Any, *, who: str) -> None:
        """Keep a new value."""
        values = {"name": name, "value": value, "who": who, "at": utc_now()}
        with self._database.write() as connection:
            connection.execute(insert(t.setting).values(values))

    def history(self, name: str) -> list[tuple[datetime, str, Any]]:
        """Return (when, who, value) of every change, oldest first."""
        s = t.setting.c
        question = select(s.at, s.who, s.value).where(s.name == name).order_by(s.setting_id)
        with self._database.read() as connection:
            return [(at, who, value) for at, who, value in connection.execute(question)]


def hash_pin(pin: str) -> str:
    """Return a salted scrypt hash of a PIN; the PIN itself is kept nowhere."""
    salt = secrets.token_bytes(16)
    return f"scrypt${_COST}${salt.hex()}${_scrypt(pin, salt, _COST).hex()}"


def pin_matches(pin: str, hashed: str) -> bool:
    """Say whether a PIN belongs to a hash, in constant time."""
    _, cost, salt, wanted = hashed.split("$")
    return hmac.compare_digest(_scrypt(pin, bytes.fromhex(salt), int(cost)).hex(), wanted)


def _scrypt(pin: str, salt: bytes, cost: int) -> bytes:
    return hashlib.scrypt(pin.encode(), salt=salt, n=cost, r=8, p=1, dklen=32)


def _person(row: Any) -> Person:
    return record(Person, row, has_pin=row["pin_hash"] is not None)
