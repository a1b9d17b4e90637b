"""``exitlane agree``: figures of two scorers, and none on too few pairs, as on the page."""

from __future__ import annotations

import pytest

from gait.cli import main
from gait.overview import PAIRS_NEEDED
from gait.store import open_store
from tests.farms import add_pass

FIGURES = ("kappa", "PABAK", "sensitivity", "McNemar", "acceptance line")


@pytest.mark.parametrize("pairs", [PAIRS_NEEDED - 1, PAIRS_NEEDED])
def test_two_columns_are_compared_once_they_are_long_enough(tmp_path, capsys, pairs):
    file = tmp_path / "scores.csv"
    rows = [f"{n},{1 + n % 4},{1 + n % 3}" for n in range(pairs)]
    file.write_text("\n".join(["cow,Ann,Vera", *rows]))
    assert main(["agree", str(file)]) == 0
    told = capsys.readouterr().out
    assert f"{pairs} cows scored by both. Rows: Ann, columns: Vera." in told
    few = pairs < PAIRS_NEEDED
    assert (f"Too few to judge yet: {pairs} of {PAIRS_NEEDED} passes." in told) == few
    assert [name in told for name in FIGURES] == [not few] * len(FIGURES)


def test_people_and_program_are_held_to_the_same_number(tmp_path, capsys):
    with open_store(tmp_path) as store:
        store.decisions.add(add_pass(store, "0412"), kind="confirmed", score=3, who="Ann")
    assert main(["agree", "--farm", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "Too few to judge yet: 1 of 30 passes." in told
    assert "kappa" not in told
