"""An invented farm: cows, a year of scores seen by eye, trims and findings. Pure data, no store.

Everything here is made up from a seed, with a believable course: cows go lame now and then, older
ones more often, are trimmed within days, and mostly get better. Rates are ours, chosen to lie
near published ones (about one cow in four lame, about a third of cows a year newly lame).
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np

from gait.herd.blocks import OTHER_CLAW
from gait.herd.records import Cow, Finding, Trim

FARM_NAME = "Samplelane (invented demo farm)"
HERDSPERSON, VET, MANAGER, TRIMMER = (
    "Demo herdsperson",
    "Demo vet",
    "Demo manager",
    "Demo trimmer",
)
PEOPLE: dict[str, tuple[str, ...]] = {
    HERDSPERSON: ("herdsperson",),
    VET: ("vet",),
    MANAGER: ("manager",),
    TRIMMER: ("trimmer",),
}
SCORING_EVERY_DAYS = 28
RECHECK_DAYS = 14

_LESIONS = (  # ICAR code, zone, share, block, usual foot
    ("DD", "pastern", 0.30, False, "RH"),
    ("SU", "typical_place", 0.22, True, "RH"),
    ("WL", "wall_abaxial", 0.20, True, "LH"),
    ("SH", "sole", 0.12, False, "LH"),
    ("HHE", "heel", 0.10, False, "RH"),
    ("IP", "gap", 0.06, False, "LF"),
)


@dataclass(frozen=True, kw_only=True)
class PastScore:
    """A score that somebody gave on some day; ``why`` is ``monthly`` or ``recheck``."""

    cow: str
    at: datetime
    score: int
    who: str
    why: str


@dataclass(frozen=True, kw_only=True)
class DemoHerd:
    """The invented farm.

    Attributes
    ----------
    today : date
    cows : tuple of Cow
        Herd list; electronic numbers are from the 999 test range.
    scores : tuple of PastScore
        In order of time, about a year of them.
    trims : tuple of Trim
        In order of time. A recheck date is set only where the recheck is still to come.
    soreness : dict
        How each cow would walk today: animal number to locomotion score.
    """

    today: date
    cows: tuple[Cow, ...]
    scores: tuple[PastScore, ...]
    trims: tuple[Trim, ...]
    soreness: dict[str, int]


def demo_herd(today: date | None = None, seed: int = 1, size: int = 60) -> DemoHerd:
    """Make the invented farm as it stands on a day; the same seed and day, the same farm."""
    today = today or date.today()
    rng = np.random.default_rng((seed, 81))
    cows = tuple(_cow(number, today, rng) for number in _numbers(rng, size))
    scores: list[PastScore] = []
    trims: list[Trim] = []
    soreness: dict[str, int] = {}
    for cow in cows:
        course = _Course(cow, today, rng)
        course.run()
        scores += course.scores
        trims += course.trims + _maintenance(cow, today, rng)
        soreness[cow.number] = course.level
    return DemoHerd(
        today=today,
        cows=cows,
        scores=tuple(sorted(scores, key=lambda s: (s.at, s.cow))),
        trims=tuple(sorted(trims, key=lambda t: (t.on, t.cow))),
        soreness=soreness,
    )


def _numbers(rng: np.random.Generator, size: int) -> list[int]:
    return sorted(int(n) for n in rng.choice(np.arange(101, 101 + 5 * size), size, replace=False))


def _cow(number: int, today: date, rng: np.random.Generator) -> Cow:
    """Make one cow: a springing heifer, a milking cow or a dry cow."""
    parity = int(rng.choice([0, 1, 2, 3, 4, 5, 6], p=[0.08, 0.28, 0.24, 0.18, 0.12, 0.06, 0.04]))
    breed = str(rng.choice(["Holstein", "Brown Swiss", "Jersey cross"], p=[0.82, 0.1, 0.08]))
    who = {"number": str(number), "electronic": f"999{number:012d}", "breed": breed}
    if parity == 0:
        due = today + timedelta(days=int(rng.integers(5, 90)))
        born = due - timedelta(days=int(rng.integers(700, 790)))
        return Cow(**who, birth_on=born, parity=0, due_on=due, group="heifers")
    milking = int(rng.integers(4, 390))
    calved = today - timedelta(days=milking)
    born = calved - timedelta(days=int(rng.integers(700, 790)) + 395 * (parity - 1))
    due = calved + timedelta(days=int(rng.integers(375, 420))) if milking > 110 else None
    dry = None
    if due is not None and (due - today).days < 60:
        dry = min(due - timedelta(days=60), today - timedelta(days=1))
    group = "dry" if dry else "fresh" if milking < 30 else "high" if milking < 160 else "late"
    return Cow(
        **who,
        birth_on=born,
        parity=parity,
        calved_on=calved,
        dried_off_on=dry,
        due_on=due,
        group=group,
    )


class _Course:
    """One cow's year: how sore she is, who saw it, what was done."""

    def __init__(self, cow: Cow, today: date, rng: np.random.Generator) -> None:
        self.cow, self.today, self.rng = cow, today, rng
        self.level = int(rng.choice([1, 2], p=[0.6, 0.4]))
        self.risk = 0.05 + 0.022 * min(cow.parity or 0, 5)
        self.scores: list[PastScore] = []
        self.trims: list[Trim] = []
        self.treated: date | None = None

    def run(self) -> None:
        """Go through the monthly scoring days, the last one nine days ago."""
        if self.cow.parity == 0:
            return
        days = range(9 + 12 * SCORING_EVERY_DAYS, 8, -SCORING_EVERY_DAYS)
        for back in days:
            on = self.today - timedelta(days=back)
            self._get_sore_or_better()
            seen = self._see(on, "monthly", HERDSPERSON)
            if seen >= 3 and self.rng.random() < 0.85:
                self._treat(on + timedelta(days=int(self.rng.integers(0, 6))))
        # Nine days on, she walks as she does today.
        self._get_sore_or_better(share=0.3)

    def _get_sore_or_better(self, share: float = 1.0) -> None:
        draw = self.rng.random() / max(share, 1e-6)
        if self.level >= 3:
            better = 0.45 if self.treated else 0.12
            if draw < better:
                self.level = int(self.rng.choice([1, 2]))
            elif draw > 0.9 and not self.treated:
                self.level = min(self.level + 1, 5)
        elif draw < self.risk:
            self.level = int(self.rng.choice([3, 4, 5], p=[0.74, 0.23, 0.03]))
        elif draw < 0.4:
            self.level = int(self.rng.choice([1, 2], p=[0.6, 0.4]))
        if self.level < 3:
            self.treated = None

    def _see(self, on: date, why: str, who: str) -> int:
        slip = int(self.rng.choice([-1, 0, 1], p=[0.09, 0.82, 0.09]))
        score = min(max(self.level + slip, 1), 5)
        at = datetime.combine(on, time(6, 5), UTC) + timedelta(
            minutes=int(self.rng.integers(0, 100))
        )
        self.scores.append(PastScore(cow=self.cow.number, at=at, score=score, who=who, why=why))
        return score

    def _treat(self, on: date) -> None:
        if on >= self.today:
            return
        self.treated = on
        recheck = on + timedelta(days=RECHECK_DAYS)
        self.trims.append(self._therapeutic(on, recheck if recheck >= self.today else None))
        if recheck >= self.today:
            return
        self.level = int(
            self.rng.choice([1, 2, self.level, min(self.level + 1, 5)], p=[0.35, 0.33, 0.27, 0.05])
        )
        seen = self._see(recheck, "recheck", HERDSPERSON if self.rng.random() < 0.7 else VET)
        if seen < 3:
            self.treated = None

    def _therapeutic(self, on: date, recheck: date | None) -> Trim:
        pick = int(self.rng.choice(len(_LESIONS), p=[lesion[2] for lesion in _LESIONS]))
        code, zone, _, block, foot = _LESIONS[pick]
        if self.rng.random() < 0.4:
            foot = {"RH": "LH", "LH": "RH", "LF": "RF"}[foot]
        claw = "both" if code in ("DD", "IP") else "outer" if foot.endswith("H") else "inner"
        finding = Finding(
            foot=foot,
            claw=claw,
            zone=zone,
            code=code,
            stage="M2" if code == "DD" else None,
            severity="severe" if self.level >= 4 else "moderate",
            block=block,
            block_claw=OTHER_CLAW[claw] if block else None,
            bandage=code in ("DD", "SU") and bool(self.rng.random() < 0.5),
            toe_length_mm=float(np.round(self.rng.normal(80, 4))),
        )
        return Trim(
            cow=self.cow.number,
            on=on,
            who=TRIMMER if self.level < 5 else VET,
            reason="therapeutic",
            findings=(finding,),
            at=datetime.combine(on, time(9, 30), UTC),
            next_step="Score again after two weeks",
            recheck_on=recheck,
        )


def _maintenance(cow: Cow, today: date, rng: np.random.Generator) -> list[Trim]:
    """Trim at dry-off before the last calving and around 100 days in milk, most of the time."""
    days = []
    if cow.calved_on and (cow.parity or 0) > 1:
        days.append(cow.calved_on - timedelta(days=int(rng.integers(55, 66))))
    if cow.calved_on:
        days.append(cow.calved_on + timedelta(days=int(rng.integers(92, 121))))
    return [
        Trim(
            cow=cow.number,
            on=on,
            who=TRIMMER,
            reason="maintenance",
            at=datetime.combine(on, time(10, 0), UTC),
        )
        for on in days
        if today - timedelta(days=365) < on < today and rng.random() < 0.75
    ]


def film_cows(herd: DemoHerd, seed: int, count: int = 6) -> list[tuple[Cow, int]]:
    """Return cows for the exit-lane film in their order, each with the score she walks with.

    Milking cows that today walk with scores from 1 to 5 as a morning would show them: some sound,
    one or two lame.
    """
    rng = np.random.default_rng((seed, 82))
    milking = [cow for cow in herd.cows if cow.group in ("fresh", "high", "late")]
    wanted = ([1, 2, 1, 3, 2, 4, 1, 2] * (count // 8 + 1))[:count]
    chosen: list[tuple[Cow, int]] = []
    for score in wanted:
        free = [cow for cow in milking if cow not in [had for had, _ in chosen]]
        best = min(abs(herd.soreness[cow.number] - score) for cow in free)
        close = [cow for cow in free if abs(herd.soreness[cow.number] - score) == best]
        chosen.append((close[int(rng.integers(len(close)))], score))
    return [chosen[i] for i in rng.permutation(len(chosen))]


def herd_csv(herd: DemoHerd) -> str:
    """Return the herd list as CSV, dates in ISO form."""
    names = ["number", "electronic", "birth_on", "parity", "calved_on", "dried_off_on", "due_on"]
    names += ["group", "breed"]
    return _csv(names, [[getattr(cow, name) for name in names] for cow in herd.cows])


def scores_csv(herd: DemoHerd) -> str:
    """Return the score history as CSV."""
    return _csv(
        ["at", "number", "score", "who", "why"],
        [[s.at.isoformat(), s.cow, s.score, s.who, s.why] for s in herd.scores],
    )


def exit_order_csv(entries: list[tuple[datetime, Cow]]) -> str:
    """Return an exit-order list: time, animal number and electronic number."""
    return _csv(
        ["time", "animal_number", "electronic_number"],
        [[at.isoformat(timespec="seconds"), cow.number, cow.electronic] for at, cow in entries],
    )


def _csv(names: list[str], rows: list[list[object]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([["" if cell is None else str(cell) for cell in row] for row in rows])
    return out.getvalue()


def write_herd(herd: DemoHerd, folder: Path) -> None:
    """Write ``herd.csv``, ``scores.csv`` and ``trims.json`` into a folder."""
    (folder / "herd.csv").write_text(herd_csv(herd), encoding="utf-8", newline="")
    (folder / "scores.csv").write_text(scores_csv(herd), encoding="utf-8", newline="")
    trims = json.dumps([asdict(trim) for trim in herd.trims], default=str, indent=1)
    (folder / "trims.json").write_text(trims, encoding="utf-8")
