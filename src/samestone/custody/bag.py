"""The folder inside a packet: a bag as in RFC 8493, whose list of lists is signed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
BAGIT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_LINE = re.compile(r"([0-9a-f]{64})  (\S.*)")


class BadManifest(ValueError):
    """A list of files that is not written as it should be."""


def make_bag(payload: Mapping[str, bytes], tags: Mapping[str, bytes], facts: Mapping[str, str]) -> dict[str, bytes]:
    """A bag's files: payload under ``data/``, tag files, the facts as ``bag-info.txt``, and both manifests."""
    data = {f"data/{name}": content for name, content in payload.items()}
    oxum = f"{sum(map(len, data.values()))}.{len(data)}"
    listed = {**tags, "bagit.txt": BAGIT, "bag-info.txt": _info({**facts, "Payload-Oxum": oxum})}
    listed[MANIFEST] = _manifest(data)
    return {**data, **listed, TAG_MANIFEST: _manifest(listed)}


def read_manifest(content: bytes) -> dict[str, str]:
    """The SHA-256 of each file by name; refuses anything but one line a file."""
    digests: dict[str, str] = {}
    try:
        lines = content.decode("utf-8").removesuffix("\n").split("\n")
    except UnicodeDecodeError as error:
        raise BadManifest(f"a list of files is not text ({error})") from error
    for line in lines:
        found = _LINE.fullmatch(line)
        if not found or found[2] in digests:
            raise BadManifest(f"a list of files has the line {line[:100]!r}; expected a digest, two spaces, a new name")
        digests[found[2]] = found[1]
    return digests


def _manifest(files: Mapping[str, bytes]) -> bytes:
    lines = (f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))
    return "".join(lines).encode()


def _info(facts: Mapping[str, str]) -> bytes:
    for name, value in facts.items():
        if not value.isprintable():
            raise ValueError(f"{name} is {value!r}; expected one line of printable characters")
    return "".join(f"{name}: {facts[name]}\n" for name in sorted(facts)).encode()
