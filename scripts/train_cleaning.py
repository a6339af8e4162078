"""Learn the network that compares a picture before cleaning with one after it.

    python -m scripts.train_cleaning PACK.npz... OUT.npz     (needs torch; minutes on one GPU)

It sees both pictures, the second turned onto the first, and says at every place of the first how probable a natural
mark, and how probable dirt, is there. Pairs: dirty and cleaned in one pose, dirty and cleaned turned freely, and clean
pairs, in which there is no dirt to be found.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
from scripts.darkroom import Darkroom, Data, average_precision, begin, learn, mark_loss, parse, split

PAIRS = {("V6", "V4"): 0.5, ("V1", "V2"): 0.25, ("V4", "V5"): 0.1, ("V6", "V5"): 0.15}
WATCHED = (("V6", "V4"), ("V1", "V2"))
BATCH = 16
PLANES = 21


def pair_inputs(torch: Any, room: Darkroom, first: Any, second: Any, turn: Any, shift: Any) -> Any:
    """Planes of A, those of B turned onto A without the radius, the radius last."""
    one = torch.ones(len(first), device=first.device)
    return torch.cat([first[:, :10], room.warp(second[:, :10], turn, one, shift, one), first[:, 10:]], 1)


def develop(torch: Any, room: Darkroom, data: Data, rows: Any, angle: Any, flip: Any, *, vary: bool) -> tuple[Any, ...]:
    """Network planes, masks and turns of some views, each turned by its angle."""
    batch, n = torch.tensor(rows, device=room.device), len(rows)
    one, none = torch.ones(n, device=room.device), torch.zeros(n, 2, device=room.device)
    scale = room.uniform(n, 0.99, 1.01).view(-1) if vary else one
    both = torch.cat([data.views[batch].float(), data.masks[batch].float()], 1) / 255
    both = room.warp(both, angle, scale, none, flip)
    shown = room.relight(both[:, :1]) if vary else both[:, :1]
    planes = room.inputs(shown, flip * data.axis[batch] + angle)
    return planes, both[:, 1:], flip * data.turn[batch] + angle


def step_loss(torch: Any, net: Any, room: Darkroom, data: Data, pairs: list[tuple[int, int]]) -> Any:
    """Developed by chance, laid on each other a little wrongly, as at the counter."""
    n = len(pairs)
    angle = room.uniform(2 * n, 0, 2 * np.pi).view(-1)
    flip = torch.where(room.uniform(n, 0, 1).view(-1) < 0.5, 1.0, -1.0).repeat(2)
    with torch.no_grad():
        rows = [a for a, _ in pairs] + [b for _, b in pairs]
        planes, masks, turn = develop(torch, room, data, rows, angle, flip, vary=True)
        shift = torch.cat([room.uniform(n, -0.006, 0.006), room.uniform(n, -0.006, 0.006)], 1).view(n, 2)
        onto = turn[:n] - turn[n:] + room.uniform(n, -0.004, 0.004).view(-1)
        inputs = pair_inputs(torch, room, planes[:n], planes[n:], onto, shift)
    return mark_loss(torch, net(inputs), masks[:n], room.radius)


def measure(torch: Any, net: Any, room: Darkroom, data: Data, pairs: list[tuple[int, int]]) -> str:
    maps, masks = [], []
    with torch.no_grad():
        for k in range(0, len(pairs), BATCH):
            some = pairs[k : k + BATCH]
            n = len(some)
            one, none = torch.ones(2 * n, device=room.device), torch.zeros(2 * n, device=room.device)
            rows = [a for a, _ in some] + [b for _, b in some]
            planes, mask, turn = develop(torch, room, data, rows, none, one, vary=False)
            still = torch.zeros(n, 2, device=room.device)
            maps.append(net(pair_inputs(torch, room, planes[:n], planes[n:], turn[:n] - turn[n:], still)))
            masks.append(mask[:n])
        return average_precision(torch, torch.cat(maps), torch.cat(masks))


def main() -> None:
    choice = parse(__doc__, steps=9000)
    torch, net, room, data = begin(choice, PLANES)
    stones: dict[str, dict[str, int]] = defaultdict(dict)
    for k, fact in enumerate(data.facts):
        stones[fact["stone"]][fact["view"]] = k
    to_learn, held = ([s for s in part if len(stones[s]) == 6] for part in split(data.facts, choice.held_every))
    kinds, shares = list(PAIRS), list(PAIRS.values())

    def some(rng: Any) -> list[tuple[int, int]]:
        chosen = [(name, kinds[rng.choice(len(kinds), p=shares)]) for name in rng.choice(to_learn, BATCH)]
        return [(stones[name][u], stones[name][v]) for name, (u, v) in chosen]

    def watch() -> str:
        pairs = [[(stones[s][u], stones[s][v]) for s in held] for u, v in WATCHED]
        return "; ".join(measure(torch, net, room, data, part) for part in pairs)

    learn(torch, net, choice, lambda rng: step_loss(torch, net, room, data, some(rng)), watch)


if __name__ == "__main__":
    main()
