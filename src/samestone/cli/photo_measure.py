"""`samestone photo silhouette | scale | prongs | inscription | stack`: measuring with the microscope's camera."""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

Found = dict[str, Any]

PICTURE_KINDS = (".png", ".jpg", ".jpeg", ".tif", ".tiff")


def add_photo_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the measuring commands under `photo`; a picture that cannot be measured says why and gives status 1."""
    side = commands.add_parser("silhouette", help="a round brilliant's proportions from back-lit side views")
    side.add_argument("images", nargs="+", metavar="IMAGE", help="one stone, turned between views, any azimuth")
    _add_scale(side, required=False)
    side.set_defaults(run=run_silhouette)
    scale = commands.add_parser("scale", help="micrometres per pixel from a stage micrometer")
    scale.add_argument("image", metavar="IMAGE", help="the rulings, in the focus and magnification in use")
    scale.add_argument("--division-um", type=positive, required=True, metavar="D", help="between neighbouring rulings")
    scale.set_defaults(run=run_scale)
    prongs = commands.add_parser("prongs", help="how wide each prong is, and whether it is worn")
    prongs.add_argument("image", metavar="IMAGE", help="the set stone face-up, in even light")
    _add_scale(prongs, required=True)
    prongs.set_defaults(run=run_prongs)
    inscription = commands.add_parser("inscription", help="read the characters on the girdle, or say that it cannot")
    inscription.add_argument("image", metavar="IMAGE", help="the girdle from the side, the characters in focus")
    inscription.set_defaults(run=run_inscription)
    stack = commands.add_parser("stack", help="one picture sharp all through, from several focused at other depths")
    stack.add_argument("images", nargs="+", metavar="IMAGE", help="one view, focused at one depth each")
    stack.add_argument("--out", required=True, metavar="FILE", help=f"the picture to write: {' '.join(PICTURE_KINDS)}")
    stack.set_defaults(run=run_stack)
    for command in (side, scale, prongs, inscription, stack):
        command.add_argument("--json", action="store_true", help="the result as JSON")


def _add_scale(command: argparse.ArgumentParser, *, required: bool) -> None:
    command.add_argument(
        "--um-per-px", type=positive, required=required, metavar="X", help="as `samestone photo scale` measured it"
    )
    command.add_argument("--um-per-px-u", type=not_negative, default=0.0, metavar="U", help="its standard uncertainty")


def positive(text: str) -> float:
    """A finite number above 0, for argparse."""
    number = not_negative(text)
    if number == 0:
        raise argparse.ArgumentTypeError("found 0, expected a number above 0, such as 1.25")
    return number


def not_negative(text: str) -> float:
    """A finite number, 0 or more, for argparse."""
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not math.isfinite(number) or number < 0:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a number above 0, such as 1.25")
    return number


def run_silhouette(arguments: argparse.Namespace) -> int:
    from samestone.cli.photo import read_image
    from samestone.imaging import microscope

    views = [read_image(path).linear for path in arguments.images]
    try:
        reading = microscope.measure_silhouette(views)
    except microscope.NoSilhouette as error:
        return _refuse(str(error), arguments)
    names = ("crown_angle_deg", "pavilion_angle_deg", "table_percent", "girdle_percent", "depth_percent")
    found: Found = {name: _pair(getattr(reading, name).value, getattr(reading, name).u, 3) for name in names}
    if arguments.um_per_px:
        length = reading.diameter_px
        found["diameter_mm"] = _scaled(length.value, length.u, arguments, per=1000, places=4)
    found |= {"views": reading.views, "rms_px": round(reading.rms_px, 3), "flags": list(reading.flags)}
    return _print(found, silhouette_as_text, arguments)


def silhouette_as_text(found: Found) -> str:
    names: dict[str, tuple[str, str, int]] = {
        "crown angle": ("crown_angle_deg", "°", 2),
        "pavilion angle": ("pavilion_angle_deg", "°", 2),
        "table": ("table_percent", " %", 1),
        "girdle": ("girdle_percent", " %", 2),
        "depth": ("depth_percent", " %", 2),
        "diameter": ("diameter_mm", " mm", 3),
    }
    lines = [
        f"{name:<15} {_text(found[key], unit, places)}" for name, (key, unit, places) in names.items() if key in found
    ]
    lines.append(f"± is one standard uncertainty; fit of {found['views']} view(s) misses by {found['rms_px']:.2f} px")
    if "single_view" in found["flags"]:
        lines.append("One view alone says little about table and girdle: turn the stone and photograph it again.")
    return "\n".join(lines)


def run_scale(arguments: argparse.Namespace) -> int:
    from samestone.cli.photo import read_image
    from samestone.imaging import microscope

    photo = read_image(arguments.image)
    try:
        reading = microscope.measure_scale(photo.grey, division_um=arguments.division_um)
    except microscope.Unresolved as error:
        return _refuse(str(error), arguments)
    found = {
        "um_per_px": _pair(reading.um_per_px, reading.u, 7),
        "pitch_px": round(reading.pitch_px, 3),
        "angle_deg": round(reading.angle_deg, 3),
        "rulings": reading.rulings,
        "residual_um": round(reading.residual_um, 4),
    }
    return _print(found, scale_as_text, arguments)


def scale_as_text(found: Found) -> str:
    value, u = found["um_per_px"]["value"], found["um_per_px"]["u"]
    return (
        f"{value:.6g} µm per pixel, standard uncertainty {u:.2g}\n"
        f"{found['rulings']} rulings, {found['pitch_px']:.1f} px apart. It holds for this magnification and focus."
    )


def run_prongs(arguments: argparse.Namespace) -> int:
    from samestone.cli.photo import read_image
    from samestone.imaging import microscope

    photo = read_image(arguments.image)
    try:
        reading = microscope.measure_prongs(photo)
    except microscope.NoProngs as error:
        return _refuse(str(error), arguments)
    prongs = [
        {
            "angle_deg": round(prong.angle_deg, 2),
            "width_um": _scaled(prong.width_px, prong.u_px, arguments, per=1, places=2),
            "worn": "worn" in prong.flags,
            "broken": "broken" in prong.flags,
            "flags": list(prong.flags),
            "reach": round(prong.reach, 3),
        }
        for prong in reading.prongs
    ]
    found = {"prongs": prongs, "flags": list(reading.flags), "doubt": reading.doubt}
    return _print(found, prongs_as_text, arguments)


def prongs_as_text(found: Found) -> str:
    lines = [f"{len(found['prongs'])} prongs; angle counter-clockwise from 3 o'clock; ± is one standard uncertainty"]
    for prong in found["prongs"]:
        said = " ".join(prong["flags"])
        lines.append(f"  {prong['angle_deg']:5.0f}°  {_text(prong['width_um'], ' µm', 0)}  {said}".rstrip())
    if found["doubt"]:
        lines.append(found["doubt"])
    if any(prong["flags"] for prong in found["prongs"]):
        lines.append("Look at the flagged prongs from the side before you decide.")
    return "\n".join(lines)


def run_inscription(arguments: argparse.Namespace) -> int:
    """Status 1 when nothing is read: `reading` is then null and `doubtful` shows `?` for what is unsure."""
    from samestone.cli.photo import read_image
    from samestone.imaging import microscope

    reading = microscope.read_inscription(read_image(arguments.image))
    details = {
        "legibility": round(reading.legibility, 3),
        "cap_height_px": round(reading.cap_height_px, 1),
        "doubtful": reading.doubtful,
    }
    if not reading.readable:
        return _refuse(reading.reason, arguments, {"reading": None, **details})
    return _print({"reading": reading.text, **details}, inscription_as_text, arguments)


def inscription_as_text(found: Found) -> str:
    return f"{found['reading']}\nlegibility {found['legibility']:.2f}. Anyone can copy a number; compare the stone too."


def run_stack(arguments: argparse.Namespace) -> int:
    from samestone.cli import Refusal
    from samestone.cli.photo import read_image
    from samestone.imaging import microscope

    out = Path(arguments.out)
    if out.suffix.lower() not in PICTURE_KINDS:
        raise Refusal(f"--out {out}: found ending {out.suffix!r}, expected one of {' '.join(PICTURE_KINDS)}")
    if any(out.resolve() == Path(path).resolve() for path in arguments.images):
        raise Refusal(f"--out {out} is one of the pictures to be joined; originals are kept, choose another name")
    photos = [read_image(path) for path in arguments.images]
    try:
        joined = microscope.stack_photos(photos)
    except microscope.NoStack as error:
        return _refuse(str(error), arguments)
    _write_picture(out, joined.pixels)
    found = {
        "out": str(out),
        "shares": [round(share, 3) for share in joined.shares],
        "shifts_px": [[round(v, 2) for v in shift] for shift in joined.shifts_px],
    }
    return _print(found, stack_as_text, arguments)


def _write_picture(out: Path, pixels: Any) -> None:
    from PIL import Image

    from samestone.cli import Refusal

    try:
        Image.fromarray(pixels).save(out, quality=95)
    except OSError as error:
        raise Refusal(f"--out {out}: {error.strerror or error}") from None


def stack_as_text(found: Found) -> str:
    shares = ", ".join(f"{100 * share:.0f} %" for share in found["shares"])
    return f"{found['out']} written; the pictures gave {shares} of it. Keep the originals: this one is composed."


def _pair(value: float, u: float, places: int) -> dict[str, float]:
    return {"value": round(value, places), "u": round(u, places)}


def _scaled(pixels: float, u: float, arguments: argparse.Namespace, *, per: float, places: int) -> dict[str, float]:
    """A length in pixels times the scale, over `per`; the scale's own uncertainty added in quadrature."""
    value = pixels * arguments.um_per_px / per
    return _pair(
        value, math.hypot(u * arguments.um_per_px / per, value * arguments.um_per_px_u / arguments.um_per_px), places
    )


def _text(pair: dict[str, float], unit: str, places: int) -> str:
    return f"{pair['value']:.{places}f} ± {pair['u']:.{places}f}{unit}"


def _refuse(reason: str, arguments: argparse.Namespace, details: Found | None = None) -> int:
    """A good file that cannot be measured: the reason, and status 1."""
    found = {"usable": False, "reason": reason, **(details or {})}
    print(json.dumps(found, ensure_ascii=False) if arguments.json else f"Cannot say: {reason}")
    return 1


def _print(found: Found, as_text: Any, arguments: argparse.Namespace) -> int:
    print(json.dumps({"usable": True, "reason": "", **found}, ensure_ascii=False) if arguments.json else as_text(found))
    return 0
