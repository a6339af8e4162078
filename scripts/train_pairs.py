"""Learn the network that sees two pictures at once, one turned onto the other.

    python -m scripts.train_pairs PACK.npz... OUT.npz     (needs torch; minutes on one GPU)

It says at every place of the first how probable a natural mark and dirt are there, how probable a natural mark is in
the second, and how much the place speaks for one stone or for two. Pairs: one stone, dirty and cleaned or twice clean,
under one lamp or two; a stone and its clone; a stone and itself turned by a wrong multiple of 45 degrees (a stranger of
the same lamp and camera); strangers.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from scripts.darkroom import Darkroom, Data, average_precision, begin, go_on, learn, parse, place_loss, see, split

from samestone.imaging.pair import PER_PLACE

CLEANING = {("V6", "V4"): 0.55, ("V1", "V2"): 0.3, ("V4", "V5"): 0.1, ("V2", "V3"): 0.05}
COMPARED = {("V4", "V5"): 0.3, ("V6", "V5"): 0.25, ("V2", "V3"): 0.15, ("V1", "V3"): 0.15, ("V1", "V2"): 0.15}
KINDS = {"cleaned": 0.35, "same": 0.25, "clone": 0.2, "turned": 0.15, "other": 0.05}
WATCHED = (("V6", "V4"), ("V1", "V2"))
BATCH = 16
PLANES = 22
OUTPUTS = 4  # natural in A, dirt in A, natural in B, evidence
EVIDENCE = 3
SHARE = 0.05  # of the verdict on whole pairs in the loss, beside that on places


@dataclass(frozen=True)
class Pair:
    """Two views by number, by how many eighths they are turned wrongly, whether they are one stone, and known to be."""

    a: int
    b: int
    eighths: int
    same: bool
    known: bool = False


def pair_inputs(torch: Any, first: Any, second: Any, known: Any) -> Any:
    """Planes of A, those of B (turned onto A already) without the radius, the radius, 1 where known to be one stone."""
    told = known.view(-1, 1, 1, 1).expand(-1, 1, *first.shape[2:])
    return torch.cat([first[:, :10], second[:, :10], first[:, 10:], told], 1)


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


def lay(torch: Any, room: Darkroom, data: Data, pairs: list[Pair], *, vary: bool) -> tuple[Any, Any, Any]:
    """Network inputs, masks of A and masks of B on A; where they vary, laid a little wrongly, as at the counter."""
    n = len(pairs)
    rows = [pair.a for pair in pairs] + [pair.b for pair in pairs]
    one, none = torch.ones(n, device=room.device), torch.zeros(n, device=room.device)
    angle, flip, slip, shift = (
        torch.cat([none, none]),
        torch.cat([one, one]),
        none,
        torch.zeros(n, 2, device=room.device),
    )
    if vary:
        angle = room.uniform(2 * n, 0, 2 * np.pi).view(-1)
        flip = torch.where(room.uniform(n, 0, 1).view(-1) < 0.5, 1.0, -1.0).repeat(2)
        slip = room.uniform(n, -0.004, 0.004).view(-1)
        shift = torch.cat([room.uniform(n, -0.006, 0.006), room.uniform(n, -0.006, 0.006)], 1).view(n, 2)
    planes, masks, turn = develop(torch, room, data, rows, angle, flip, vary=vary)
    wrong = torch.tensor([np.pi / 4 * pair.eighths for pair in pairs], dtype=torch.float32, device=room.device)
    onto = turn[:n] - turn[n:] + wrong + slip
    second = room.warp(planes[n:], onto, one, shift, one)
    known = torch.tensor([float(pair.known) for pair in pairs], device=room.device)
    return pair_inputs(torch, planes[:n], second, known), masks[:n], room.warp(masks[n:], onto, one, shift, one)


def evidence(room: Darkroom, logits: Any) -> Any:
    """Natural-logarithm odds for one stone, per pair."""
    return (logits[:, EVIDENCE].float() * room.half_inside).sum((1, 2)) * PER_PLACE


def step_loss(torch: Any, net: Any, room: Darkroom, data: Data, pairs: list[Pair]) -> Any:
    """Of places, and of whole pairs that are not known to be one stone."""
    with torch.no_grad():
        inputs, masks_a, masks_b = lay(torch, room, data, pairs, vary=True)
    logits = see(torch, net, inputs)
    wanted = ((0, masks_a[:, 1], masks_a[:, 0]), (1, masks_a[:, 2], masks_a[:, 0]), (2, masks_b[:, 1], masks_b[:, 0]))
    places = sum(place_loss(torch, logits[:, k], mask, faint, room.radius) for k, mask, faint in wanted)
    same = torch.tensor([float(pair.same) for pair in pairs], device=room.device)
    asked = torch.tensor([float(not pair.known) for pair in pairs], device=room.device)
    whole = torch.nn.functional.binary_cross_entropy_with_logits(evidence(room, logits), same, weight=asked)
    return places + SHARE * whole


class Album:
    """Which pairs can be laid out of a pack's stones."""

    def __init__(self, data: Data, stones: list[str]) -> None:
        self.views: dict[str, dict[str, int]] = defaultdict(dict)
        self.family: dict[str, str] = {}
        for k, fact in enumerate(data.facts):
            if fact["stone"] in set(stones):
                self.views[fact["stone"]][fact["view"]] = k
                self.family[fact["stone"]] = fact["of"] or fact["stone"]
        self.stones = [stone for stone in stones if len(self.views[stone]) == 6]
        members = defaultdict(list)
        for stone in self.stones:
            members[self.family[stone]].append(stone)
        self.copies = {s: [t for t in members[self.family[s]] if t != s] for s in self.stones}

    def pair(self, a: str, b: str, views: tuple[str, str], eighths: int = 0, *, known: bool = False) -> Pair:
        return Pair(self.views[a][views[0]], self.views[b][views[1]], eighths, a == b and eighths == 0, known)

    def draw(self, rng: Any) -> Pair:
        """One pair by chance."""
        kind, stone = choose(rng, KINDS), str(rng.choice(self.stones))
        if kind == "cleaned":
            return self.pair(stone, stone, choose(rng, CLEANING), known=True)
        views = choose(rng, COMPARED)
        if kind == "same":
            return self.pair(stone, stone, views)
        if kind == "turned":
            return self.pair(stone, str(rng.choice([stone, *self.copies[stone]])), views, int(rng.integers(1, 8)))
        if kind == "clone" and self.copies[stone]:
            return self.pair(stone, str(rng.choice(self.copies[stone])), views)
        other = str(rng.choice(self.stones))
        return self.pair(stone, other, views, int(rng.integers(0, 8)) if other != stone else 1)


def choose(rng: Any, shares: dict[Any, float]) -> Any:
    """One of the keys by chance."""
    return list(shares)[rng.choice(len(shares), p=list(shares.values()))]


def measure_places(torch: Any, net: Any, room: Darkroom, data: Data, pairs: list[Pair]) -> tuple[str, Any]:
    """Average precision by pixels, and the evidence of each pair, as the pictures came."""
    maps, masks, weighed = [], [], []
    with torch.no_grad():
        for k in range(0, len(pairs), BATCH):
            inputs, mask, _ = lay(torch, room, data, pairs[k : k + BATCH], vary=False)
            logits = net(inputs)
            maps.append(logits[:, :2])
            masks.append(mask)
            weighed.append(evidence(room, logits))
        return average_precision(torch, torch.cat(maps), torch.cat(masks)), torch.cat(weighed).cpu().numpy()


def costs(same: Any, copies: Any, turned: Any) -> str:
    """Mean cost in bits of the evidence for pairs of one stone, of clones, and laid wrongly."""
    parts = {"same": -same, "clone": copies, "turned": turned}
    return ", ".join(f"{name} {np.logaddexp(0, x).mean() / np.log(2):.3f}" for name, x in parts.items())


def watch(torch: Any, net: Any, room: Darkroom, data: Data, held: Album) -> str:
    """How well it does on the stones held back."""
    words = []
    for views in WATCHED:
        pairs = [held.pair(s, s, views, known=True) for s in held.stones]
        words.append(f"{'-'.join(views)} {measure_places(torch, net, room, data, pairs)[0]}")
    for views in COMPARED:
        sets = [[held.pair(s, s, views) for s in held.stones]]
        sets.append([held.pair(s, t, views) for s in held.stones for t in held.copies[s]])
        sets.append([held.pair(s, s, views, 1 + k % 7) for k, s in enumerate(held.stones)])
        found = [measure_places(torch, net, room, data, pairs)[1] for pairs in sets]
        words.append(f"{'-'.join(views)} cost {costs(*found)}")
    return "\n   ".join(words)


def main() -> None:
    choice = parse(__doc__, steps=100_000)
    torch, net, room, data = begin(choice, PLANES, OUTPUTS)
    for part in (net.end.weight, net.end.bias):
        torch.nn.init.zeros_(part[EVIDENCE : EVIDENCE + 1])
    go_on(torch, net, choice.start)
    to_learn, held = (Album(data, stones) for stones in split(data.facts, choice.held_every))
    learn(
        torch,
        net,
        choice,
        lambda rng: step_loss(torch, net, room, data, [to_learn.draw(rng) for _ in range(BATCH)]),
        lambda: watch(torch, net, room, data, held),
    )


if __name__ == "__main__":
    main()
