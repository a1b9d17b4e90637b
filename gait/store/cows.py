"""The herd list."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import Connection, insert, or_, select, update

from gait.errors import StoreError
from gait.herd.records import Calving, Cow
from gait.store import tables as t
from gait.store.database import Database
from gait.store.rows import chunks, columns_of, record
from gait.store.types import utc_now


@dataclass(frozen=True, kw_only=True)
class HerdListChange:
    """Animal numbers that a herd list brought in, changed, or left as they were."""

    added: tuple[str, ...]
    changed: tuple[str, ...]
    unchanged: tuple[str, ...]


class Cows:
    """Reading and writing the herd list of one farm."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, cows: Sequence[Cow]) -> HerdListChange:
        """Add cows, or bring those already known up to date; nothing is ever doubled.

        A field that is None leaves what is known. A calving that is new is added to the
        calvings of the cow, so that her earlier lactations stay known.

        Raises
        ------
        StoreError
            If an electronic number already belongs to another animal number.
        """
        with self._database.write() as connection:
            return put_cows(connection, cows)

    def all(self, *, include_left: bool = False) -> list[Cow]:
        """Return the herd in order of animal number."""
        question = select(t.cow)
        if not include_left:
            question = question.where(t.cow.c.left_on.is_(None))
        with self._database.read() as connection:
            found = [record(Cow, r) for r in connection.execute(question).mappings()]
        return sorted(found, key=lambda cow: number_order(cow.number))

    def get(self, number: str) -> Cow | None:
        """Return the cow with this animal number."""
        return self._one(t.cow.c.number == number)

    def by_electronic(self, electronic: str) -> Cow | None:
        """Return the cow with this 15-digit electronic number."""
        return self._one(t.cow.c.electronic == electronic)

    def _one(self, where: object) -> Cow | None:
        with self._database.read() as connection:
            row = connection.execute(select(t.cow).where(where)).mappings().first()  # type: ignore[arg-type]
        return None if row is None else record(Cow, row)

    def find(self, typed: str, limit: int = 20) -> list[Cow]:
        """Return cows whose animal or electronic number holds what was typed."""
        sought = "%" + typed.replace("\\", r"\\").replace("%", r"\%").replace("_", r"\_") + "%"
        question = (
            select(t.cow)
            .where(
                t.cow.c.left_on.is_(None),
                or_(
                    t.cow.c.number.like(sought, escape="\\"),
                    t.cow.c.electronic.like(sought, escape="\\"),
                ),
            )
            .order_by(t.cow.c.number)
            .limit(limit)
        )
        with self._database.read() as connection:
            return [record(Cow, r) for r in connection.execute(question).mappings()]

    def calvings(self, cow: str | None = None) -> list[Calving]:
        """Return the known calvings, oldest first, of one cow or of the herd."""
        question = select(t.calving).order_by(t.calving.c.cow, t.calving.c.calved_on)
        if cow is not None:
            question = question.where(t.calving.c.cow == cow)
        with self._database.read() as connection:
            return [record(Calving, r) for r in connection.execute(question).mappings()]

    def renumber(self, old: str, new: str) -> None:
        """Give a cow another animal number; everything recorded about her goes along.

        Raises
        ------
        StoreError
            If there is no such cow, or the new number is taken.
        """
        with self._database.write() as connection:
            if connection.scalar(select(t.cow.c.number).where(t.cow.c.number == new)):
                raise StoreError(f"Cow {new} is already on the list.", "Choose another number.")
            done = connection.execute(
                update(t.cow).where(t.cow.c.number == old).values(number=new, updated_at=utc_now())
            )
            if not done.rowcount:
                raise StoreError(f"There is no cow {old}.", "Look at the herd list.")

    def take_off(self, number: str) -> Cow:
        """Take a number off the list that is no cow of the herd; return her as she stood there.

        Her electronic number is free for another cow. She comes back when a herd list names her
        or somebody says that number again.

        Raises
        ------
        StoreError
            If there is no such cow on the list.
        """
        c = t.cow.c
        now = {"left_on": date.today(), "listed": False, "electronic": None}
        with self._database.write() as connection:
            found = select(t.cow).where(c.number == number, c.left_on.is_(None)).with_for_update()
            row = connection.execute(found).mappings().first()
            if row is None:
                raise StoreError(f"There is no cow {number}.", "Look at the herd list.")
            now["updated_at"] = utc_now()
            connection.execute(update(t.cow).where(c.number == number).values(now))
        return record(Cow, row)


def put_cows(connection: Connection, cows: Sequence[Cow]) -> HerdListChange:
    """Add or bring up to date within a transaction; see :meth:`Cows.put`."""
    known = _known(connection, [cow.number for cow in cows])
    _refuse_taken_electronic(connection, cows)
    added, changed, unchanged = [], [], []
    for cow in {cow.number: cow for cow in cows}.values():
        before = known.get(cow.number)
        after = cow if before is None else _merged(before, cow)
        values = columns_of(after, updated_at=utc_now())
        if before is None:
            connection.execute(insert(t.cow).values(values))
            added.append(cow.number)
        elif after != before:
            connection.execute(update(t.cow).where(t.cow.c.number == cow.number).values(values))
            changed.append(cow.number)
        else:
            unchanged.append(cow.number)
    _keep_calvings(connection, cows)
    return HerdListChange(added=tuple(added), changed=tuple(changed), unchanged=tuple(unchanged))


def ensure_cow(connection: Connection, number: str) -> None:
    """Note a number that somebody typed; see :func:`ensure_cows`."""
    ensure_cows(connection, [number])


def ensure_cows(connection: Connection, numbers: Collection[str]) -> None:
    """Note numbers that somebody typed, as cows that no herd list has named yet.

    One that was taken off the list comes back.
    """
    known = _known(connection, sorted(numbers))
    back = [cow.number for cow in known.values() if cow.taken_off]
    put_cows(connection, [Cow(number=n, listed=False) for n in {*numbers} - {*known} | {*back}])


def number_order(number: str) -> tuple[int, int, str]:
    """Return a sorting key that puts 9 before 10 and numbers before names."""
    return (0, int(number), number) if number.isdecimal() else (1, 0, number)


def _known(connection: Connection, numbers: Sequence[str]) -> dict[str, Cow]:
    found: dict[str, Cow] = {}
    for some in chunks(numbers):
        rows = connection.execute(select(t.cow).where(t.cow.c.number.in_(some))).mappings()
        found |= {row["number"]: record(Cow, row) for row in rows}
    return found


def _merged(before: Cow, now: Cow) -> Cow:
    said = {name: value for name, value in vars(now).items() if value is not None}
    if before.taken_off:  # she is taken in again
        said["left_on"] = now.left_on
    return replace(before, **said)


def _refuse_taken_electronic(connection: Connection, cows: Sequence[Cow]) -> None:
    holders = {cow.electronic: cow.number for cow in cows if cow.electronic}
    for some in chunks(holders):
        question = select(t.cow.c.electronic, t.cow.c.number).where(t.cow.c.electronic.in_(some))
        for electronic, number in connection.execute(question):
            if holders[electronic] != number:
                raise StoreError(
                    f"The electronic number {electronic} already belongs to cow {number}.",
                    f"Put cow {number} right first, or give cow {holders[electronic]} another one.",
                )


def _keep_calvings(connection: Connection, cows: Sequence[Cow]) -> None:
    wanted = {(cow.number, cow.calved_on): cow.parity for cow in cows if cow.calved_on}
    for some in chunks({number for number, _ in wanted}):
        rows = connection.execute(
            select(t.calving.c.cow, t.calving.c.calved_on).where(t.calving.c.cow.in_(some))
        )
        for cow, calved_on in rows:
            wanted.pop((cow, calved_on), None)
    if wanted:
        connection.execute(
            insert(t.calving),
            [
                {"cow": cow, "calved_on": calved_on, "parity": parity}
                for (cow, calved_on), parity in wanted.items()
            ],
        )
