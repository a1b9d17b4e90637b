"""Train the network on one GPU within a given number of minutes.

Run ``python -m models.training.train DATA.npz IMAGENET.pth OUT_FOLDER MINUTES``; with ``--state``
the state of an earlier run is trained on, with ``--weights`` the stored weights. Writes
``cow_side_weights.npz`` (folded running average, ready for ``export.py``) and ``state.pt``.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from models.training.album import Mixture
from models.training.architecture import CENTRE, read_weights
from models.training.drawers import Drawers
from models.training.network import CowMaps
from models.training.probe import probe
from models.training.scene import Scenes
from models.training.targets import losses
from models.training.unfold import unfold

SEED = 20
PEAK_RATE, LAST_RATE, WARM_UP = 1.6e-3, 1e-5, 200
WEIGHT_DECAY = 0.02
AVERAGE = 0.999
CENTRE_PRIOR = -4.6
CLIP = 5.0
PROBE_CELLS = 64
MEASURED_BATCHES = 12
"""Batches over which the normalisation of stored weights is measured."""
DRAWERS = 8
"""Drawing processes; they share the GPUs that do not train, if there are any."""


def rate_at(done: float, step: int, peak: float, last: float) -> float:
    """Learning rate after a share ``done`` of the time: warm-up, then half a cosine."""
    falling = last + (peak - last) * (0.5 + 0.5 * math.cos(math.pi * done))
    return falling * min(1, (step + 1) / WARM_UP)


def follow(average: nn.Module, net: nn.Module, step: int) -> None:
    """Let the running average of the weights follow."""
    keep = min(AVERAGE, step / (step + 30))
    pairs = [
        (a, b)
        for a, b in zip(average.state_dict().values(), net.state_dict().values(), strict=True)
        if a.dtype.is_floating_point
    ]
    torch._foreach_lerp_([a for a, _ in pairs], [b for _, b in pairs], 1 - keep)


def start(given: argparse.Namespace, batches: Iterator[Scenes], device: str) -> CowMaps:
    """Return the network with ImageNet weights, or as an earlier run left it."""
    net = CowMaps()
    if given.state:
        net.load_state_dict(torch.load(given.state, map_location="cpu", weights_only=True))
    else:
        net.load_pretrained(torch.load(given.imagenet, map_location="cpu", weights_only=True))
        net.convs["maps"].bias.data.zero_()
        net.convs["maps"].bias.data[CENTRE] = CENTRE_PRIOR
    net.to(device, memory_format=torch.channels_last)
    if given.weights:
        pictures = (scenes.image for scenes in islice(batches, MEASURED_BATCHES))
        unfold(read_weights(given.weights)[0], pictures, net)
    return net


def train(
    batches: Iterator[Scenes],
    net: CowMaps,
    device: str,
    minutes: float,
    peak: float = PEAK_RATE,
    last: float = LAST_RATE,
) -> CowMaps:
    """Train for the given time and return the running average."""
    average = copy.deepcopy(net).requires_grad_(False)
    decayed = [p for p in net.parameters() if p.dim() > 1]
    rest = [p for p in net.parameters() if p.dim() == 1]
    optimiser = torch.optim.AdamW(
        [{"params": decayed, "weight_decay": WEIGHT_DECAY}, {"params": rest, "weight_decay": 0.0}],
        lr=peak,
        fused=device == "cuda",
    )
    began, step, waited = time.monotonic(), 0, 0.0
    shown: dict[str, Tensor] = {}
    while (done := (time.monotonic() - began) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate_at(done, step, peak, last)
        asked = time.monotonic()
        scenes = next(batches)
        waited += time.monotonic() - asked
        image = scenes.image.contiguous(memory_format=torch.channels_last)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            maps = net(image)
        parts = losses(maps.float(), scenes)
        optimiser.zero_grad(set_to_none=True)
        torch.stack(list(parts.values())).sum().backward()
        nn.utils.clip_grad_norm_(net.parameters(), CLIP)
        optimiser.step()
        with torch.no_grad():
            follow(average, net, step)
        step += 1
        for name, part in parts.items():
            shown[name] = part.detach() * 0.02 + shown.get(name, part.detach()) * 0.98
        if step % 250 == 0 or step == 12:
            told = " ".join(f"{k} {v.item():.4f}" for k, v in shown.items())
            took = time.monotonic() - began
            print(f"{step} {took:.0f}s waited {waited:.0f}s {told}", flush=True)
    return average


def store(net: CowMaps, version: str, out: Path) -> None:
    """Fold and store the weights, with what PyTorch makes of the probe picture."""
    folded = net.float().fold()
    plain = CowMaps(folded=True)
    plain.load_folded(folded)
    picture = torch.from_numpy(probe()).permute(2, 0, 1)[None].float() / 255
    with torch.no_grad():
        maps = plain.eval()(picture)[0].flatten(1).numpy()
    cells = np.linspace(0, maps.shape[1] - 1, PROBE_CELLS).astype(int)
    np.savez(
        out / "cow_side_weights.npz", version=version, probe_cells=cells,
        probe_maps=maps[:, cells], **folded,
    )  # fmt: skip


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("imagenet", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("minutes", type=float)
    parser.add_argument("--state", type=Path, help="go on from an earlier run")
    parser.add_argument("--weights", type=Path, help="go on from stored weights")
    parser.add_argument("--version", default="0.1.0")
    parser.add_argument("--peak-rate", type=float, default=PEAK_RATE)
    parser.add_argument("--last-rate", type=float, default=LAST_RATE)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--drawers", type=int, default=DRAWERS, help="drawing processes")
    parser.add_argument("--smaller", type=int, default=1, help="divide the batch, for trying out")
    given = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(given.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    count = torch.cuda.device_count() if device == "cuda" else 0
    others = [f"cuda:{i}" for i in range(1, count)] or [device]
    devices = [others[i % len(others)] for i in range(given.drawers)]
    mixture = Mixture().times(1 / given.smaller)
    drawers = Drawers(given.data, device, devices, mixture, given.seed)
    batches = iter(drawers)
    net = start(given, batches, device).train()
    average = train(batches, net, device, given.minutes, given.peak_rate, given.last_rate)
    drawers.close()
    state = {k: v.cpu().contiguous() for k, v in average.state_dict().items()}
    torch.save(state, given.out / "state.pt")
    store(average.cpu().eval(), given.version, given.out)


if __name__ == "__main__":
    main()
