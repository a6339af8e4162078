"""Two pictures seen at once, the second turned onto the first.

A small network of the same build as that of the marks sees both. Whether a dot is a mark, dirt or a play of the facets
shows best in what becomes of it, and of its surroundings, in the other picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samestone.imaging.characteristic import EDGE, RADIUS, load_weights
from samestone.imaging.network import chances, run_in_halves
from samestone.imaging.registration import Registration
from samestone.imaging.study import Study
from samestone.imaging.view import Plane, disc, turned

DIRT = 1  # among the maps of logits
PER_PLACE = 1 / 500  # natural-logarithm odds per unit of the network's last map, as it was learned


@dataclass(frozen=True, eq=False)
class PairMaps:
    """Half-size maps in the frame of A.

    Probabilities of a natural mark in A, of dirt in A, and of a natural mark in B; `evidence` is how much each place
    speaks for one stone (above 0) or for two, in natural-logarithm odds: raw, to be calibrated.
    """

    natural: Plane
    dirt: Plane
    natural_in_b: Plane
    evidence: Plane

    @property
    def marks(self) -> Plane:
        """Natural marks and dirt of A, 2 x 280 x 280."""
        return np.stack([self.natural, self.dirt])


def see_both(a: Study, b: Study, registration: Registration, *, one_stone: bool = False) -> PairMaps:
    """What the network makes of the two; `one_stone` says that they are known to show one, as when it was cleaned."""
    back = -registration.rotation_deg
    angle = np.radians(back)
    dx, dy = registration.shift  # in B's frame, after the turn: carried back into A's, at half size
    shift = (-(dx * np.cos(angle) + dy * np.sin(angle)) / 2, -(dy * np.cos(angle) - dx * np.sin(angle)) / 2)
    second = [turned(plane, back, shift) for plane in b.planes[:RADIUS]]
    told = np.full_like(a.planes[:1], float(one_stone))
    planes = np.concatenate([a.planes[:RADIUS], second, a.planes[RADIUS:], told])
    logits = run_in_halves(planes, load_weights("pairs.npz"))
    if one_stone:  # what is dirt is told by weights of its own (decision 67)
        logits[DIRT] = run_in_halves(planes, load_weights("cleaning.npz"))[DIRT]
    inside = disc(EDGE)[::2, ::2]
    natural, dirt, natural_in_b = chances(logits[:3]) * inside
    return PairMaps(natural, dirt, natural_in_b, logits[3] * PER_PLACE * inside)
