"""An index of measured stones that finds those near a measurement, without asking about all the others.

Stones are kept as displayed, in whole steps of 0.001 ct, 0.001 mm and 0.1 %, sorted by cells of two of the columns. A
query whitens differences with its own covariance: near are those with v' S^-1 v within a gate. Stones that came since
the last sorting are in a tail that is read whole; stones that went are marked, and leave at the next sorting.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from samestone.evidence.observable import Array, Rows

STEPS = np.array([0.001, 0.001, 0.001, 0.001, 0.1])
"""Steps in which weight (ct), both diameters and depth (mm) and table (%) are kept; up to 65 ct, 65 mm."""
CELLS = (1.0, 5.0)
"""Sides of a cell in steps, for ten million stones: weight, and mean diameter; fewer stones have larger cells."""
FULL = 1e7
GATE = 25.74
"""Squared distance that a stone's own record exceeds once in ten thousand times with five columns."""
FEW = 20_000
"""Up to so many stones all are asked at once."""
ANYWHERE = 1e9
GONE = -1
TAIL = 4096

Codes = NDArray[np.uint16]
Names = NDArray[np.int32]


@dataclass(eq=False)
class Grid:
    """Stones of one pattern of columns; `columns` are positions in (weight, smallest, largest diameter, depth, table).

    Fourteen bytes a stone with five columns: two a column, four for its number; and four bytes for each cell.
    """

    columns: tuple[int, ...]
    codes: Codes = field(init=False)
    names: Names = field(init=False)
    starts: NDArray[np.int32] = field(init=False)
    first: tuple[int, int] = (0, 0)
    shape: tuple[int, int] = (0, 0)
    sides: tuple[float, float] = CELLS
    sorted_: int = 0
    count: int = 0

    def __post_init__(self) -> None:
        self.codes = np.empty((len(self.columns), 0), np.uint16)
        self.names = np.empty(0, np.int32)
        self.starts = np.zeros(1, np.int32)

    @property
    def bytes(self) -> int:
        return int(self.codes.nbytes + self.names.nbytes + self.starts.nbytes)

    @property
    def is_large(self) -> bool:
        """More stones than are all asked at once: what asks them is compiled, once on each machine."""
        return self.count > FEW

    def add(self, values: Array, names: Names) -> None:
        """Add stones: values (n, k) in ct, mm, %, each with a number that no other stone has."""
        codes = np.rint(values / STEPS[list(self.columns)]).astype(np.int64)
        if ((codes < 0) | (codes > 65_535)).any():
            raise ValueError("a value is outside what the index keeps: 0 to 65.535 ct or mm, 6553.5 %")
        room = self.names.size
        if self.count + len(names) > room:
            more = max(len(names), 256, room // 8 if room > TAIL else room)
            self.codes = np.concatenate([self.codes, np.zeros((len(self.columns), more), np.uint16)], axis=1)
            self.names = np.concatenate([self.names, np.full(more, GONE, np.int32)])
        self.codes[:, self.count : self.count + len(names)] = codes.T
        self.names[self.count : self.count + len(names)] = names
        self.count += len(names)
        if self.count - self.sorted_ > max(TAIL, self.sorted_ // 50):
            self.sort()

    def remove(self, name: int) -> None:
        """Take a stone out; it is asked about no more."""
        place = np.flatnonzero(self.names[: self.count] == name)
        if not len(place):
            raise KeyError(f"stone {name} is not in the index")
        self.names[place] = GONE

    def sort(self) -> None:
        """Order all stones by cell; those that went leave."""
        kept = self.names[: self.count] != GONE
        codes, names = self.codes[:, : self.count][:, kept], self.names[: self.count][kept]
        coarser = max(1.0, math.sqrt(FULL / max(len(names), 1)))
        self.sides = (round(CELLS[0] * coarser), round(CELLS[1] * coarser))
        rows, columns = self._cells(codes)
        self.first = (int(rows.min(initial=0)), int(columns.min(initial=0)))
        self.shape = (int(rows.max(initial=0)) - self.first[0] + 1, int(columns.max(initial=0)) - self.first[1] + 1)
        cell = (rows - self.first[0]) * self.shape[1] + columns - self.first[1]
        order = np.argsort(cell, kind="stable")
        self.codes = np.ascontiguousarray(codes[:, order])
        self.names = names[order]
        counts = np.bincount(cell, minlength=self.shape[0] * self.shape[1])
        self.starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
        self.sorted_ = self.count = len(names)

    def _cells(self, codes: Codes) -> tuple[Rows, Rows]:
        out = []
        for key, side in zip(_keys(self.columns), self.sides, strict=True):
            value = codes[list(key)].astype(np.float32).mean(axis=0) if key else np.zeros(codes.shape[1], np.float32)
            out.append(np.floor(value / np.float32(side)).astype(np.int64))
        return out[0], out[1]

    def near(self, point: Array, lens: Lens, gate: float = GATE) -> tuple[Names, Array]:
        """Numbers and squared distances of all stones within the gate around a measurement (k) in ct, mm, %."""
        limit = (math.sqrt(gate) + lens.blur) ** 2
        if not self.is_large:
            return self._near_of_all(point, lens, limit)
        from samestone.evidence.compiled_grid import gather

        names, squared = gather(self._stones(), lens.parts, point, limit)
        return names, squared

    def nearest(self, point: Array, lens: Lens, most: int, gate: float = GATE) -> tuple[Names, Array]:
        """The nearest stones within the gate, at most `most`, by distance; widening circles, so that few are asked."""
        limit = (math.sqrt(gate) + lens.blur) ** 2
        if not self.is_large:
            names, squared = self._near_of_all(point, lens, limit)
            order = np.argsort(squared, kind="stable")[:most]
            return names[order], squared[order]
        from samestone.evidence.compiled_grid import gather_nearest

        names, squared = gather_nearest(self._stones(), lens.parts, point, (float(most), limit))
        return names, squared

    def _stones(self) -> tuple[Codes, Names, NDArray[np.int32], Array]:
        layout = np.array([*self.first, *self.shape, *self.sides, self.sorted_, self.count], float)
        return self.codes, self.names, self.starts, layout

    def _near_of_all(self, point: Array, lens: Lens, limit: float) -> tuple[Names, Array]:
        difference = self.codes[:, : self.count] - (point / STEPS[list(self.columns)])[:, None]
        squared = np.square(lens.whitener @ difference).sum(axis=0)
        found = np.flatnonzero((squared <= limit) & (self.names[: self.count] != GONE))
        return self.names[found], squared[found]


@dataclass(frozen=True, slots=True)
class Lens:
    """How far apart two measurements of these columns are seen: |W v|^2 = v' S^-1 v for differences v in steps.

    `parts` is what compiled code wants: whitener and the picks of the two cell keys, widened to five columns, with the
    keys' standard deviations. `blur` is how far, in whitened units, a stone may lie from its place because it is kept
    in whole steps.
    """

    whitener: Array
    parts: tuple[NDArray[np.float32], Array, Array, Array]
    blur: float

    @classmethod
    def of(cls, columns: tuple[int, ...], S: Array, used: tuple[int, ...] | None = None) -> Lens:
        """For the covariance S (k, k), in ct, mm, %, of the difference of two measurements of one stone.

        `columns` are those of the index; only those in `used` are looked at, and S is of these.
        """
        used = columns if used is None else used
        at = [columns.index(column) for column in used]
        steps = STEPS[list(columns)]
        S = S / np.outer(steps[at], steps[at])
        picks, sd = np.zeros((2, 5)), np.full(2, ANYWHERE)
        for k, key in enumerate(_keys(columns)):
            if key and set(key) <= set(at):
                picks[k, list(key)] = 1 / len(key)
                sd[k] = math.sqrt(float(picks[k, at] @ S @ picks[k, at]))
        small = np.linalg.inv(np.linalg.cholesky(S))
        whitener = np.zeros((len(columns), len(columns)))
        whitener[np.ix_(at, at)] = small
        wide = np.zeros((5, 5), np.float32)
        wide[: len(columns), : len(columns)] = whitener
        blur = math.sqrt(float(np.linalg.eigvalsh(small @ small.T)[-1]) * len(at) / 12)
        return cls(whitener, (wide, picks, sd, steps), blur)


def _keys(columns: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Positions, among the columns, of what the two cell keys are means of: weight; diameters or else depth."""
    yield tuple(k for k, column in enumerate(columns) if column == 0)
    lengths = tuple(k for k, column in enumerate(columns) if column in (1, 2))
    yield lengths or tuple(k for k, column in enumerate(columns) if column == 3)
