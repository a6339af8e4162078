"""What both records call the stone: its cut and its material."""

from __future__ import annotations

from collections.abc import Iterator

from samestone import gem
from samestone.evidence.examination import Examination
from samestone.evidence.verdict import Finding


def judge_names(before: Examination, after: Examination) -> Iterator[Finding]:
    """A finding where both records name a cut or a material, and not the same one.

    Two names that the tables of cuts and materials know disagree; any other two may be two words for one thing and are
    doubtful. After a declared recut the cut may be another.
    """
    if "recut" not in after.declared_changes and _plain(before.cut) != _plain(after.cut):
        known = gem.weight.cut_names()
        yield _differ("cut", before.cut, after.cut, known)
    if before.material and after.material and _plain(before.material) != _plain(after.material):
        known = tuple(material.key for material in gem.material.materials())
        yield _differ("material", before.material, after.material, known)


def _differ(what: str, was: str, is_: str, known: tuple[str, ...]) -> Finding:
    if _plain(was) in known and _plain(is_) in known:
        return Finding(what, was, is_, "disagrees", f"a stone does not change its {what}")
    return Finding(what, was, is_, "doubtful", f"another {what} by name: look again what it is")


def _plain(name: str) -> str:
    return "_".join(name.replace("-", " ").replace("_", " ").casefold().split())
