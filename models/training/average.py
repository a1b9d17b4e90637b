"""Average the weights of runs that trained one network on and on.

Each run goes on from the one before, or starts beside another from the same weights, and ends at a
low rate, so their ends lie in one valley; its middle is a little steadier than any end. Run
``python -m models.training.average OUT_FOLDER VERSION STATE.pt=SHARE [STATE.pt=SHARE ...]``.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import torch
from torch import Tensor

from models.training.network import CowMaps
from models.training.train import store


def average(states: list[tuple[Mapping[str, Tensor], float]]) -> dict[str, Tensor]:
    """Return the weighted mean of states of one network; counts are taken from the first."""
    total = sum(share for _, share in states)
    return {
        name: sum(s[name].double() * (share / total) for s, share in states).to(value.dtype)
        if value.dtype.is_floating_point
        else value
        for name, value in states[0][0].items()
    }


def main(out: Path, version: str, *named: str) -> None:
    """Read the states, write ``state.pt`` and ``cow_side_weights.npz``."""
    states = []
    for item in named:
        path, share = item.rsplit("=", 1)
        states.append((torch.load(path, map_location="cpu", weights_only=True), float(share)))
    mean = average(states)
    net = CowMaps()
    net.load_state_dict(mean)
    torch.save(mean, out / "state.pt")
    store(net.eval(), version, out)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], *sys.argv[3:])
