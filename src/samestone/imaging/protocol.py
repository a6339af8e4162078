"""Was the guided protocol kept? Read from the pictures themselves."""

from __future__ import annotations

from samestone.imaging.registration import Registration
from samestone.imaging.study import Study

PROTOCOLS = ("guided", "free")
LEVEL_DEG = 1.8
FREE_MARGIN = 3.0
SHADE_APART = 0.8
LEAST_CONSISTENT = 0.12
NOT_LAID = (
    "The two pictures cannot be laid on each other beyond doubt: other lamp, other lean, or another stone. "
    "Take both under one soft dome, the stone level (guided)."
)

OTHER_FACETS = (
    "Not comparable as guided: the stones lie alike, but other facets flash: other lamp or other lean. "
    "Take the picture again as the first one was taken, or compare the two as free."
)


def why_not(a: Study, b: Study) -> str:
    """What in the pictures breaks the guided protocol (level stone, soft light all around); empty when it was kept."""
    words = []
    for name, study in (("A", a), ("B", b)):
        if study.lean > LEVEL_DEG:
            words.append(f"the stone in {name} leans by about {study.lean:.1f} degrees (at most {LEVEL_DEG:.1f}).")
        words += [f"in {name}: {flag.sentence}" for flag in study.flags if flag.name in ("clipped", "glare")]
    if abs(a.shade - b.shade) > SHADE_APART:
        words.append("the two are lit differently.")
    return " ".join(words)


def flash_differently(registration: Registration) -> bool:
    """Whether marks and edges fix the turn, yet the facets do not look alike, as they would under one soft dome."""
    return registration.margin > FREE_MARGIN and registration.consistent < LEAST_CONSISTENT
