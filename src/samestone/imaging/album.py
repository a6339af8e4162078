"""One photograph against many stored ones: which of them look most like the same stone?

A stored photograph is kept as a descriptor, the spectrum of what breaks its cut's symmetry, ring by ring. Any turn is
tried at once by one Fourier transform per stored photograph. The ranking is a shortlist for `compare_photos`, not
evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import BadPhoto, Photo
from samestone.imaging.study import Study
from samestone.imaging.view import enlarged, polar, without_cut

RINGS_KEPT = 24
WAVES = 180
STEPS = 512


@dataclass(frozen=True, eq=False)
class Descriptor:
    """Spectrum of a photograph, channels times 24 rings by 180 waves around; unit length."""

    spectrum: NDArray[np.complex64]

    def to_bytes(self) -> bytes:
        """About 35 kB, to be stored."""
        return self._packed().tobytes()

    def _packed(self) -> NDArray[np.float16]:
        return np.stack([self.spectrum.real, self.spectrum.imag]).astype(np.float16)

    @classmethod
    def from_bytes(cls, data: bytes) -> Descriptor:
        """The descriptor that was stored; refuses another length."""
        if len(data) != 2 * 2 * 2 * RINGS_KEPT * WAVES:
            raise ValueError(f"found {len(data)} bytes, expected {8 * RINGS_KEPT * WAVES}: store the descriptor again")
        values = np.frombuffer(data, np.float16).astype(np.float32)
        real, imaginary = values.reshape(2, 2 * RINGS_KEPT, WAVES)
        return cls((real + 1j * imaginary).astype(np.complex64))


def describe_photo(photo: Photo) -> Descriptor:
    """Describe a photograph for a search; refuses one that is unusable, with the reason."""
    study = Study(photo)
    if not study.usable:
        raise BadPhoto(" ".join(f"{flag.sentence} {flag.remedy}" for flag in study.flags if flag.blocking))
    parts = []
    for plane in (enlarged(study.maps[0]), study.view.spot):
        rows = without_cut(polar(plane), study.view.fold)
        rings = rows.reshape(RINGS_KEPT, -1, rows.shape[1]).mean(axis=1)
        waves = np.fft.rfft(rings, axis=1)[:, 1 : WAVES + 1]
        parts.append(waves / (np.linalg.norm(waves) + 1e-9))
    return Descriptor(np.concatenate(parts).astype(np.complex64) / np.float32(np.sqrt(2)))


def rank_photos(wanted: Descriptor, stored: Sequence[Descriptor]) -> list[tuple[int, float]]:
    """Positions of the stored photographs, most alike first, with a likeness from -1 to 1 (the best over all turns)."""
    likeness = [_likeness(wanted.spectrum, other.spectrum) for other in stored]
    order = sorted(range(len(stored)), key=lambda k: -likeness[k])
    return [(k, likeness[k]) for k in order]


def _likeness(a: NDArray[np.complex64], b: NDArray[np.complex64]) -> float:
    product = np.zeros(STEPS // 2 + 1, np.complex64)
    product[1 : WAVES + 1] = np.einsum("rk,rk->k", a.conj(), b)
    return float(np.fft.irfft(product, n=STEPS).max() * STEPS / 2)
