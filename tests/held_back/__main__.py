"""``python3 -m tests.held_back FOLDER``: errors of every measure on drawn clips, and intervals.

The clips are drawn first if the folder lacks them (minutes). Passes are kept beside the clips by
network, so that a change of a measure is judged in seconds.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from gait.pose import CowNetwork
from gait.statistics.spread import TWO_SIDED_90
from tests.held_back.compare import OWN_ASYMMETRY, Outcome, compare
from tests.held_back.scenes import CLIPS, draw_clips
from tests.held_back.tracks import tracks_of

TARGETS = {
    "back_arch": (0.03, 0.08),
    "head_bob_a1_pct": (0.6, 0.0),
    "stride_duration_s": (0.0, 0.02),
    "step_time_asymmetry_pct": (3.0, 0.0),
    OWN_ASYMMETRY: (3.0, 0.0),
}
"""Largest error allowed: in the measure's unit, or as a share of the truth if that is larger."""


def main() -> None:
    """Draw what lacks, look, measure, print."""
    parser = argparse.ArgumentParser(prog="python3 -m tests.held_back", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--clips", choices=CLIPS, default="held-back", help="which set of clips")
    parser.add_argument("--again", action="store_true", help="let the network look again")
    parser.add_argument("--each", action="store_true", help="a line for each clip as well")
    args = parser.parse_args()
    clips = draw_clips(args.folder, CLIPS[args.clips])
    outcomes = []
    with CowNetwork() as network:
        for clip in clips:
            outcomes.append(compare(clip, tracks_of(clip, network, again=args.again)))
            if args.each:
                print(clip_line(outcomes[-1]), flush=True)
        print(f"network {network.card.version}, {len(clips)} clips")
    print(report(outcomes))


def report(outcomes: list[Outcome]) -> str:
    """The table: one line for each measure, then the hoof events."""
    usable = [o for o in outcomes if o.usable]
    lines = [f"{'measure':25} n   bias      rms       worst     in target  interval holds"]
    for name in dict.fromkeys(name for o in usable for name in o.errors):
        lines.append(measure_line(name, [o.errors[name] for o in usable if name in o.errors]))
    ons, missed = sum(o.true_ons for o in usable), sum(o.missed for o in usable)
    whole = sum(o.missed == 0 for o in usable)
    on_ms, off_ms = (1e3 * np.concatenate([getattr(o, k) for o in usable]) for k in _KINDS)
    lines += [
        f"usable {len(usable)} of {len(outcomes)}, passes {sum(o.passes for o in outcomes)}; "
        f"every hoof-on found in {whole} of {len(usable)}",
        f"hoof-ons {ons}, missed {missed}, invented {sum(o.invented for o in usable)}; "
        f"on {on_ms.mean():+.1f} (sd {on_ms.std():.1f}) ms, "
        f"off {off_ms.mean():+.1f} (sd {off_ms.std():.1f}) ms",
    ]
    return "\n".join(lines)


_KINDS = ("on_s", "off_s")


def measure_line(name: str, found: list[tuple[float, float, float]]) -> str:
    """One measure: error found minus true, share within the target, share of intervals that hold.

    Parameters
    ----------
    name : str
    found : list of tuple
        Truth, what was measured and its standard error.
    """
    true, value, se = np.array(found).T
    error = value - true
    target = "  -  "
    if name in TARGETS:
        least, share = TARGETS[name]
        allowed = np.maximum(least, share * np.abs(true))
        target = f"{(np.abs(error) <= allowed).sum():2} of {len(true):2}"
    holds = np.abs(error) <= TWO_SIDED_90 * se
    return (
        f"{name:25} {len(true):2} {error.mean():+9.4f} {np.sqrt((error**2).mean()):9.4f} "
        f"{error[np.abs(error).argmax()]:+9.4f}   {target:10} {holds.mean():.2f}"
    )


def clip_line(outcome: Outcome) -> str:
    """One clip: how many errors each measure is off, and what was said about it."""
    off = {
        name.removesuffix("_pct"): f"{(value - true) / se:+.1f}"
        for name, (true, value, se) in outcome.errors.items()
    }
    state = "" if outcome.usable else "REFUSED "
    events = f"missed {outcome.missed} of {outcome.true_ons}, invented {outcome.invented}"
    return f"{outcome.clip} {state}{events} {off} {' '.join(outcome.problems)}"


if __name__ == "__main__":
    main()
