"""The page inside each packet that checks it offline: one file, nothing fetched, nothing sent."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files

_SCRIPTS = ("check.js", "statement.js", "page.js")


def check_page() -> bytes:
    """The page with its style and script inside and a policy that allows these two, and pictures from memory, only."""
    page, style = _source("check.html"), _source("check.css")
    script = "\n".join(_source(name) for name in _SCRIPTS)
    policy = f"default-src 'none'; style-src {_allow(style)}; script-src {_allow(script)}; img-src blob:"
    return page.replace("{{policy}}", policy).replace("{{style}}", style).replace("{{script}}", script).encode()


def _source(name: str) -> str:
    return (files("samestone.custody") / "check" / name).read_text(encoding="utf-8")


def _allow(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
