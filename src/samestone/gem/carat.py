"""Carats as they are written: the trade's rounding, what a stated weight covers, other units of mass."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_DOWN, Decimal

from samestone.metrology import Problem

GRAMS: Mapping[str, Decimal] = {
    "ct": Decimal("0.2"),
    "g": Decimal(1),
    "grain": Decimal("0.06479891"),
    "pearl grain": Decimal("0.05"),
    "dwt": Decimal("1.55517384"),
    "troy ounce": Decimal("31.1034768"),
}
"""Grams in one unit. Carat: 200 mg exactly, General Conference 1907; grain 64.79891 mg, 24 to the pennyweight, 480 to
the troy ounce; pearl grain a quarter carat (Kunz 1913)."""


def convert(amount: Decimal, unit: str, to: str) -> Decimal:
    """Convert a mass exactly; refuses an unknown unit.

    >>> convert(Decimal(1), "dwt", "ct")
    Decimal('7.7758692')
    """
    for name in (unit, to):
        if name not in GRAMS:
            raise ValueError(f"unit {name!r}, expected one of {', '.join(GRAMS)}")
    return amount * GRAMS[unit] / GRAMS[to]


def round_trade(weight_ct: Decimal) -> Decimal:
    """Round to two decimals as the trade does: up only where the third decimal is a 9.

    Rule and examples: Cartier, 'Weighty Considerations' (trade article).

    >>> round_trade(Decimal("1.768")), round_trade(Decimal("1.769"))
    (Decimal('1.76'), Decimal('1.77'))
    """
    _refuse_negative(weight_ct)
    return (weight_ct + Decimal("0.001")).quantize(Decimal("0.01"), rounding=ROUND_DOWN)


def written(weight_ct: Decimal) -> str:
    """The weight for a document: the trade's two decimals, and in brackets what the scale showed.

    >>> written(Decimal("0.999"))
    '1.00 ct (0.999 ct by scale)'
    """
    return f"{round_trade(weight_ct)} ct ({weight_ct} ct by scale)"


def stated_range(stated: str) -> tuple[Decimal, Decimal]:
    """What a decimal carat weight in an advertisement covers, both ends included (16 CFR 23.18).

    The figure is accurate to its last decimal; with one decimal only, to the second: ".5 carat" covers .495 to .504.
    Refuses points and fractions: they need the decimal, or the range, beside them.

    >>> stated_range(".5")
    (Decimal('0.495'), Decimal('0.504'))
    """
    text = stated.strip().removesuffix("carats").removesuffix("carat").removesuffix("ct").strip()
    if not text or text.count(".") > 1 or not text.replace(".", "").isdigit():
        raise ValueError(f"stated weight {stated!r}; expected a decimal such as .50 ct")
    value = Decimal(text)
    decimals = max(2, len(text.partition(".")[2]))
    half, step = Decimal(5).scaleb(-decimals - 1), Decimal(1).scaleb(-decimals - 1)
    return value - half, value + half - step


def check_stated(stated: str, weight_ct: Decimal) -> tuple[Problem, ...]:
    """Say whether a weight as stated covers the weight measured, by 16 CFR 23.18; empty is good news.

    A weight in points needs the decimal beside it; a fraction needs the range it stands for.
    """
    _refuse_negative(weight_ct)
    found, figure = stated.strip().lower(), f"write {weight_ct} ct"
    if "point" in found:
        return (Problem("stated_weight", stated, "the decimal carat beside the points", figure),)
    if "/" in found:
        return (Problem("stated_weight", stated, "the range of weights beside the fraction", figure),)
    low, high = stated_range(found)
    if low <= weight_ct.quantize(high, rounding=ROUND_DOWN) <= high:
        return ()
    covered = f"{stated}, which covers {low} to {high} ct"
    return (Problem("stated_weight", covered, f"a figure that covers {weight_ct} ct", figure),)


def _refuse_negative(weight_ct: Decimal) -> None:
    if not weight_ct.is_finite() or weight_ct < 0:
        raise ValueError(f"weight {weight_ct} ct; expected a number of at least 0")
