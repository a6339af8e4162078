"""The page inside each packet that checks it offline: one file, nothing fetched, nothing sent."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files


def check_page() -> bytes:
    """The page with its style and script inside and a policy that allows these two, and pictures from memory, only."""
    parts = {name: _source(f"check.{name}") for name in ("html", "css", "js")}
    policy = f"default-src 'none'; style-src {_allow(parts['css'])}; script-src {_allow(parts['js'])}; img-src blob:"
    page = parts["html"].replace("{{policy}}", policy)
    return page.replace("{{style}}", parts["css"]).replace("{{script}}", parts["js"]).encode()


def _source(name: str) -> str:
    return (files("samestone.custody") / "check" / name).read_text(encoding="utf-8")


def _allow(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
