"""Photo results as JSON-ready values and as text."""

from __future__ import annotations

from typing import Any


def reading_as_json(reading: Any, photo: Any) -> dict[str, Any]:
    """A photo reading; lengths in pixels of the picture, (0, 0) the centre of the top-left pixel."""
    outline = reading.outline
    found: dict[str, Any] = {"usable": reading.usable, "reason": reading.reason}
    if outline is not None:
        found |= {
            "centre_px": [round(v, 3) for v in outline.centre_px],
            "diameter_max_px": round(outline.diameter_max_px, 3),
            "diameter_min_px": round(outline.diameter_min_px, 3),
            "u_px": round(outline.u_px, 3),
            "axis_angle_deg": round(outline.axis_angle_deg, 2),
            "rms_px": round(outline.rms_px, 3),
            "covered": round(outline.covered, 3),
            "hidden_deg": [[round(a, 2), round(b, 2)] for a, b in outline.hidden_deg],
            "blur_px": round(reading.blur_px, 3),
            "lean_deg": round(reading.lean_deg, 2),
        }
    return found | {
        "flags": [flag.name for flag in reading.flags],
        "remedies": {flag.name: f"{flag.sentence} {flag.remedy}" for flag in reading.flags},
        "characteristics": [_mark(mark) for mark in reading.characteristics],
        "format": photo.format,
        "notes": list(photo.notes),
        "width": reading.width,
        "height": reading.height,
        "sha256": reading.digest,
    }


def _mark(mark: Any) -> dict[str, Any]:
    return {
        "kind": mark.kind,
        "x_px": round(mark.x_px, 2),
        "y_px": round(mark.y_px, 2),
        "r": round(mark.r, 4),
        "angle_deg": round(mark.angle_deg, 2),
        "probability": round(mark.probability, 3),
    }


def reading_as_text(found: dict[str, Any]) -> str:
    lines = ["usable" if found["usable"] else f"not usable: {found['reason']}"]
    if "centre_px" in found:
        (x, y), u = found["centre_px"], found["u_px"]
        lines.append(f"girdle: centre {x:.2f}, {y:.2f} px; diameters {found['diameter_max_px']:.2f} and "
                     f"{found['diameter_min_px']:.2f} ± {u:.2f} px; leans {found['lean_deg']:.1f}°")  # fmt: skip
    lines += [f"{name}: {sentence}" for name, sentence in found["remedies"].items()]
    marks = found["characteristics"]
    if marks:
        lines.append("marks to confirm or reject (probability, kind, radius, angle):")
    lines += [f"  {m['probability']:.2f}  {m['kind']:<8} r {m['r']:.2f}  {m['angle_deg']:5.0f}°" for m in marks]
    return "\n".join(lines)


def comparison_as_json(weighed: Any) -> dict[str, Any]:
    """A weighed comparison: rotation, usability, log10 LR with its bounds, the features for and against."""
    pair = weighed.comparison
    known = pair.can_be_aligned
    return {
        "protocol": pair.protocol,
        "usable": pair.usable,
        "reason": pair.reason,
        "rotation_deg": round(pair.rotation_deg, 4) if known else None,
        "rotation_known": pair.rotation_known,
        "log10_lr": _weight(weighed.log10_lr),
        "inclusion_log10_lr": _weight(weighed.inclusions),
        "facet_log10_lr": _weight(weighed.facets),
        "for": [_feature(f) for f in pair.features if f.found == "agrees"],
        "against": [_feature(f) for f in pair.features if f.found == "absent"],
        "undecided": sum(f.found == "cannot say" for f in pair.features),
        "scores": {k: round(v, 4) for k, v in {**pair.inclusion_scores, **pair.facet_scores}.items()},
        "calibration": {"source": weighed.source, "stones": weighed.stones},
    }


def _weight(weight: Any) -> dict[str, float] | None:
    return None if weight is None else weight.as_json()


def _feature(feature: Any) -> dict[str, Any]:
    return {"seen_in": feature.seen_in.lower(), **_mark(feature.mark), "agreement": feature.agreement}


def comparison_as_text(found: dict[str, Any]) -> str:
    if not found["usable"]:
        return f"Not comparable; this counts neither way. {found['reason']}"
    lr, marks, facets = found["log10_lr"], found["inclusion_log10_lr"], found["facet_log10_lr"]
    side = "of one stone" if lr["value"] > 0 else "of two stones"
    lines = [
        f"The marks are about {10 ** abs(lr['value']):.3g} times more probable if the pictures are {side}.",
        f"log10 LR {lr['value']:+.2f} (limits {lr['lower']:+.2f} to {lr['upper']:+.2f}: "
        f"{found['calibration']['stones']} stones; {found['calibration']['source']})",
        f"of this, marks {marks['value']:+.2f}; facets, which may only add a little, {facets['value']:+.2f}",
        f"turned {found['rotation_deg']:.2f}° counter-clockwise"
        + ("" if found["rotation_known"] else " (doubtful: other turns look nearly as good)"),
        f"marks that agree: {len(found['for'])}; without partner: {len(found['against'])}; "
        f"undecided: {found['undecided']}; protocol: {found['protocol']}",
    ]
    return "\n".join(lines)


def cleaning_as_json(cleaned: Any) -> dict[str, Any]:
    """What cleaning changed, feature by feature of the first picture."""
    return {
        "usable": cleaned.usable,
        "reason": cleaned.reason,
        "rotation_deg": round(cleaned.rotation_deg, 4),
        "features": [
            {
                "outcome": f.outcome,
                "probability": round(f.probability, 3),
                "x_px": round(f.x_px, 2),
                "y_px": round(f.y_px, 2),
                "r": round(f.r, 4),
                "angle_deg": round(f.angle_deg, 2),
            }
            for f in cleaned.features
        ],
    }


def cleaning_as_text(found: dict[str, Any]) -> str:
    if not found["usable"]:
        return f"Cannot compare. {found['reason']}"
    lines = []
    for outcome in ("not visible after", "still there", "cannot say"):
        some = [f for f in found["features"] if f["outcome"] == outcome]
        lines.append(f"{outcome}: {len(some)}")
        lines += [f"  r {f['r']:.2f}  {f['angle_deg']:5.0f}°  probability {f['probability']:.2f}" for f in some]
    return "\n".join(lines)
