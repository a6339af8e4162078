"""What to look for next: the examination worth its time, and the record that a stray stone belongs to."""

from __future__ import annotations

from samestone.evidence.plan import NextExamination, next_examinations
from samestone.evidence.search import Candidate, SearchResult, StrayIndex

__all__ = ["Candidate", "NextExamination", "SearchResult", "StrayIndex", "next_examinations"]
