"""Numbers changed, and off the list: only those on which nothing hangs, back when taken in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

import pytest

from gait.cli import main
from gait.cow_numbers import TAKEN_OFF_SETTING, renumber_cow, take_off_list
from gait.errors import StoreError
from gait.exchange.herd_csv import herd_list_csv
from gait.herd.records import Cow, Trim, TrimEntry
from gait.store import Store, open_store
from tests.farms import NOON, add_pass
from tests.page_farm import decided

ON = date(2026, 11, 28)


@pytest.fixture
def store(tmp_path) -> Iterator[Store]:
    """Give a herd of two, one of them a slip of the finger."""
    with open_store(tmp_path / "farm") as opened:
        opened.cows.put([Cow(number="0412"), Cow(number="4012", electronic="276000123456789")])
        yield opened


def numbers(store: Store) -> list[str]:
    return [cow.number for cow in store.cows.all()]


def test_a_number_without_records_leaves_the_list_and_it_stays_known_who_did_so(store):
    take_off_list(store, "4012", who="Ann")
    assert numbers(store) == ["0412"]
    assert store.cows.find("40") == []
    ((_, who, value),) = store.settings.history(TAKEN_OFF_SETTING)
    assert (value, who) == ({"cow": "4012", "electronic": "276000123456789"}, "Ann")
    everybody = store.cows.all(include_left=True)
    assert [cow.taken_off for cow in everybody] == [False, True]
    assert "4012" not in herd_list_csv(everybody)
    store.cows.put([Cow(number="0412", electronic="276000123456789")])  # free for another cow
    with pytest.raises(StoreError, match="There is no cow 4012"):
        take_off_list(store, "4012", who="Ann")


def film(store: Store) -> None:
    add_pass(store, "4012")


def trim(store: Store) -> None:
    store.trims.add(Trim(cow="4012", on=ON, who="Tom", reason="maintenance"))


def recheck(store: Store) -> None:
    store.rechecks.open("4012", ON, why="After the trim", who="Tom")


def place(store: Store) -> None:
    day = store.trim_days.plan(ON, trimmer="Tom", capacity=9).trim_day_id
    entry = TrimEntry(trim_day_id=day, cow="4012", reason="maintenance", why="Due", position=1)
    store.trim_days.put_entries(day, [entry])


@pytest.mark.parametrize(
    ("hang_on", "counts"),
    [(film, (1, 0, 0, 0)), (trim, (0, 1, 0, 0)), (recheck, (0, 0, 1, 0)), (place, (0, 0, 0, 1))],
)
def test_a_number_on_which_records_hang_is_refused_and_they_are_counted(
    store: Store, hang_on: Callable[[Store], None], counts: tuple[int, ...]
) -> None:
    hang_on(store)
    with pytest.raises(StoreError) as told:
        take_off_list(store, "4012", who="Ann")
    assert str(told.value).startswith(
        "Records hang on cow 4012: walks {}, trims {}, open rechecks {}, open trim days {}.".format(
            *counts
        )
    )
    assert numbers(store) == ["0412", "4012"]
    assert store.settings.history(TAKEN_OFF_SETTING) == []


def test_once_her_films_are_said_to_show_another_cow_the_number_can_go(store):
    pass_id = add_pass(store, "4012")
    store.identities.set(pass_id, "0412", who="Ann")
    take_off_list(store, "4012", who="Ann")
    assert numbers(store) == ["0412"]
    assert [i.cow for i in store.identities.of_pass(pass_id)] == ["4012", "0412"]


def by_list(store: Store) -> None:
    store.cows.put([Cow(number="4012", parity=2)])


def by_history(store: Store) -> None:
    store.bulk.load(passes=[decided("4012", 3, NOON)])


@pytest.mark.parametrize("again", [film, trim, recheck, place, by_list, by_history])
def test_she_comes_back_when_she_is_taken_in_again(store, again):
    take_off_list(store, "4012", who="Ann")
    again(store)
    assert numbers(store) == ["0412", "4012"]
    assert not store.cows.get("4012").taken_off


def test_a_cow_that_has_left_does_not_come_back_by_being_named(store):
    store.cows.put([Cow(number="4012", left_on=ON)])
    film(store)
    store.cows.put([Cow(number="4012", parity=2)])
    assert numbers(store) == ["0412"]


def test_the_command_takes_off_and_says_why_not(store, capsys):
    where = ["--by", "Ann", "--farm", str(store.folder)]
    assert main(["take-off", "4012", *where]) == 0
    assert "4012 is off the list, until it is taken in again." in capsys.readouterr().out
    add_pass(store, "0412")
    assert main(["take-off", "0412", *where]) == 2
    assert "Records hang on cow 0412: walks 1" in capsys.readouterr().err


def test_a_number_that_another_cow_has_but_for_leading_zeros_is_refused(store):
    for new in ("412", "00412"):
        with pytest.raises(StoreError, match=f"zeros cow {new} is cow 0412 on record."):
            renumber_cow(store, "4012", new, who="Ann")
    with pytest.raises(StoreError, match="Cow 0412 is already on the list"):
        renumber_cow(store, "4012", "0412", who="Ann")
    assert numbers(store) == ["0412", "4012"]


def test_a_cows_own_number_gains_and_loses_zeros(store):
    renumber_cow(store, "0412", "412", who="Ann")
    renumber_cow(store, "4012", "04012", who="Ann")
    assert numbers(store) == ["412", "04012"]


def test_a_number_is_free_once_the_cow_that_had_it_has_left(store):
    store.cows.put([Cow(number="0412", left_on=ON)])
    renumber_cow(store, "4012", "412", who="Ann")
    assert numbers(store) == ["412"]
