"""What is waiting to be looked at, and the standing scores that lists and figures rest on."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, exists, func, or_, select

from gait.herd.records import PassSummary, Score
from gait.herd.standing import ANSWERS
from gait.store import tables as t
from gait.store import two_people
from gait.store.database import Database
from gait.store.rows import chunks, record


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """How much is waiting: passes to check, for a second opinion, without a cow.

    ``to_check`` counts all that the page To check holds; ``unnamed`` are those among them that a
    person scored, but of which nobody has said yet which cow they show.
    """

    to_check: int
    second_opinion: int
    unnamed: int


_UNNAMED = (
    t.pass_state.c.cow.is_(None),
    t.pass_state.c.score.is_not(None),
    # The word of a person holds before all else: with one and no cow, she said that nobody knows.
    ~exists().where(
        t.identity.c.pass_id == t.pass_state.c.pass_id, t.identity.c.source == "person"
    ),
)


class Queue:
    """Passes that a person should look at."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def to_check(self, limit: int = 50, offset: int = 0) -> list[PassSummary]:
        """Return passes that nobody has decided yet, most urgent and least certain first."""
        s = t.pass_state.c
        question = (
            select(t.pass_state)
            .where(s.status == "to_check")
            .order_by(s.priority.desc(), s.pass_id)
            .limit(limit)
            .offset(offset)
        )
        return self._summaries(question)

    def second_opinions(self, limit: int = 50, offset: int = 0) -> list[PassSummary]:
        """Return passes for which somebody asked for a second opinion, most urgent first."""
        s = t.pass_state.c
        question = (
            select(t.pass_state)
            .where(s.wants_second_opinion.is_(True))
            .order_by(s.priority.desc(), s.pass_id)
            .limit(limit)
            .offset(offset)
        )
        return self._summaries(question)

    def for_vet(self, since: datetime, limit: int = 100) -> list[PassSummary]:
        """Return passes worth a second opinion, most urgent first.

        Those for which somebody asked or two people differ, whenever they walked; and of the walks
        since then those that a person scored 4 or 5, or whose plausible run of scores holds both
        a sound and a lame one, unless a second opinion was given or declined already.

        Parameters
        ----------
        since : datetime
            Aware.
        limit : int
        """
        s, d = t.pass_state.c, t.decision.c
        answered = select(d.pass_id).where(d.kind.in_(ANSWERS), d.at >= since)
        unclear = or_(s.score >= 4, (s.low < 3) & (s.high >= 3), s.proposed >= 4)
        recent = select(s.pass_id).where(
            s.observed_at >= since, unclear, s.pass_id.not_in(answered), s.status != "unusable"
        )
        asked = select(s.pass_id).where(s.wants_second_opinion.is_(True))
        question = (
            select(t.pass_state)
            .where(or_(*(s.pass_id.in_(some) for some in (asked, self.disputed(since), recent))))
            .order_by(s.wants_second_opinion.desc(), s.priority.desc(), s.pass_id)
            .limit(limit)
        )
        return self._summaries(question)

    def disputed(self, since: datetime) -> set[int]:
        """Return the passes that two people judge differently; see `two_people.disputed`."""
        with self._database.read() as connection:
            return two_people.disputed(connection, since)

    def unnamed(self, limit: int = 50) -> list[PassSummary]:
        """Return scored passes that wait to be told which cow they show, the severe first.

        Their scores reach no list until then. A person's word that nobody knows ends the wait.
        """
        s = t.pass_state.c
        question = (
            select(t.pass_state)
            .where(*_UNNAMED)
            .order_by(s.score.desc(), s.observed_at.desc(), s.pass_id)
            .limit(limit)
        )
        return self._summaries(question)

    def is_unnamed(self, pass_id: int) -> bool:
        """Tell whether this pass is among the scored ones that wait to be told whose they are."""
        s = t.pass_state.c
        question = select(s.pass_id).where(s.pass_id == pass_id, *_UNNAMED)
        with self._database.read() as connection:
            return connection.scalar(question) is not None

    def waiting(self) -> Waiting:
        """Return how much is waiting."""
        s = t.pass_state.c
        with self._database.read() as connection:

            def count(*where: Any) -> int:
                question = select(func.count()).select_from(t.pass_state).where(*where)
                return int(connection.scalar(question) or 0)

            unnamed = count(*_UNNAMED)
            return Waiting(
                to_check=count(s.status == "to_check") + unnamed,
                second_opinion=count(s.wants_second_opinion.is_(True)),
                unnamed=unnamed,
            )

    def _summaries(self, question: Select[Any]) -> list[PassSummary]:
        with self._database.read() as connection:
            return [record(PassSummary, r) for r in connection.execute(question).mappings()]


class Scores:
    """Standing scores of people, for lists and figures."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def latest(self, *, at_least: int = 1) -> list[Score]:
        """Return the newest standing score of each cow still in the herd.

        Parameters
        ----------
        at_least : int
            Only cows with this score or more.
        """
        s, c = t.pass_state.c, t.cow_state.c
        question = (
            _SCORE.join(t.cow_state, c.pass_id == s.pass_id)
            .join(t.cow, t.cow.c.number == c.cow)
            .where(c.score >= at_least, t.cow.c.left_on.is_(None))
            .order_by(c.score.desc(), c.cow)
        )
        return self._scores(question)

    def of_cows(self, cows: Collection[str]) -> list[Score]:
        """Return every standing score of these cows, oldest walk first."""
        s = t.pass_state.c
        found: list[Score] = []
        for some in chunks(sorted(cows)):
            found += self._scores(
                _SCORE.where(s.cow.in_(some), s.score.is_not(None)).order_by(s.observed_at)
            )
        return found

    def between(self, start: datetime, end: datetime | None = None) -> list[Score]:
        """Return the standing scores of all cows that walked in this time, oldest first."""
        s = t.pass_state.c
        question = _SCORE.where(
            s.cow.is_not(None), s.score.is_not(None), s.observed_at >= start
        ).order_by(s.observed_at)
        return self._scores(question if end is None else question.where(s.observed_at < end))

    def person_and_tool(
        self, *, blind_only: bool = False, limit: int = 20_000
    ) -> Sequence[tuple[int, int]]:
        """Return (person's score, tool's score) of passes where both are known, newest first.

        The tool's score is the one it had proposed when the person decided.
        """
        d, s = t.decision.c, t.pass_state.c
        question = (
            select(s.score, d.proposed)
            .join(t.decision, (d.pass_id == s.pass_id) & (d.at == s.decided_at))
            .where(s.score.is_not(None), d.proposed.is_not(None), d.score == s.score)
            .order_by(s.pass_id.desc())
            .limit(limit)
        )
        if blind_only:
            question = question.where(d.blind.is_(True))
        with self._database.read() as connection:
            return [(int(person), int(tool)) for person, tool in connection.execute(question)]

    def person_and_person(self, *, limit: int = 20_000) -> Sequence[tuple[int, int]]:
        """Return (person's score, another person's second opinion); see `two_people.pairs`."""
        with self._database.read() as connection:
            return two_people.pairs(connection, limit)

    def learning_rows(self, limit: int = 20_000) -> list[dict[str, Any]]:
        """Return standing scores with the measures they were given on, newest first.

        Returns
        -------
        list of dict
            With cow, observed_at, score, blind, measures: what the score model learns from.
            Passes of unknown cows are left out, because cows must not be split between
            learning and checking.
        """
        s, w = t.pass_state.c, t.walk.c
        question = (
            select(s.pass_id, s.cow, s.observed_at, s.score, s.decided_blind, w.measures)
            .join(t.walk, w.pass_id == s.pass_id)
            .where(s.score.is_not(None), s.cow.is_not(None), w.clip_id.is_not(None))
            .order_by(s.pass_id.desc())
            .limit(limit)
        )
        with self._database.read() as connection:
            return [
                {
                    "pass_id": row.pass_id,
                    "cow": row.cow,
                    "observed_at": row.observed_at,
                    "score": row.score,
                    "blind": bool(row.decided_blind),
                    "measures": row.measures,
                }
                for row in connection.execute(question)
            ]

    def _scores(self, question: Select[Any]) -> list[Score]:
        # Made field by field: a herd's year is a hundred thousand of them.
        with self._database.read() as connection:
            return [
                Score(
                    cow=cow,
                    observed_at=observed_at,
                    score=score,
                    pass_id=pass_id,
                    decided_at=decided_at,
                    decided_by=decided_by,
                    proposed=proposed,
                    blind=bool(blind),
                    model_version=model_version,
                )
                for (
                    cow,
                    observed_at,
                    score,
                    pass_id,
                    decided_at,
                    decided_by,
                    proposed,
                    blind,
                    model_version,
                ) in connection.execute(question).all()
            ]


_SCORE: Select[Any] = select(
    t.pass_state.c.cow,
    t.pass_state.c.observed_at,
    t.pass_state.c.score,
    t.pass_state.c.pass_id,
    t.pass_state.c.decided_at,
    t.pass_state.c.decided_by,
    t.pass_state.c.proposed,
    t.pass_state.c.decided_blind.label("blind"),
    t.pass_state.c.model_version,
)
