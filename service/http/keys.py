"""API keys: who may use the service, in a file that holds no key.

Each line is a name and the SHA-256 of a key, in hexadecimal. A key is 256 random bits, which
nobody tries out; so a plain digest is as safe as a slow one, which is there for what people
choose as passwords.
"""

from __future__ import annotations

import hmac
import os
import re
import secrets
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Final

_NAME: Final = re.compile(r"[A-Za-z0-9._@-]{1,64}")
_LINE: Final = re.compile(r"(?P<name>\S+)\s+(?P<digest>[0-9a-f]{64})")


class BadKeys(ValueError):
    """The file of keys cannot be used; the message says why."""


class Keys:
    """The keys of a file, read again whenever it has changed.

    Raises:
        BadKeys: a line is no name with a digest, or a name stands twice.
        OSError: the file cannot be read.
    """

    def __init__(self, file: Path) -> None:
        self._file, self._lock = file, Lock()
        self._seen: tuple[int, int, int] | None = None
        self._digests: dict[str, str] = {}
        self._refresh()

    def owner(self, key: str) -> str | None:
        """Whose key it is; None if it is nobody's.

        Raises:
            BadKeys, OSError: the file has changed, and can no longer be used.
        """
        self._refresh()
        digest, found = digest_of(key), None
        # All are compared, and each in the same time, so that the time tells nothing.
        for name, known in self._digests.items():
            if hmac.compare_digest(digest, known):
                found = name
        return found

    def _refresh(self) -> None:
        with self._lock:
            status = self._file.stat()
            seen = (status.st_mtime_ns, status.st_size, status.st_ino)
            if seen != self._seen:
                self._digests = _read(self._file)
                self._seen = seen


def digest_of(key: str) -> str:
    """What the file has of a key."""
    return sha256(key.encode("utf-8", "surrogatepass")).hexdigest()


def new_key(file: Path, name: str) -> str:
    """A fresh key for somebody; its digest is put into the file, which is made if need be.

    Raises:
        BadKeys: the name is taken, or is none; or the file cannot be used.
        OSError: the file cannot be written.
    """
    if not _NAME.fullmatch(name):
        raise BadKeys(f"a name is up to 64 letters, digits, and any of . _ @ -, not {name!r}")
    if file.exists() and name in _read(file):
        raise BadKeys(f"{name} has a key already; take the line out of {file} to replace it")
    # Whoever edits the file may leave its last line open; two on one line would lock all out.
    before = file.read_bytes() if file.exists() else b""
    begun = "\n" if before and not before.endswith(b"\n") else ""
    key = secrets.token_urlsafe(32)
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(f"{begun}{name} {digest_of(key)}\n")
    return key


def _read(file: Path) -> dict[str, str]:
    found: dict[str, str] = {}
    for number, line in enumerate(file.read_text("utf-8").splitlines(), 1):
        written = line.strip()
        if not written or written.startswith("#"):
            continue
        match = _LINE.fullmatch(written)
        if match is None:
            raise BadKeys(f"{file}, line {number}: expected a name and a SHA-256 in hexadecimal")
        if match["name"] in found:
            raise BadKeys(f"{file}, line {number}: {match['name']} stands there twice")
        found[match["name"]] = match["digest"]
    return found
