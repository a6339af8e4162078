"""How marks occur on stones, and how an examination sees, names and places them (assumed figures, from a table)."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from samestone.evidence.examination import CHARACTERISTICS, Characteristic
from samestone.evidence.observable import Array

_RATES = (1e-6, 0.5, 1.0, 2.0, 3.5, 6.0, 9.5, 15.0, 24.0, 38.0)
"""Numbers of marks per stone that are summed over; the gamma distribution weighs them."""
_INNER, _OUTER, _AT_EDGE = 0.85, 1.1, 0.9
"""Marks at the edge: nine tenths in a ring of girdle radii, the others anywhere."""


@dataclass(frozen=True)
class Seen:
    """Marks of one plan as arrays: `true` and `false` are their densities per area, without number and chance."""

    r: Array
    angle: Array
    size: Array
    kind: np.ndarray[tuple[int], np.dtype[np.int64]]
    true: Array
    false: Array
    hidden_from: float


@dataclass(frozen=True, eq=False)
class Seeing:
    """How an examination sees; `table` as in data/characteristics.toml, numbers as decimal strings."""

    table: Mapping[str, Any]
    later: bool = False
    """Damage may have come since the first examination."""

    @cached_property
    def numbers(self) -> Mapping[str, float]:
        return {key: float(value) for key, value in self.table.items() if isinstance(value, str)}

    def number(self, key: str) -> float:
        return self.numbers[key]

    @property
    def mirrored(self) -> float:
        return self.number("mirrored")

    @property
    def rates(self) -> tuple[float, ...]:
        return _RATES

    @cached_property
    def rate_shares(self) -> Array:
        """Stones without marks first; then the gamma density times the width that each number stands for."""
        rates = np.array(_RATES[1:])
        edges = np.sqrt(rates[1:] * rates[:-1])
        width = np.diff(np.r_[0, edges, rates[-1] ** 2 / edges[-1]])
        shape = self.number("number_shape")
        density = rates ** (shape - 1) * np.exp(-rates * shape / self.number("number_mean"))
        none = self.number("number_none")
        shares: Array = np.r_[none, (1 - none) * density * width / (density * width).sum()]
        return shares

    def sigma(self, r: Array) -> Array:
        """Standard deviation of a placement, per coordinate: itself, the plan's offset, its scale times r."""
        own, offset, scale = (self.number(f"placed_{what}") for what in ("sigma", "offset", "scale"))
        out: Array = np.sqrt(own**2 + offset**2 + np.square(scale * r))
        return out

    def chance(self, size: Array) -> Array:
        """Probability that a mark of a size (girdle radii) is found; of a mark without size, on average."""
        at_most, half = self.number("found_at_most"), self.number("found_size_half")
        lost = np.isnan(size)
        known: Array = at_most / (1 + np.square(half / np.where(lost, 1.0, size)))
        return np.where(lost, mean_chance(self), known) if lost.any() else known

    def share_hidden(self, width: float) -> float:
        """Share of a stone's marks that lie under claws which cover a share `width` of the girdle."""
        kinds, outside = kind_table(self), 1 - self.number("hidden_from_r") ** 2
        beyond = np.where(kinds.edge, _AT_EDGE + (1 - _AT_EDGE) * outside, outside)
        return float(width * (kinds.share * beyond).sum())

    def look(self, marks: Sequence[Characteristic]) -> Seen:
        """The marks as arrays."""
        r = np.array([mark.r for mark in marks])
        kind = np.array([CHARACTERISTICS.index(mark.kind) for mark in marks], np.int64)
        size = np.array([math.nan if mark.size is None else mark.size for mark in marks])
        kinds = kind_table(self)
        where = kinds.density(r)
        true = np.einsum("nt,tn->n", where, kinds.named[:, kind] * kinds.share[:, None])
        false = (where * (self.number("false_marks") * kinds.false))[range(len(r)), kind]
        if self.later:
            false += (where * (self.number("new_damage") * kinds.damage))[range(len(r)), kind]
        hidden_from = self.number("hidden_from_r")
        angle = np.deg2rad(np.array([mark.angle_deg for mark in marks]))
        return Seen(r, angle, size, kind, true, false, hidden_from)

    def joint(self, one: Seen, two: Seen) -> Array:
        """J_ij: density of true marks named so by both, times the ratio that their two sizes bring."""
        kinds = kind_table(self)
        both = kinds.named[:, one.kind][:, :, None] * kinds.named[:, two.kind][:, None, :]
        where = kinds.density((one.r[:, None] + two.r) / 2)
        named = np.einsum("ijt,tij->ij", where, both * kinds.share[:, None, None])
        joint: Array = named * self._size_ratio(one.size, two.size)
        return joint

    def _size_ratio(self, one: Array, two: Array) -> Array:
        """p(s_i, s_j | one mark) / (p(s_i) p(s_j)); 1 where a size is missing."""
        mean, sd, noise = math.log(self.number("size_median")), self.number("size_sd_ln"), self.number("size_noise_ln")
        a, b = (np.log(np.where(np.isnan(s), 1.0, s)) - mean for s in (one, two))
        total = sd**2 + noise**2
        determinant = total**2 - sd**4
        together = (total * (a[:, None] ** 2 + b**2) - 2 * sd**2 * a[:, None] * b) / determinant
        log_ratio = -0.5 * (together - (a[:, None] ** 2 + b**2) / total) + math.log(total) - 0.5 * math.log(determinant)
        return np.where(np.isnan(one)[:, None] | np.isnan(two), 1.0, np.exp(log_ratio))


@lru_cache(maxsize=64)
def mean_chance(one: Seeing, other: Seeing | None = None) -> float:
    """E[p] over the sizes of marks, or E[p_1 p_2] if another examination is given."""
    z = np.linspace(-5, 5, 201)
    size = one.number("size_median") * np.exp(one.number("size_sd_ln") * z)
    weight = np.exp(-0.5 * z * z)
    value = one.chance(size) * (1.0 if other is None else other.chance(size))
    return float((weight * value).sum() / weight.sum())


@dataclass(frozen=True)
class Kinds:
    """Shares of kinds, where they lie, and `named[t, o]`: how often kind t is called o."""

    share: Array
    false: Array
    damage: Array
    edge: np.ndarray[tuple[int], np.dtype[np.bool_]]
    named: Array

    def density(self, r: Array) -> Array:
        """Density per area of each kind at r, (…, kinds); beyond 1 as much as placement carries a mark there."""
        inside = np.where(r <= 1.0, 1.0, 0.2)[..., None] / math.pi
        ring = math.pi * (_OUTER**2 - _INNER**2)
        at_edge = _AT_EDGE * ((r >= _INNER) & (r <= _OUTER))[..., None] / ring + (1 - _AT_EDGE) * inside
        return np.where(self.edge, at_edge, inside)


@lru_cache(maxsize=16)
def kind_table(seeing: Seeing) -> Kinds:
    """The table of kinds as arrays, in the order of CHARACTERISTICS."""
    kinds = [seeing.table["kinds"][kind] for kind in CHARACTERISTICS]
    share, false, damage = (np.array([float(kind[key]) for kind in kinds]) for key in ("share", "false", "damage"))
    naming = seeing.table["naming"]
    rightly, alike = float(naming["rightly"]), float(naming["alike"])
    named = np.full((len(kinds), len(kinds)), (1 - rightly - alike) / len(kinds))
    for t, kind in enumerate(CHARACTERISTICS):
        likes = sorted({o for group in naming["groups"] if kind in group for o in group} - {kind})
        named[t, t] += rightly + (0 if likes else alike)
        for other in likes:
            named[t, CHARACTERISTICS.index(other)] += alike / len(likes)
    edge = np.array([kind["where"] == "edge" for kind in kinds])
    return Kinds(share / share.sum(), false / false.sum(), damage / damage.sum(), edge, named)


@lru_cache(maxsize=2)
def shipped_seeing(*, later: bool = False) -> Seeing:
    """The figures that ship with the program, all of them assumed."""
    text = (files("samestone.evidence") / "data" / "characteristics.toml").read_text(encoding="utf-8")
    return Seeing(tomllib.loads(text), later)
