"""The herd list: headers guessed, rows rejected with their reason, re-import without doubles."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import ExchangeError, StoreError
from gait.exchange.fields import day, electronic_number, guess_date_order, moment
from gait.exchange.herd_csv import (
    cows_to_keep,
    herd_list_csv,
    preview_herd_list,
)
from gait.exchange.herd_headers import guess_columns
from gait.herd.near_numbers import without_zeros
from gait.herd.records import Cow
from gait.store import Store

DAY = date(2026, 1, 1)
LIST = """Animal number,Electronic number,Born,Lactation,Calved,Dry-off,Due,Pen,Breed,Milk
0412,276000123456789,2020-05-03,3,2026-01-12,,,A,Holstein,31
17,,2023-11-01,0,,,2026-05-20,heifers,,0
18,12345,2021-02-03,1,,,,B,,22
0412,,,,,,,,,
19,,2021-02-30,1,,,,B,,22
"""


def test_a_list_is_previewed_with_every_reject_by_line_and_reason() -> None:
    preview = preview_herd_list(LIST)
    assert [c.number for c in preview.cows] == ["0412", "17"]
    assert preview.cows[0] == Cow(
        number="0412",
        electronic="276000123456789",
        birth_on=date(2020, 5, 3),
        parity=3,
        calved_on=date(2026, 1, 12),
        group="A",
        breed="Holstein",
    )
    assert preview.cows[1].due_on == date(2026, 5, 20)
    assert preview.not_used == ("Milk",)
    assert [(r.line, r.why) for r in preview.rejected] == [
        (4, "An electronic number has 15 digits, '12345' has 5."),
        (5, "Cow 0412 is already in line 2."),
        (6, "'2021-02-30' is no date."),
    ]


def test_all_or_nothing_takes_nothing_when_a_row_is_bad() -> None:
    preview = preview_herd_list(LIST)
    with pytest.raises(ExchangeError, match="3 rows cannot be taken in, the first in line 4"):
        cows_to_keep(preview, all_or_nothing=True)
    assert len(cows_to_keep(preview)) == 2


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Cow No.", "number"),
        ("Stallnummer", "number"),
        ("Tier-Nr", "number"),
        ("Numéro vache", "number"),
        ("Koenummer", "number"),
        ("Número de animal", "number"),
        ("Dyr nr", "number"),
        ("Transponder", "electronic"),
        ("Ohrmarke", "electronic"),
        ("Ohrmarken-Nr.", "electronic"),
        ("Lebensnummer", "electronic"),
        ("Geb.-Datum", "birth_on"),
        ("Letzte Abkalbung", "calved_on"),
        ("Erwartete Abkalbung", "due_on"),
        ("Nächste Kalbung", "due_on"),
        ("Lakt.-Nr.", "parity"),
        ("Stallabteil", "group"),
        ("Electronic ID", "electronic"),
        ("Date de naissance", "birth_on"),
        ("Geburtsdatum", "birth_on"),
        ("Fødselsdato", "birth_on"),
        ("Laktationsnummer", "parity"),
        ("Derniere vêlage", "calved_on"),
        ("Calving date", "calved_on"),
        ("Expected calving date", "due_on"),
        ("Trockenstelldatum", "dried_off_on"),
        ("Gruppe", "group"),
        ("Rasse", "breed"),
    ],
)
def test_common_headers_of_several_languages_are_known(header: str, field: str) -> None:
    found = guess_columns([header])
    assert list(found) == [field]


def test_expected_and_last_calving_are_told_apart() -> None:
    assert guess_columns(["Expected calving", "Calving", "ID"]) == {
        "due_on": 0,
        "calved_on": 1,
        "number": 2,
    }


def test_bringing_the_list_in_again_updates_without_doubling(store: Store) -> None:
    first = store.cows.put(cows_to_keep(preview_herd_list(LIST)))
    assert first.added == ("0412", "17")
    again = preview_herd_list(LIST, store.cows.all())
    assert (again.new, again.changed, again.unchanged) == ((), (), ("0412", "17"))
    assert store.cows.put(again.cows).unchanged == ("0412", "17")
    calved = LIST.replace("17,,2023-11-01,0,,,2026-05-20", "17,,2023-11-01,1,2026-05-18,,")
    later = preview_herd_list(calved, store.cows.all())
    assert later.changed == ("17",)
    store.cows.put(later.cows)
    assert len(store.cows.all()) == 2
    assert [c.calved_on for c in store.cows.calvings("17")] == [date(2026, 5, 18)]


def test_an_earlier_calving_stays_known_when_a_new_one_comes(store: Store) -> None:
    for calved in (date(2025, 1, 5), date(2026, 2, 1)):
        store.cows.put([Cow(number="9", calved_on=calved)])
    assert [c.calved_on for c in store.cows.calvings("9")] == [
        date(2025, 1, 5),
        date(2026, 2, 1),
    ]


def test_an_electronic_number_never_belongs_to_two_cows(store: Store) -> None:
    store.cows.put([Cow(number="1", electronic="276000123456789")])
    (bad,) = preview_herd_list(
        "number,eid\n2,276000123456789\n", store.cows.all(include_left=True)
    ).rejected
    assert bad.why == "The electronic number 276000123456789 belongs to cow 1 on record."
    with pytest.raises(StoreError, match="already belongs to cow 1"):
        store.cows.put([Cow(number="2", electronic="276000123456789")])
    assert store.cows.get("2") is None
    found = store.cows.by_electronic("276000123456789")
    assert found is not None
    assert found.number == "1"


def test_a_number_used_again_for_another_animal_is_not_mixed_up() -> None:
    known = [Cow(number="5", birth_on=date(2015, 1, 1))]
    (bad,) = preview_herd_list("number,birth\n5,2024-01-01\n", known).rejected
    assert "another animal with the same number" in bad.why


def test_the_herd_list_is_in_order_of_number_as_people_count(store: Store) -> None:
    store.cows.put([Cow(number=n) for n in ("10", "9", "A1", "0412")])
    assert [c.number for c in store.cows.all()] == ["9", "10", "0412", "A1"]


numbers = st.text(
    st.characters(categories=("L", "N"), exclude_characters="'"), min_size=1, max_size=12
)
days = st.none() | st.dates(date(1990, 1, 1), date(2060, 12, 31))
words = st.none() | st.text(st.characters(categories=("L",)), min_size=1, max_size=10)


@st.composite
def herds(draw: st.DrawFn) -> list[Cow]:
    chosen = draw(st.lists(numbers, unique_by=without_zeros, max_size=6))
    return [
        Cow(
            number=number,
            electronic=f"276{place:012d}" if draw(st.booleans()) else None,
            parity=draw(st.none() | st.integers(1, 20)),
            dried_off_on=draw(days),
            due_on=draw(days),
            left_on=draw(days),
            group=draw(words),
            breed=draw(words),
        )
        for place, number in enumerate(chosen)
    ]


@given(herds())
def test_any_herd_list_comes_back_as_it_was_written(herd: list[Cow]) -> None:
    if herd:
        preview = preview_herd_list(herd_list_csv(herd).encode())
        assert list(preview.cows) == herd
        assert preview.rejected == ()


def test_doubtful_rows_are_left_out_with_their_reason() -> None:
    known = [Cow(number="12"), Cow(number="0044"), Cow(number="44"), Cow(number="07", left_on=DAY)]
    preview = preview_herd_list(
        "Tiernummer;Letzte Kalbung;Geburtsdatum\n301;;\n0301;;\n012;;\n44;;\n7;;\n"
        "15;01.12.2026;\n16;;01.12.2026\n=1+1;;\n17;28.11.2026;\n",
        known,
        today=date(2026, 11, 28),
    )
    assert [c.number for c in preview.cows] == ["301", "44", "7", "17"]
    alike = "But for leading zeros cow {}. The same cow? Write her number as it stands there."
    assert [(r.line, r.why) for r in preview.rejected] == [
        (3, alike.format("0301 is cow 301 in line 2")),
        (4, alike.format("012 is cow 12 on record")),
        (7, "The last calving of cow 15 is still to come: 2026-12-01."),
        (8, "The birth of cow 16 is still to come: 2026-12-01."),
        (9, "'=1+1' is no animal number: it begins like a spreadsheet's formula."),
    ]


def test_an_electronic_number_written_as_an_ear_tag_is_told_to_be_double() -> None:
    preview = preview_herd_list(
        "Stallnr;Ohrmarke\n1;DE 09 123 45678\n2;276 000912345678\n3;at 123.456.789\n"
    )
    assert [c.electronic for c in preview.cows] == ["276000912345678", "040000123456789"]
    (double,) = preview.rejected
    assert double.why == "The electronic number 276000912345678 is already in line 2."


@pytest.mark.parametrize("text", ["276000123456789", "276 000 123 456 789", "276-000123456789"])
def test_electronic_numbers_are_kept_as_fifteen_digits(text: str) -> None:
    assert electronic_number(text) == "276000123456789"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("27600012345678", "15 digits"),
        ("2.76E+14", "rounded by a spreadsheet"),
        ("000000123456789", "no country or maker code"),
        # 38 bits hold at most 274 877 906 943 (ISO 11784)
        ("276274877906944", "too large"),
        ("٢٧٦٠٠٠١٢٣٤٥٦٧٨٩", "15 digits"),
    ],
)
def test_what_is_no_electronic_number_is_refused(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        electronic_number(text)


def test_the_largest_identification_of_38_bits_is_taken() -> None:
    assert electronic_number("276274877906943") == "276274877906943"


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["01/02/2026", "25/02/2026"], "dmy"),
        (["01/02/2026", "02/25/2026"], "mdy"),
        (["2026-02-01"], "dmy"),
        (["01.02.2026"], "dmy"),
    ],
)
def test_the_order_of_day_and_month_is_taken_from_the_whole_column(
    texts: list[str], order: str
) -> None:
    assert guess_date_order(texts) == order


def test_dates_in_common_spellings_are_read() -> None:
    assert day("2026-03-02T10:00") == day("02.03.2026") == day("2/3/26") == date(2026, 3, 2)
    assert day("03/02/2026", "mdy") == date(2026, 3, 2)
    assert day("20260302") == date(2026, 3, 2)
    assert day("") is day("--") is day("00.00.0000") is None
    with pytest.raises(ValueError, match="no date"):
        day("soon")


def test_times_of_day_need_their_day() -> None:
    assert moment("14:05", on=date(2026, 3, 2)).isoformat() == "2026-03-02T14:05:00+00:00"
    assert moment("9:05:07", on=date(2026, 3, 2)).second == 7
    with pytest.raises(ValueError, match="no date with it"):
        moment("14:05")
