"""Stored views made into what a network sees, each time developed a little differently; the network itself.

Everything is done in torch, in batches, and mirrors what samestone.imaging does in numpy for one picture.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scripts.photo_packs import load_pack

SIDE, HALF, GIRDLE = 560, 280, 260.0


def build_network(torch: Any, widths: tuple[int, ...], planes: int, outputs: int) -> Any:
    """Planes at half size in; as many maps of logits as wanted, same size, out."""
    nn = torch.nn

    class Block(nn.Module):  # type: ignore[misc, name-defined]
        def __init__(self, width: int) -> None:
            super().__init__()
            self.filter = nn.Conv2d(width, width, 5, padding=2, groups=width)
            self.widen, self.narrow = nn.Conv2d(width, 2 * width, 1), nn.Conv2d(2 * width, width, 1)
            nn.init.zeros_(self.narrow.weight)

        def forward(self, x: Any) -> Any:
            return x + self.narrow(torch.relu(self.widen(self.filter(x))))

    class Marks(nn.Module):  # type: ignore[misc, name-defined]
        def __init__(self) -> None:
            super().__init__()
            a, b, c = widths
            self.start, self.end = nn.Conv2d(planes, a, 1), nn.Conv2d(a, outputs, 1)
            self.down1, self.down2 = nn.Conv2d(a, b, 1), nn.Conv2d(b, c, 1)
            self.up1, self.up2 = nn.Conv2d(b, a, 1), nn.Conv2d(c, b, 1)
            for name, width, count in (("fine", a, 4), ("middle", b, 3), ("coarse", c, 2)):
                for k in range(1, count + 1):
                    setattr(self, f"{name}{k}", Block(width))
            nn.init.constant_(self.end.bias, -4.0)

        def forward(self, x: Any) -> Any:
            up, pool = nn.functional.interpolate, nn.functional.avg_pool2d
            fine = self.fine2(self.fine1(torch.relu(self.start(x))))
            middle = self.middle2(self.middle1(self.down1(pool(fine, 2))))
            coarse = self.coarse2(self.coarse1(self.down2(pool(middle, 2))))
            middle = self.middle3(middle + self.up2(up(coarse, scale_factor=2, mode="nearest")))
            fine = self.fine4(self.fine3(fine + self.up1(up(middle, scale_factor=2, mode="nearest"))))
            return self.end(fine)

    return Marks()


class Darkroom:
    """Turns stored views into network inputs on the device, each time developed a little differently."""

    def __init__(self, torch: Any, device: str, seed: int) -> None:
        self.torch, self.device = torch, device
        self.rng = torch.Generator(device).manual_seed(seed)
        rows, columns = np.mgrid[0:HALF, 0:HALF]
        radius = np.hypot(columns - (HALF - 1) / 2, rows - (HALF - 1) / 2) / (GIRDLE / 2)
        self.radius = torch.tensor(radius, dtype=torch.float32, device=device)
        self.half_inside = self.radius < 0.97
        rows, columns = np.mgrid[0:SIDE, 0:SIDE]
        self.inside = torch.tensor(np.hypot(columns - 279.5, rows - 279.5) <= 0.97 * GIRDLE, device=device)

    def uniform(self, n: int, low: float, high: float) -> Any:
        return low + (high - low) * self.torch.rand(n, 1, 1, 1, generator=self.rng, device=self.device)

    def chance(self, n: int, share: float) -> Any:
        return (self.uniform(n, 0, 1) < share).float()

    def smooth(self, x: Any, sigma: float) -> Any:
        """A Gaussian, mirrored at the rim, as two products with a matrix: on a graphics card faster than filtering."""
        rows, columns = (self.gaussian(size, sigma) for size in x.shape[2:])
        return rows @ x @ columns.T

    @lru_cache(maxsize=16)  # noqa: B019 -- one darkroom lives as long as the program
    def gaussian(self, size: int, sigma: float) -> Any:
        """The matrix (size x size) that smooths a column."""
        reach = int(4 * sigma + 0.5)
        steps = np.arange(-reach, reach + 1)
        weights = np.exp(-0.5 * (steps / sigma) ** 2)
        at = np.abs(np.arange(size)[:, None] + steps)
        at = np.where(at > size - 1, 2 * (size - 1) - at, at)
        matrix = np.zeros((size, size))
        np.add.at(matrix, (np.arange(size)[:, None], at), weights / weights.sum())
        return self.torch.tensor(matrix, dtype=self.torch.float32, device=self.device)

    def warp(self, x: Any, angle: Any, scale: Any, shift: Any, flip: Any) -> Any:
        """Turn counter-clockwise as seen by `angle` radians; mirrored top to bottom first where `flip` is -1."""
        t = self.torch
        c, s = t.cos(angle) / scale, t.sin(angle) / scale
        theta = t.stack([t.stack([c, -s, shift[:, 0]], 1), t.stack([s * flip, c * flip, shift[:, 1]], 1)], 1)
        grid = t.nn.functional.affine_grid(theta, [x.shape[0], 1, *x.shape[2:]], align_corners=False)
        return t.nn.functional.grid_sample(x, grid, mode="bilinear", padding_mode="border", align_corners=False)

    def relight(self, x: Any) -> Any:
        """Encoded 0 to 1 in, another camera's and lamp's encoded 0 to 1 out."""
        t, n = self.torch, x.shape[0]
        wide = t.randn(n, 1, 6, 6, generator=self.rng, device=self.device)
        wide = t.nn.functional.interpolate(wide, size=x.shape[2:], mode="bicubic", align_corners=False)
        x = x * t.exp(self.uniform(n, -0.45, 0.25)) * t.exp(0.10 * wide * self.uniform(n, 0, 1.5))
        x = x.clamp(1e-4, 1) ** t.exp(self.uniform(n, -0.4, 0.4))
        blurred = self.smooth(x, 1.0)
        share = self.uniform(n, -0.9, 1.0) * self.chance(n, 0.7)
        x = x + share * (blurred - x)
        x = t.where(self.chance(n, 0.2) > 0, self.smooth(x, 1.8), x)
        grain = t.randn(x.shape, generator=self.rng, device=self.device)
        grain = t.where(self.chance(n, 0.5) > 0, self.smooth(grain, 0.7) * 2.2, grain)
        x = x + grain * self.uniform(n, 0, 0.022) * t.sqrt(x.clamp(1e-3, 1))
        return (x.clamp(0, 1) * 255).round() / 255

    def inputs(self, x: Any, axis: Any, fold: int = 8) -> Any:
        """What samestone.imaging.characteristic.network_inputs makes, for a batch."""
        t = self.torch
        light = t.log(x**2.2 + 0.02)
        high = light - self.smooth(light, 9)
        detail = (high / t.sqrt(self.smooth(high * high, 9) + 4e-4)).clamp(-4, 4) / 2
        mean = (light * self.inside).sum((2, 3), keepdim=True) / self.inside.sum()
        level = ((light - mean) / 1.5).clamp(-2, 2)
        darker, brighter = self.breaks(t.nn.functional.avg_pool2d(light, 2), axis, fold)
        radius = self.radius.expand(x.shape[0], 1, HALF, HALF)
        return t.cat([self.sub_pixels(detail), self.sub_pixels(level), darker, brighter, radius], 1)

    def sub_pixels(self, plane: Any) -> Any:
        return self.torch.cat([plane[:, :, i::2, j::2] for i in (0, 1) for j in (0, 1)], 1)

    def breaks(self, half: Any, axis: Any, fold: int) -> tuple[Any, Any]:
        t, n = self.torch, half.shape[0]
        level = half - self.smooth(half, 12)
        one, none = t.ones(n, device=self.device), t.zeros(n, 2, device=self.device)
        low: list[Any] = []
        high: list[Any] = []
        for k in range(fold):
            turn = 2 * np.pi / fold * k
            for flip, angle in ((1, one * turn), (-1, 2 * axis + turn)):
                if flip == 1 and k == 0:
                    continue
                copy = self.warp(level, angle, one, none, one * flip)
                self.keep(low, -t.nn.functional.max_pool2d(-copy, 5, 1, 2))
                self.keep(high, -t.nn.functional.max_pool2d(copy, 5, 1, 2))
        return (low[-1] - level).clamp(min=0), (level + high[-1]).clamp(min=0)

    def keep(self, kept: list[Any], rest: Any, rank: int = 3) -> None:
        """Keep the lowest few of what was shown so far, in order, pixel by pixel."""
        for k, held in enumerate(kept):
            kept[k], rest = self.torch.minimum(held, rest), self.torch.maximum(held, rest)
        if len(kept) < rank:
            kept.append(rest)


def mark_loss(torch: Any, logits: Any, masks: Any, radius: Any) -> Any:
    """Cross entropy of natural marks and dirt. Masks: faint, natural, dirt."""
    return sum(place_loss(torch, logits[:, k], masks[:, 1 + k], masks[:, 0], radius) for k in range(2))


def place_loss(torch: Any, logits: Any, wanted: Any, faint: Any, radius: Any) -> Any:
    """Cross entropy per half-size pixel of one class; faint marks hardly count, marks count threefold."""
    functional = torch.nn.functional
    wanted, faint = (functional.max_pool2d(mask[:, None], 2)[:, 0] for mask in (wanted, faint))
    there = (wanted > 0.45).float()
    sure = (1 - 0.8 * ((faint > 0.3) & (wanted < 0.5)).float()) * (radius < 0.97) * (1 + 2 * there)
    return (functional.binary_cross_entropy_with_logits(logits, there, reduction="none") * sure).mean()


def average_precision(torch: Any, logits: Any, masks: Any) -> str:
    """Of natural marks and dirt, over every second pixel each way; masks as for mark_loss."""
    words = []
    wanted = torch.nn.functional.max_pool2d(masks, 2)[:, 1:, ::2, ::2] > 0.45
    for k, name in enumerate(("natural", "dirt")):
        p, y = logits[:, k, ::2, ::2].flatten().float(), wanted[:, k].flatten().float()
        order = p.argsort(descending=True)
        hits = y[order].cumsum(0)
        precision = hits / torch.arange(1, len(hits) + 1, device=hits.device)
        words.append(f"{name} AP {float((precision * y[order]).sum() / y.sum()):.3f} (base {float(y.mean()):.3f})")
    return ", ".join(words)


def see(torch: Any, net: Any, inputs: Any) -> Any:
    """Logits, worked out as fast as the device can where half precision will do (learning, not measuring)."""
    with torch.autocast(inputs.device.type, torch.bfloat16, enabled=inputs.is_cuda):
        return net(inputs.contiguous(memory_format=torch.channels_last)).float()


def save(net: Any, out: str | Path) -> None:
    """The weights as half-precision arrays."""
    np.savez_compressed(out, **{k: v.detach().cpu().numpy().astype(np.float16) for k, v in net.state_dict().items()})


@dataclass
class Data:
    """Everything on the device: views, masks, and per view its mirror axis and turn (radians)."""

    views: Any
    masks: Any
    axis: Any
    turn: Any
    facts: list[dict[str, Any]]


def load(torch: Any, paths: list[str], device: str) -> Data:
    """The packs one after the other."""
    parts = [load_pack(path) for path in paths]
    facts = [fact for part in parts for fact in part[2]]
    views, masks = (np.concatenate([part[k] for part in parts]) for k in (0, 1))

    def angles(name: str) -> Any:
        return torch.tensor([np.radians(f[name]) for f in facts], dtype=torch.float32, device=device)

    put = [torch.tensor(x, device=device) for x in (views[:, None], masks)]
    return Data(*put, angles("axis"), angles("rotation_deg"), facts)


def parse(description: str | None, steps: int) -> argparse.Namespace:
    """What both training scripts can be told."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("packs", nargs="+")
    parser.add_argument("out")
    parser.add_argument("--steps", type=int, default=steps)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long, the learning rate run down")
    parser.add_argument("--every", type=int, default=1000, help="measure on what is held back after so many steps")
    parser.add_argument("--widths", type=int, nargs=3, default=(24, 48, 64))
    parser.add_argument("--start", help="weights to go on from instead of by chance")
    parser.add_argument("--rate", type=float, default=4e-3, help="the highest learning rate")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--held-every", type=int, default=10, help="one family in so many is held back to watch")
    return parser.parse_args()


def split(facts: list[dict[str, Any]], every: int) -> tuple[list[str], list[str]]:
    """Stones to learn on and stones held back; a copy goes with its model."""
    of = {fact["stone"]: fact["of"] or fact["stone"] for fact in facts}
    families = sorted(set(of.values()))
    held = set(families[every - 1 :: every])
    return [s for s in sorted(of) if of[s] not in held], [s for s in sorted(of) if of[s] in held]


def learn(
    torch: Any,
    net: Any,
    choice: argparse.Namespace,
    step_loss: Callable[[Any], Any],
    measure: Callable[[], str],
) -> None:
    """Adam with decay; the learning rate follows the time spent, so that a run ends as planned on any machine."""
    best = torch.optim.AdamW(net.parameters(), lr=choice.rate, weight_decay=1e-3)
    rank, _ = cards()
    rng, begun = np.random.default_rng([choice.seed, rank]), time.perf_counter()
    for step in range(1, choice.steps + 1):
        spent = max(step / choice.steps, (time.perf_counter() - begun) / choice.seconds)
        loss = step_loss(rng)
        best.zero_grad()
        loss.backward()
        spent = average_over_cards(torch, net, spent)
        if spent > 1:
            break
        for part in best.param_groups:
            part["lr"] = learning_rate(step, spent, choice.rate)
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        best.step()
        if step % choice.every == 0 and rank == 0:
            save(net, choice.out)
            print(step, f"{time.perf_counter() - begun:.0f} s, loss {loss.item():.4f}", measure(), flush=True)
    if rank == 0:
        save(net, choice.out)


def cards() -> tuple[int, int]:
    """Which of how many processes this is, one per graphics card, as torchrun sets it."""
    return int(os.environ.get("RANK", "0")), int(os.environ.get("WORLD_SIZE", "1"))


def average_over_cards(torch: Any, net: Any, spent: float) -> float:
    """Gradients averaged in place, and the share of the time that is spent, over all processes."""
    _, count = cards()
    if count == 1:
        return spent
    parts = [p.grad for p in net.parameters()]
    flat = torch.cat([p.flatten() for p in parts] + [torch.tensor([spent], device=parts[0].device)]) / count
    torch.distributed.all_reduce(flat)
    for part, new in zip(parts, flat[:-1].split([p.numel() for p in parts]), strict=True):
        part.copy_(new.view_as(part))
    return float(flat[-1])


def begin(choice: argparse.Namespace, planes: int, outputs: int) -> tuple[Any, Any, Darkroom, Data]:
    """torch, the network, the darkroom and the data, on the graphics card where there is one."""
    import torch

    rank, count = cards()
    device = f"cuda:{rank}" if torch.cuda.is_available() else "cpu"
    if count > 1:
        torch.cuda.set_device(rank)
        torch.distributed.init_process_group("nccl")
    torch.manual_seed(choice.seed)
    torch.backends.cudnn.benchmark = torch.backends.cudnn.allow_tf32 = True
    net = build_network(torch, tuple(choice.widths), planes, outputs)
    print(f"{sum(p.numel() for p in net.parameters())} weights")
    net = net.to(device, memory_format=torch.channels_last)
    return torch, net, Darkroom(torch, device, choice.seed + rank), load(torch, choice.packs, device)


def go_on(torch: Any, net: Any, start: str | None) -> None:
    """Take over weights that were saved."""
    if start:
        with np.load(start) as stored:
            net.load_state_dict({name: torch.tensor(stored[name].astype(np.float32)) for name in stored.files})


def learning_rate(step: int, spent: float, highest: float) -> float:
    """Up within 300 steps, then down along half a cosine with the share of the time that is spent."""
    return float(highest * min(1.0, step / 300) * (0.5 + 0.5 * np.cos(np.pi * min(spent, 1.0))) + 1e-5)
