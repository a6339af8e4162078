"""Learn the network that finds characteristics in the standard view of a stone.

    python -m scripts.train_marks PACK.npz... OUT.npz     (needs torch; minutes on one GPU)

From the masks of the packs (scripts/photo_packs.py). Every picture is turned, mirrored, relit, blurred, sharpened and
given noise at random, so that lamp, tone curve and camera are not learned. Seeds are fixed; results differ between
GPUs in the last digits.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scripts.darkroom import Darkroom, Data, average_precision, begin, go_on, learn, mark_loss, parse, see, split

BATCH = 24
PLANES = 11
OUTPUTS = 2


def step_loss(torch: Any, net: Any, room: Darkroom, data: Data, rows: Any) -> Any:
    """Loss of some views, each developed by chance."""
    n, batch = len(rows), torch.tensor(rows, device=room.device)
    angle = room.uniform(n, 0, 2 * np.pi).view(-1)
    flip = torch.where(room.uniform(n, 0, 1).view(-1) < 0.5, 1.0, -1.0)
    scale = room.uniform(n, 0.985, 1.015).view(-1)
    shift = torch.cat([room.uniform(n, -0.008, 0.008), room.uniform(n, -0.008, 0.008)], 1).view(n, 2)
    with torch.no_grad():
        both = torch.cat([data.views[batch].float(), data.masks[batch].float()], 1) / 255
        both = room.warp(both, angle, scale, shift, flip)
        axis = flip * data.axis[batch] + angle + room.uniform(n, -0.008, 0.008).view(-1)
        inputs = room.inputs(room.relight(both[:, :1]), axis)
    return mark_loss(torch, see(torch, net, inputs), both[:, 1:], room.radius)


def measure(torch: Any, net: Any, room: Darkroom, data: Data, rows: list[int]) -> str:
    """Pixel-wise average precision on the held stones, as the pictures came."""
    maps, masks = [], []
    with torch.no_grad():
        for k in range(0, len(rows), BATCH):
            some = torch.tensor(rows[k : k + BATCH], device=room.device)
            maps.append(net(room.inputs(data.views[some].float() / 255, data.axis[some])))
            masks.append(data.masks[some].float() / 255)
        return average_precision(torch, torch.cat(maps), torch.cat(masks))


def main() -> None:
    choice = parse(__doc__, steps=100_000)
    torch, net, room, data = begin(choice, PLANES, OUTPUTS)
    go_on(torch, net, choice.start)
    to_learn, held = (set(names) for names in split(data.facts, choice.held_every))
    pool = [k for k, fact in enumerate(data.facts) if fact["stone"] in to_learn]
    watch = [k for k, fact in enumerate(data.facts) if fact["stone"] in held]
    learn(
        torch,
        net,
        choice,
        lambda rng: step_loss(torch, net, room, data, rng.choice(pool, BATCH)),
        lambda: measure(torch, net, room, data, watch),
    )


if __name__ == "__main__":
    main()
