"""Learn the network that finds characteristics in the standard view of a stone.

    python scripts/train_marks.py pack PICTURES... OUT.npz     cut the views and masks out of rendered sets
    python scripts/train_marks.py train PACK.npz... OUT.npz    learn (needs torch; minutes on one GPU)

The picture sets come from scripts/render_pictures.py and hold a mask of every mark with all its reflections. Every
picture is turned, mirrored, relit, blurred, sharpened and given noise at random, so that lamp, tone curve and
camera are not learned. Seeds are fixed; results differ between GPUs in the last digits.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

SIDE, HALF, GIRDLE = 560, 280, 260.0


def pack(folders: list[str], out: str, stones: str) -> None:
    """One compressed file of standard views (JPEG bytes), masks (PNG bytes) and what is known of each."""
    from samestone.imaging.outline import fit_outline
    from samestone.imaging.photo import BadPhoto, open_photo
    from samestone.imaging.registration import Pattern
    from samestone.imaging.ring import edge_map, find_ring
    from samestone.imaging.symmetry import mirror_axis_deg
    from samestone.imaging.view import cut_out, polar, view_of

    views, masks, facts = [], [], []
    for folder in map(Path, folders):
        for entry in [line for part in sorted(folder.glob("index*.json")) for line in json.loads(part.read_text())]:
            path = folder / entry["picture"]
            if not wanted(entry["stone"], stones) or not path.exists() or not path.with_suffix(".png").exists():
                continue
            try:
                photo = open_photo(path.read_bytes())
            except BadPhoto as error:
                print(f"{path}: {error}")
                continue
            outline = fit_outline(photo.grey, photo.white, find_ring(*edge_map(photo.grey, photo.white)))
            if outline is None:
                continue
            rows = polar(view_of(photo, outline).edge)
            mask = np.ascontiguousarray(cut_out(open_mask(path.with_suffix(".png")), outline))
            views.append(cv2.imencode(".jpg", cut_out(photo.grey, outline), [cv2.IMWRITE_JPEG_QUALITY, 74])[1])
            masks.append(cv2.imencode(".png", mask & 0xE0)[1])
            known = {name: entry[name] for name in ("stone", "view", "picture")}
            facts.append({**known, "axis": mirror_axis_deg(rows), "fold": Pattern.fold_of(rows)})
    save_bytes(out, views, masks, facts)
    print(f"{len(views)} views packed into {out}")


def wanted(stone: str, ranges: str) -> bool:
    """Whether a stone's name lies in one of the ranges; no ranges mean all."""
    spans = [span.split("-") for span in ranges.split(",") if span]
    return not spans or any(low <= stone <= high for low, high in spans)


def open_mask(path: Path) -> Any:
    """Class per pixel as bits: 1 faint, 2 natural, 4 dirt, 8 metal, so that resampling can be thresholded."""
    from PIL import Image

    classes = np.asarray(Image.open(path))
    layers = np.stack([(classes == k) * np.uint8(255) for k in (1, 2, 3)], axis=-1)
    crowded = cv2.blur(layers, (3, 3)) > 100  # single pixels are the renderer's grain, not marks
    return np.ascontiguousarray(layers * crowded)


def save_bytes(out: str, views: list[Any], masks: list[Any], facts: list[dict[str, Any]]) -> None:
    def joined(parts: list[Any]) -> tuple[Any, Any]:
        return np.concatenate(parts), np.cumsum([0] + [len(part) for part in parts])

    view_bytes, view_ends = joined([v.ravel() for v in views])
    mask_bytes, mask_ends = joined([m.ravel() for m in masks])
    np.savez(out, views=view_bytes, view_ends=view_ends, masks=mask_bytes, mask_ends=mask_ends, facts=json.dumps(facts))


def load_pack(path: str) -> tuple[Any, Any, list[dict[str, Any]]]:
    """Views n x 560 x 560 and masks n x 3 x 560 x 560, bytes."""
    with np.load(path) as stored:
        v, ve, m, me = stored["views"], stored["view_ends"], stored["masks"], stored["mask_ends"]
        facts = json.loads(str(stored["facts"]))
    views = np.stack([cv2.imdecode(v[ve[k] : ve[k + 1]], 0) for k in range(len(facts))])
    masks = np.stack([cv2.imdecode(m[me[k] : me[k + 1]], 1).transpose(2, 0, 1) for k in range(len(facts))])
    return views, masks, facts


def build_network(torch: Any, widths: tuple[int, ...]) -> Any:
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
            self.start, self.end = nn.Conv2d(11, a, 1), nn.Conv2d(a, 2, 1)
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
        rows, columns = np.mgrid[0:SIDE, 0:SIDE]
        self.inside = torch.tensor(np.hypot(columns - 279.5, rows - 279.5) <= 0.97 * GIRDLE, device=device)

    def uniform(self, n: int, low: float, high: float) -> Any:
        return low + (high - low) * self.torch.rand(n, 1, 1, 1, generator=self.rng, device=self.device)

    def chance(self, n: int, share: float) -> Any:
        return (self.uniform(n, 0, 1) < share).float()

    def smooth(self, x: Any, sigma: float) -> Any:
        reach = int(4 * sigma + 0.5)
        k = self.torch.exp(-0.5 * (self.torch.arange(-reach, reach + 1, device=self.device) / sigma) ** 2)
        k = (k / k.sum()).view(1, 1, 1, -1)
        f, c = self.torch.nn.functional, x.shape[1]
        x = f.conv2d(f.pad(x, (reach, reach, 0, 0), mode="reflect"), k.expand(c, 1, 1, -1), groups=c)
        k = k.transpose(2, 3)
        return f.conv2d(f.pad(x, (0, 0, reach, reach), mode="reflect"), k.expand(c, 1, -1, 1), groups=c)

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
        sub = [p[:, :, i::2, j::2] for p in (detail, level) for i in (0, 1) for j in (0, 1)]
        radius = self.radius.expand(x.shape[0], 1, HALF, HALF)
        return t.cat([*sub, darker, brighter, radius], 1)

    def breaks(self, half: Any, axis: Any, fold: int) -> tuple[Any, Any]:
        t, n = self.torch, half.shape[0]
        level = half - self.smooth(half, 12)
        one, none = t.ones(n, device=self.device), t.zeros(n, 2, device=self.device)
        low, high = [], []
        for k in range(fold):
            turn = 2 * np.pi / fold * k
            for flip, angle in ((1, one * turn), (-1, 2 * axis + turn)):
                if flip == 1 and k == 0:
                    continue
                copy = self.warp(level, angle, one, none, one * flip)
                low.append(-t.nn.functional.max_pool2d(-copy, 5, 1, 2))
                high.append(t.nn.functional.max_pool2d(copy, 5, 1, 2))
        lowest = t.stack(low).sort(0).values[2]
        highest = t.stack(high).sort(0).values[-3]
        return (lowest - level).clamp(min=0), (level - highest).clamp(min=0)


def train(paths: list[str], out: str, choice: argparse.Namespace) -> None:
    import torch

    seed, held_every = choice.seed, choice.held_every
    torch.manual_seed(seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    parts = [load_pack(path) for path in paths]
    views, masks = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    facts = [fact for part in parts for fact in part[2]]
    stones = sorted({fact["stone"] for fact in facts})
    held = {stone for k, stone in enumerate(stones) if k % held_every == held_every - 1}
    learn = [k for k, fact in enumerate(facts) if fact["stone"] not in held]
    check = [k for k, fact in enumerate(facts) if fact["stone"] in held]
    x_all, m_all = torch.tensor(views[:, None], device=device), torch.tensor(masks, device=device)
    axis_all = torch.tensor([np.radians(fact["axis"]) for fact in facts], dtype=torch.float32, device=device)
    net, room = build_network(torch, tuple(choice.widths)).to(device), Darkroom(torch, device, seed)
    print(f"{len(learn)} views to learn from, {len(check)} held; {sum(p.numel() for p in net.parameters())} weights")
    best = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=1e-3)
    rng, begun = np.random.default_rng(seed), time.perf_counter()
    for step in range(1, choice.steps + 1):
        # the learning rate follows the time spent, so that a run ends as planned on any machine
        spent = max(step / choice.steps, (time.perf_counter() - begun) / choice.seconds)
        if spent > 1:
            break
        for group in best.param_groups:
            group["lr"] = 4e-3 * min(1.0, step / 300) * (0.5 + 0.5 * np.cos(np.pi * spent)) + 1e-5
        batch = torch.tensor(rng.choice(learn, 24), device=device)
        loss = net_loss(torch, net, room, x_all[batch], m_all[batch], axis_all[batch], choice.natural)
        best.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        best.step()
        if step % 250 == 0:
            save(net, out)
            words = measure(torch, net, room, x_all, m_all, axis_all, check)
            print(step, f"{time.perf_counter() - begun:.0f} s, loss {loss.item():.4f}", words, flush=True)
    save(net, out)


def net_loss(torch: Any, net: Any, room: Darkroom, x: Any, m: Any, axis: Any, more: float) -> Any:
    n = len(x)
    angle = room.uniform(n, 0, 2 * np.pi).view(-1)
    flip = torch.where(room.uniform(n, 0, 1).view(-1) < 0.5, 1.0, -1.0)
    scale = room.uniform(n, 0.985, 1.015).view(-1)
    shift = torch.cat([room.uniform(n, -0.008, 0.008), room.uniform(n, -0.008, 0.008)], 1).view(n, 2)
    with torch.no_grad():
        both = room.warp(torch.cat([x.float(), m.float()], 1) / 255, angle, scale, shift, flip)
        turned_axis = flip * axis + angle + room.uniform(n, -0.008, 0.008).view(-1)
        inputs = room.inputs(room.relight(both[:, :1]), turned_axis)
        faint, natural, dirt = (torch.nn.functional.max_pool2d(both[:, k : k + 1], 2) for k in (1, 2, 3))
    logits = net(inputs)
    total = 0.0
    for k, wanted in enumerate((natural, dirt)):
        sure = (1 - 0.8 * ((faint > 0.3) & (wanted < 0.5)).float()) * (room.radius < 0.97)
        raw = torch.nn.functional.binary_cross_entropy_with_logits(
            logits[:, k : k + 1], (wanted > 0.45).float(), reduction="none"
        )
        total = total + (more if k == 0 else 1.0) * (raw * sure * (1 + 2 * (wanted > 0.45))).mean()
    return total


def measure(torch: Any, net: Any, room: Darkroom, x: Any, m: Any, axis: Any, check: list[int]) -> str:
    """Pixel-wise average precision of both classes on the held stones, as the pictures came."""
    words = []
    with torch.no_grad():
        logits, wanted = [], []
        for k in range(0, len(check), 24):
            some = torch.tensor(check[k : k + 24], device=x.device)
            logits.append(net(room.inputs(x[some].float() / 255, axis[some]))[:, :2, ::2, ::2])
            wanted.append(torch.nn.functional.max_pool2d(m[some].float() / 255, 2)[:, 1:, ::2, ::2] > 0.45)
        for k, name in enumerate(("natural", "dirt")):
            p, y = torch.cat(logits)[:, k].flatten(), torch.cat(wanted)[:, k].flatten().float()
            order = p.argsort(descending=True)
            hits = y[order].cumsum(0)
            precision = hits / torch.arange(1, len(hits) + 1, device=hits.device)
            words.append(f"{name} AP {float((precision * y[order]).sum() / y.sum()):.3f} (base {float(y.mean()):.3f})")
    return ", ".join(words)


def save(net: Any, out: str) -> None:
    np.savez_compressed(out, **{k: v.detach().cpu().numpy().astype(np.float16) for k, v in net.state_dict().items()})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["pack", "train"])
    parser.add_argument("paths", nargs="+")
    parser.add_argument("--stones", default="", help="pack only stones with these names, as A001-A075,B001-B080")
    parser.add_argument("--steps", type=int, default=6000)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long, the learning rate run down")
    parser.add_argument("--natural", type=float, default=1.0, help="how much more natural marks count than dirt")
    parser.add_argument("--widths", type=int, nargs=3, default=(24, 48, 64))
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--held-every", type=int, default=8, help="one stone in so many is held back to watch")
    choice = parser.parse_args()
    if choice.what == "pack":
        pack(choice.paths[:-1], choice.paths[-1], choice.stones)
    else:
        train(choice.paths[:-1], choice.paths[-1], choice)


if __name__ == "__main__":
    main()
