"""``python3 -m tests.damage``: read 500 damaged films and 500 damaged lists, print a table."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

from gait import environment


def main() -> int:
    """Run inside the program's own environment."""
    parser = argparse.ArgumentParser(prog="python3 -m tests.damage", description=__doc__)
    parser.add_argument("--films", type=int, default=500, metavar="N")
    parser.add_argument("--lists", type=int, default=500, metavar="N")
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    args = parser.parse_args()
    try:
        python = environment.ensure("test")
    except environment.SetupFailed as problem:
        print(problem, file=sys.stderr)
        return 1
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return environment.run(python, ["-m", "tests.damage", *sys.argv[1:]])
    return read_all(args.first, args.films, args.lists)


def read_all(first: int, films: int, lists: int) -> int:
    """Read every damaged file; return 1 if any promise was broken."""
    from gait import bulk
    from gait.store import open_store
    from tests.damage import films as f
    from tests.damage import lists as li
    from tests.damage import watch as w

    bulk._network = w.SeesNothing  # type: ignore[assignment]
    found: list[w.Outcome] = []
    with tempfile.TemporaryDirectory() as scratch, open_store(Path(scratch) / "farm") as store:
        folder = Path(scratch)
        for seed in range(first, first + films):
            path = f.write_film(seed, folder)
            act = w.score_into(path, folder / "farm")
            found.append(w.watched(path.name, f"film: {f.kind_of(seed)}", store, act))
            path.unlink()
        for seed in range(first, first + lists):
            path = li.write_list(seed, folder)
            act = _reading(seed, path, folder)
            found.append(w.watched(path.name, f"list: {li.kind_of(seed)}", store, act))
        print_table(found, w.peak_memory(), w.own_peak_memory())
    return 1 if any(o.fault for o in found) else 0


def _reading(seed: int, path: Path, folder: Path):  # type: ignore[no-untyped-def]
    from tests.damage.lists import read_list

    return lambda: read_list(seed, path, folder)


def print_table(found, child: int, own: int) -> None:  # type: ignore[no-untyped-def]
    """Print one line a kind, then every fault in full."""
    by_kind = defaultdict(list)
    for outcome in found:
        by_kind[outcome.kind].append(outcome)
    print(f"{'kind':<28}{'files':>6}{'refused':>9}{'taken':>7}{'faults':>8}{'longest s':>11}")
    for kind, of_kind in by_kind.items():
        said = sum(bool(o.said) for o in of_kind)
        faults = sum(bool(o.fault) for o in of_kind)
        longest = max(o.wall_s for o in of_kind)
        count = len(of_kind)
        print(f"{kind:<28}{count:>6}{said:>9}{count - said:>7}{faults:>8}{longest:>11.1f}")
    print(f"most memory: {child / 1e6:.0f} MB decoding, {own / 1e6:.0f} MB this program")
    for outcome in found:
        if outcome.fault:
            print(f"FAULT {outcome.name} ({outcome.kind}): {outcome.fault}")


if __name__ == "__main__":
    raise SystemExit(main())
