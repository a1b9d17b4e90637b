"""What the library says to people is said in German too: no sentence of its sources is left out."""

from __future__ import annotations

import ast
import itertools
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.texts import HERE, SENTENCE_END, said
from gait import errors

GAIT = Path(__file__).resolve().parents[2] / "gait"
FILES = sorted(HERE.glob("sentences_de*.json"))
GERMAN: dict[str, str] = {
    english: german
    for file in FILES
    for english, german in json.loads(file.read_text(encoding="utf-8")).items()
}
PLACE = re.compile(r"\{(\d)\}")

NOT_SHOWN = {
    "cli/": "the command line speaks English",
    "environment.py": "printed by the first start, before there is a page",
    "exchange/ade.py": "words inside the exchange file; only a command reads it back",
}
"""Sources, by how their path in gait begins, whose sentences no page shows."""

FOR_DEVELOPERS = frozenset({
    "A measure has either a value or a reason why it has none.",
    "A value needs a standard error, not {0}.",
    "Two lists of scores differ in length: {0} and {1}.",
    "The score {0} is not one of the scale.",
    "At least two different scores are needed to fit.",
    "x has missing values; integrate them out before fitting.",
    "x should be (cows, measures) with one score a cow; x is {0}, y is {1}.",
})  # fmt: skip
"""ValueErrors of calls that are wrong in the program, not of anything a person gave it."""

ENDS_LIKE_A_SENTENCE = re.compile(r".* .*(?:[.!?]|[a-z][.:,] \{\d\})$", re.DOTALL)
ERRORS = frozenset(
    name for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, errors.GaitError)
)  # fmt: skip


def template(node: ast.expr) -> str | None:
    """Return a string or f-string with its values as {0}, {1} ...; None for anything else."""
    names = itertools.count()
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return re.sub(r"\{\w+(:[^}]*)?\}", lambda _: f"{{{next(names)}}}", node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(
            str(v.value) if isinstance(v, ast.Constant) else f"{{{next(names)}}}"
            for v in node.values
        )
    return None


def sentences(source: str) -> Iterator[str]:
    """Yield every text of a source that ends like a sentence or is given to an error for people."""
    tree = ast.parse(source)
    skipped: set[int] = set()
    told: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            skipped.add(id(node.value))  # a docstring
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(part) for part in ast.walk(node) if part is not node}
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ERRORS:
            told |= {id(given) for given in node.args}
    for node in ast.walk(tree):
        if isinstance(node, ast.expr) and id(node) not in skipped:
            text = template(node)
            if text and (ENDS_LIKE_A_SENTENCE.match(text) or id(node) in told):
                yield text


def filled(text: str) -> str:
    """Return a template with made-up values that no entry knows."""
    return PLACE.sub(lambda place: f"{place[1]}qx", text)


def shown() -> dict[str, str]:
    """Return every sentence of the library that a page may show, with the source it is in."""
    found: dict[str, str] = {}
    for file in sorted(GAIT.rglob("*.py")):
        name = file.relative_to(GAIT).as_posix()
        if not name.startswith(tuple(NOT_SHOWN)):
            for text in sentences(file.read_text(encoding="utf-8")):
                found.setdefault(text, name)
    return found


@pytest.fixture(autouse=True)
def _german(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.texts.language", lambda: "de")


def left_in_english(text: str) -> list[str]:
    """Return the sentences of a text that come out as they went in."""
    told = said(filled(text))
    return [
        part for part in SENTENCE_END.split(filled(text))
        if re.sub(r"\dqx", "", part).strip(" .") and part in told
    ]  # fmt: skip


def test_every_sentence_of_the_library_is_said_in_german() -> None:
    found = shown()
    assert len(found) > 250
    missing = {
        text: name
        for text, name in found.items()
        if text and text not in FOR_DEVELOPERS and left_in_english(text)
    }
    assert missing == {}


def test_exceptions_are_still_there() -> None:
    assert set(shown()) >= FOR_DEVELOPERS
    names = [file.relative_to(GAIT).as_posix() for file in GAIT.rglob("*.py")]
    assert all(any(name.startswith(part) for name in names) for part in NOT_SHOWN)


@pytest.mark.parametrize("english", GERMAN)
def test_german_fills_in_the_same_values(english: str) -> None:
    places = PLACE.findall(english)
    assert places == [str(i) for i in range(len(places))]
    assert set(PLACE.findall(GERMAN[english])) == set(places)


@pytest.mark.parametrize("english", GERMAN)
def test_no_entry_hides_another(english: str) -> None:
    assert said(filled(english)) == filled(GERMAN[english])


def test_no_sentence_is_in_two_files() -> None:
    counts = [len(json.loads(file.read_text(encoding="utf-8"))) for file in FILES]
    assert sum(counts) == len(GERMAN)


def test_a_text_of_several_sentences_is_said_sentence_by_sentence() -> None:
    told = said("Kuh 7. Mai.mp4 is empty. Copy it from the camera again; the copy was cut off.")
    assert told == (
        "Kuh 7. Mai.mp4 ist leer. Noch einmal von der Kamera kopieren; die Kopie wurde abgebrochen."
    )
    assert said("Not known. Something new.") == "Not known. Something new."
    assert said("Something new. Check the number.") == "Something new. Die Nummer prüfen."


def test_entries_are_single_sentences_so_that_they_are_known_in_any_text() -> None:
    several = [e for e in GERMAN if len(SENTENCE_END.split(e.replace("...", ""))) > 1]
    assert several == []
    told = said(
        "Look yourself: no back arch could be measured: "
        "The cow is cut by the edge of the picture. Take in the whole cow."
    )
    assert told == (
        "Selbst hinsehen: Die Wölbung des Rückens war nicht zu messen: "
        "Der Bildrand schneidet die Kuh an. Die ganze Kuh aufnehmen."
    )


def test_values_are_said_too() -> None:
    assert said("a.mp4 is cut off: only 40% of it is there.") == (
        "a.mp4 ist abgeschnitten: nur 40% davon ist da."
    )
    assert said(
        "Learning starts when there are 12 more scored cows and 1 more different score."
    ) == ("Das Lernen beginnt, sobald noch dazukommen: 12 benotete Kühe und 1 verschiedene Note.")


def test_an_english_sentence_is_found_in_a_source() -> None:
    source = """
def f(n):
    "Not this one."
    x = "She limps a lot."
    raise StoreError(f"No {n} here.", "Start it with: x")
    "see {0}"
"""
    assert list(sentences(source)) == ["She limps a lot.", "No {0} here.", "Start it with: x"]
