"""Commands for the score model: learn, show, list, use; and agreement of scorers."""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path
from typing import Any

from gait.cli.farm import farm_option
from gait.cli.people import must_know
from gait.errors import ExchangeError

SCALE = (1, 2, 3, 4, 5)


def add_commands(commands: Any) -> None:
    """Add ``learn``, ``model`` and ``agree``."""
    learn = commands.add_parser("learn", help="learn from the herd's confirmed scores")
    farm_option(learn)
    learn.add_argument("--by", required=True, metavar="NAME")
    learn.set_defaults(run=run_learn)
    model = commands.add_parser("model", help="show, list or change the score model")
    what = model.add_subparsers(dest="what", required=True, metavar="show|list|use")
    for name, run in (("show", run_show), ("list", run_list), ("use", run_use)):
        part = what.add_parser(name)
        farm_option(part)
        part.set_defaults(run=run)
        if name == "use":
            part.add_argument("version")
            part.add_argument("--by", required=True, metavar="NAME")
    agree = commands.add_parser(
        "agree",
        help="compare two scorers",
        description="Compare two scorers. The CSV has a column for the cow and one for each "
        "scorer; or use --farm to compare people with the program.",
    )
    agree.add_argument("file", type=Path, nargs="?", metavar="FILE.csv")
    agree.add_argument("--farm", metavar="FOLDER", help="people against the program on this farm")
    agree.add_argument("--blind", action="store_true", help="with --farm: blind scores only")
    agree.set_defaults(run=run_agree, on_farm=True)


def run_learn(args: argparse.Namespace) -> int:
    """Learn and say what came of it."""
    from gait.farm import learn_from_herd
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "rules")
        lesson = learn_from_herd(store, who=args.by)
    print(lesson.sentence)
    return 0


def run_show(args: argparse.Namespace) -> int:
    """Print the model in use as JSON."""
    from gait.farm import model_in_use
    from gait.store import open_store

    with open_store(args.farm) as store:
        print(json.dumps(model_in_use(store).to_json(), indent=1))
    return 0


def run_list(args: argparse.Namespace) -> int:
    """List all versions."""
    from gait.farm import models_of
    from gait.store import open_store

    with open_store(args.farm) as store:
        for line in models_of(store):
            mark = "in use" if line.in_use else ""
            print(f"{line.version:<24} {mark:<7} {line.notes.get('statement', '')}")
    return 0


def run_use(args: argparse.Namespace) -> int:
    """Take another version into use."""
    from gait.farm import use_model
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "rules")
        use_model(store, args.version, who=args.by)
    print(f"Scores are now proposed by {args.version}. Earlier decisions are not changed.")
    return 0


def run_agree(args: argparse.Namespace) -> int:
    """Print agreement of two scorers."""
    if args.farm:
        from gait.store import open_store

        with open_store(args.farm) as store:
            pairs = list(store.scores.person_and_tool(blind_only=args.blind))
        print_agreement("person", "program", pairs)
        return 0
    if args.file is None:
        raise ExchangeError("Nothing to compare.", "Name a CSV file, or a farm with --farm.")
    first, second, pairs = read_pairs(args.file)
    print_agreement(first, second, pairs)
    return 0


def read_pairs(path: Path) -> tuple[str, str, list[tuple[int, int]]]:
    """Read two scorers' scores: the last two columns; rows with a gap are left out.

    Raises
    ------
    ExchangeError
        Not a CSV with two columns of scores 1-5; the message names the row.
    """
    try:
        rows = [r for r in csv.reader(path.read_text("utf-8-sig").splitlines()) if any(r)]
    except (OSError, UnicodeDecodeError, csv.Error) as trouble:
        raise ExchangeError(
            f"The file {path} cannot be read as CSV.", "Save it as CSV."
        ) from trouble
    if len(rows) < 2 or len(rows[0]) < 2:
        raise ExchangeError(
            f"The file {path.name} has no two columns of scores.",
            "It needs a header row, then one row a cow with both scores.",
        )
    pairs = []
    for number, row in enumerate(rows[1:], 2):
        if len(row) < len(rows[0]) or not row[-1].strip() or not row[-2].strip():
            continue
        pairs.append((_score(row[-2], number), _score(row[-1], number)))
    return rows[0][-2], rows[0][-1], pairs


def print_agreement(first: str, second: str, pairs: list[tuple[int, int]]) -> None:
    """Print the confusion table and the figures; no figures on too few pairs."""
    from gait.overview import too_few
    from gait.statistics import agreement as ag

    if not pairs:
        print("No cow was scored by both.")
        return
    table = ag.confusion_table([a for a, _ in pairs], [b for _, b in pairs], SCALE)
    print(f"{len(pairs)} cows scored by both. Rows: {first}, columns: {second}.")
    print("     " + "".join(f"{s:>6}" for s in SCALE))
    for score, row in zip(SCALE, table, strict=True):
        print(f"{score:>5}" + "".join(f"{n:>6}" for n in row))
    if few := too_few(len(pairs)):
        print(few)
        return
    for name, weights in (("kappa", "none"), ("linear", "linear"), ("quadratic", "quadratic")):
        k = ag.kappa(table, weights)  # type: ignore[arg-type]
        label = name if name == "kappa" else f"weighted kappa, {name}"
        print(f"{label}: {k.value:.3f} (95 % {k.low:.3f} to {k.high:.3f})")
    print(f"agreement: {ag.percent_agreement(table):.1%}, within one: "
          f"{ag.percent_agreement(table, 1):.1%}")  # fmt: skip
    print(f"PABAK {ag.pabak(table):.3f}, AC1 {ag.gwet(table):.3f}, "
          f"AC2 quadratic {ag.gwet(table, 'quadratic'):.3f}")  # fmt: skip
    lame = ag.lame_test([a for a, _ in pairs], [b for _, b in pairs])
    for what, e in (("sensitivity", lame.sensitivity), ("specificity", lame.specificity)):
        print(f"{what} of {second} for lame (3 and above): {e.value:.1%} "
              f"({e.low:.1%} to {e.high:.1%})")  # fmt: skip
    p = ag.mcnemar(lame.only_reference, lame.only_test)
    print(f"McNemar, equally many called lame: p = {p:.3f}")
    verdict = "reached" if ag.is_accepted(table) else "not reached"
    print(f"Published acceptance line (weighted kappa 0.6 and 75 %): {verdict}.")


def _score(text: str, row: int) -> int:
    try:
        score = float(text.strip())
    except ValueError:
        score = 0.0
    if score not in SCALE:
        raise ExchangeError(
            f"Row {row}: {text.strip()!r} is not a score from 1 to 5.", "Mend it and try again."
        )
    return int(score)
