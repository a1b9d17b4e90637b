"""Go on training from the stored weights, which hold no normalisation any more.

Folding threw the normalisation away: what each layer's results look like over many pictures. It is
measured again here, and each layer's weights are set to a usual size, so that a step of training
changes them as much as it would those of a network that was never folded. The network computes
just what the stored one does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from models.training.network import CowMaps

Moments = dict[str, tuple[Tensor, Tensor]]


def unfold(stored: Mapping[str, NDArray[Any]], pictures: Iterable[Tensor], fresh: CowMaps) -> None:
    """Give a network the stored weights, with normalisation as it is on these pictures.

    Parameters
    ----------
    stored : mapping
        As ``CowMaps.fold`` gives them.
    pictures : iterable of Tensor
        Batches (n, 3, 192, 320), 0..1, like those to be trained on; some hundred pictures in all.
    fresh : CowMaps
        An unfolded network, its weights of the size that training starts from; filled in place.
    """
    folded = CowMaps(folded=True).eval()
    folded.load_folded(stored)
    folded.to(next(fresh.parameters()).device)
    moments = _moments(folded, pictures)
    for name, conv in fresh.convs.items():
        done = folded.convs[name]
        size = _size(conv) / _size(done)
        if name not in fresh.norms:
            size = 1.0
            conv.bias.data.copy_(done.bias.data)
        conv.weight.data.copy_(done.weight.data * size)
        if name in fresh.norms:
            _restore(fresh.norms[name], done, *moments[name], size)


def _size(conv: Any) -> float:
    return max(float(conv.weight.data.square().mean().sqrt()), 1e-9)


def _moments(folded: CowMaps, pictures: Iterable[Tensor]) -> Moments:
    """Mean and variance of the results of each layer, one number a channel."""
    sums: dict[str, list[Any]] = {name: [0, 0.0, 0.0] for name in folded.convs}

    def watch(name: str) -> Any:
        def note(_: nn.Module, __: Any, result: Tensor) -> None:
            known = sums[name]
            known[0] += result.shape[0] * result.shape[2] * result.shape[3]
            known[1] = known[1] + result.double().sum((0, 2, 3))
            known[2] = known[2] + result.double().square().sum((0, 2, 3))

        return note

    hooks = [conv.register_forward_hook(watch(name)) for name, conv in folded.convs.items()]
    with torch.no_grad():
        for batch in pictures:
            folded(batch)
    for hook in hooks:
        hook.remove()
    means = {name: total / count for name, (count, total, _) in sums.items()}
    return {
        name: (means[name], (squares / count - means[name] ** 2).clamp(min=0))
        for name, (count, _, squares) in sums.items()
    }


def _restore(norm: Any, done: Any, mean: Tensor, variance: Tensor, size: float) -> None:
    """Set a normalisation so that it gives back what the folded layer gave.

    Before it, results are ``size`` times the folded layer's less its bias.
    """
    norm.running_mean.copy_((mean - done.bias.data) * size)
    norm.running_var.copy_(variance * size**2)
    norm.weight.data.copy_(torch.sqrt(variance * size**2 + norm.eps) / size)
    norm.bias.data.copy_(mean)
