"""A verdict for reading in a terminal."""

from __future__ import annotations

from samestone.evidence import Verdict

MARKS = {"agrees": "=", "doubtful": "?", "disagrees": "#", "not_compared": "·"}


def describe_verdict(verdict: Verdict) -> str:
    """The plain sentence first, then what was compared, then the figures for an expert."""
    result = verdict.as_json()
    lines = [result["sentence"], ""]
    lines += _table(result["findings"])
    lines += ["", f"{'':28}{'random stone':>14}{'look-alike':>14}   log10 of the likelihood ratio"]
    lines += [
        f"  {block['what'].replace('_', ' '):<26}{block['random']:>+14.2f}{block['look_alike']:>+14.2f}"
        f"   range {block['lower']:+.2f} to {block['upper']:+.2f}, {_basis(block['validated_on'])}"
        for block in result["blocks"]
    ]
    random, chosen = result["log10_lr"]["random"], result["log10_lr"]["look_alike"]
    lines += [
        f"  {'together, process limited':<26}{random['value']:>+14.2f}{chosen['value']:>+14.2f}",
        "",
        f"First proposition:  {result['propositions']['first']}.",
        f"Second proposition: {result['propositions']['random']}:",
        f"    {result['verbal']['random']}.",
        f"Or: {result['propositions']['look_alike']}:",
        f"    {result['verbal']['look_alike']}.",
    ]
    if narrowing := result["narrowing"]:
        steps = ", ".join(f"{step['left']:,} after {step['after']}" for step in narrowing["left"])
        lines += ["", f"Of {narrowing['of']:,} reference stones could not be told apart: {steps}."]
    lines += ["", *(f"Note: {text}." for text in result["flags"].values())] if result["flags"] else []
    lines += ["", "Assumed: " + "; ".join(result["assumptions"]) + "."]
    population = result["population"]
    lines += [f"Method {result['method']}, reference {population['name']} ({population['sha256'][:16]}…)."]
    return "\n".join(lines)


def _basis(n: int) -> str:
    return f"validated on {n:,} simulated pairs of each kind" if n else "assumed"


def _table(findings: list[dict[str, object]]) -> list[str]:
    return [
        f"{MARKS[str(f['outcome'])]} {str(f['property']).replace('_', ' '):<18}{_value(f['was']):>18}  → "
        f"{_value(f['is']):<18} {f['why']}"
        for f in findings
    ]


def _value(side: object) -> str:
    if not isinstance(side, dict):
        return "–"
    if "u" in side:
        return f"{side['value']:.4g} ± {side['u']:.2g}"
    return str(side["value"])
