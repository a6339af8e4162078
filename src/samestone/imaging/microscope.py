"""At the microscope: the live frame, silhouettes, scales, prongs, inscriptions, focus stacks."""

from __future__ import annotations

from samestone.imaging.frame import FrameReading, read_frame, read_plain
from samestone.imaging.inscription import InscriptionReading, read_inscription
from samestone.imaging.prong import NoProngs, Prong, ProngReading, measure_prongs
from samestone.imaging.scale import ScaleReading, Unresolved, measure_scale
from samestone.imaging.silhouette import NoSilhouette, SilhouetteReading, Value, measure_silhouette
from samestone.imaging.stack import NoStack, Stack, stack_photos

__all__ = [
    "FrameReading",
    "InscriptionReading",
    "NoProngs",
    "NoSilhouette",
    "NoStack",
    "Prong",
    "ProngReading",
    "ScaleReading",
    "SilhouetteReading",
    "Stack",
    "Unresolved",
    "Value",
    "measure_prongs",
    "measure_scale",
    "measure_silhouette",
    "read_frame",
    "read_inscription",
    "read_plain",
    "stack_photos",
]
