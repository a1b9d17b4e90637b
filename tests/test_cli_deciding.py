"""Deciding and taking back at the command line: who may, whose, and what counts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gait.cli import main
from gait.herd.records import Cow
from gait.store import Store, open_store
from tests.farms import add_pass

Run = Callable[..., tuple[int, str]]


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Store]:
    """Give a farm with three people."""
    with open_store(tmp_path / "farm") as store:
        for name, role in (("Hans", "herdsperson"), ("Maria", "manager"), ("Tom", "trimmer")):
            store.people.put(name, [role])
        yield store


@pytest.fixture
def run(farm: Store, capsys: pytest.CaptureFixture[str]) -> Run:
    """Give a function that runs a command on the farm and tells what it said."""

    def run_command(*words: object) -> tuple[int, str]:
        code = main([*map(str, words), "--farm", str(farm.folder)])
        told = capsys.readouterr()
        return code, told.out + told.err

    return run_command


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (("decide", 1), "Hans, Maria"),
        (("decide", 1, "--unusable", "--reason", "dark"), "Hans, Maria"),
        (("undo", 1), "Hans, Maria"),
        (("name", 1, "0412"), "Hans, Maria, Tom"),
        (("renumber", "0209", "77"), "Hans, Maria"),
        (("take-off", "0209"), "Hans, Maria"),
        (("learn",), "Maria"),
        (("model", "use", "published-1"), "Maria"),
    ],
)
def test_a_name_that_is_not_set_up_is_refused_with_those_that_are(
    farm: Store, run: Run, words: tuple, names: str
) -> None:
    pass_id = add_pass(farm, "0209")
    code, told = run(*words, "--by", "Nobody")
    assert code == 2
    assert "Nobody is none of this farm's people who may do this." in told
    assert f"They are: {names}\n" in told
    assert farm.decisions.of_pass(pass_id) == []


def test_only_who_may_decide_does(farm: Store, run: Run) -> None:
    pass_id = add_pass(farm, "0209")
    assert run("decide", pass_id, "--by", "Tom")[0] == 2
    code, told = run("decide", pass_id, "--by", "Hans")
    assert (code, "confirmed, score 3, by Hans." in told) == (0, True)


def test_another_persons_decision_is_taken_back_only_by_name(farm: Store, run: Run) -> None:
    pass_id = add_pass(farm, "0209")
    farm.decisions.add(pass_id, kind="overridden", score=1, who="Hans", reason="even")
    farm.decisions.add(pass_id, kind="confirmed", score=3, who="Maria")
    code, told = run("undo", pass_id, "--by", "Hans")
    assert code == 2
    assert "is somebody else's (confirmed, score 3, by Maria)" in told
    assert "--of 'Maria'" in told
    assert farm.passes.get(pass_id).summary.score == 3
    code, told = run("undo", pass_id, "--by", "Hans", "--of", "Maria")
    assert (code, "taken back (confirmed, score 3, by Maria)" in told) == (0, True)
    code, told = run("undo", pass_id, "--by", "Hans")
    assert (code, "taken back (overridden, score 1, by Hans)" in told) == (0, True)
    assert "There is no decision to take back." in run("undo", pass_id, "--by", "Hans")[1]


def test_a_score_that_does_not_count_is_told(farm: Store, run: Run) -> None:
    pass_id = add_pass(farm, "0213")
    farm.decisions.add(pass_id, kind="second_opinion", score=2, who="Vera")
    _, told = run("decide", pass_id, "--by", "Hans", "--score", 5, "--reason", "limps")
    assert "It does not count: the second opinion of Vera stands, score 2." in told


def test_only_a_decision_of_the_person_named_is_taken_back(farm: Store, run: Run) -> None:
    pass_id = add_pass(farm, "0209")
    farm.decisions.add(pass_id, kind="confirmed", score=3, who="Hans")
    for by, told_who in (("Hans", "is Hans's own"), ("Maria", "is somebody else's")):
        code, told = run("undo", pass_id, "--by", by, "--of", "Vera")
        assert (code, f"{told_who} (confirmed, score 3, by Hans)." in told) == (2, True)
    assert farm.passes.get(pass_id).summary.score == 3


def test_another_persons_decision_is_overruled_only_by_name(farm: Store, run: Run) -> None:
    pass_id = add_pass(farm, "0209")
    assert run("decide", pass_id, "--by", "Hans")[0] == 0
    mine = ("decide", pass_id, "--by", "Maria", "--score", 1, "--reason", "even")
    for words in (mine, (*mine, "--over", "Vera"), (*mine, "--unusable")):
        code, told = run(*words)
        assert (code, "somebody else's (confirmed, score 3, by Hans)" in told) == (2, True)
        assert "--over 'Hans'" in told
    assert len(farm.decisions.of_pass(pass_id)) == 1
    code, told = run(*mine, "--over", "Hans")
    assert (code, "overridden, score 1, by Maria." in told) == (0, True)
    assert run("decide", pass_id, "--by", "Maria")[0] == 0, "one's own is replaced as before"


@pytest.fixture
def lame_pass(farm: Store) -> int:
    """Give a pass of the one lame cow of three listed ones."""
    farm.cows.put([Cow(number=n) for n in ("0209", "0412", "0421")])
    pass_id = add_pass(farm, "0209")
    farm.decisions.add(pass_id, kind="overridden", score=4, who="Hans", reason="limps")
    return pass_id


def test_a_number_that_is_not_listed_is_asked_about(farm: Store, run: Run, lame_pass: int) -> None:
    code, told = run("name", lame_pass, "412", "--by", "Tom")
    assert (code, "Cow 412 is not on the herd list. Near numbers: 0412, " in told) == (2, True)
    assert "If 412 is right, add: --new" in told
    code, told = run("name", lame_pass, "99999", "--by", "Tom")
    assert (code, "herd list. If 99999 is right" in told) == (2, True)
    assert farm.passes.get(lame_pass).summary.cow == "0209"
    assert [cow.number for cow in farm.cows.all()] == ["0209", "0412", "0421"]
    assert run("name", lame_pass, "99999", "--by", "Tom", "--new")[0] == 0
    assert farm.passes.get(lame_pass).summary.cow == "99999"


def test_naming_tells_who_it_was_and_what_changes(farm: Store, run: Run, lame_pass: int) -> None:
    code, told = run("name", lame_pass, "0412", "--by", "Tom")
    assert (code, told.splitlines()) == (0, [
        f"Pass {lame_pass} is cow 0412, says Tom. Before, it was cow 0209.",
        "Cow 0209 leaves the lame list.",
        "Cow 0412 enters the lame list.",
    ])  # fmt: skip
    told = run("name", lame_pass, "0412", "--by", "Tom")[1]
    assert told == f"Pass {lame_pass} is cow 0412, says Tom.\n"
