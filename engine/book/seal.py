"""The hashes of the book: the chain over events, salted hashes of free texts, the sum of a row; it opens nothing.

What is hashed was read from a file, and damage can make anything of a value, whatever its column says: what is of
another kind has a hash that nothing else has.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from typing import Any

#: The hash of what is no event and no text.
NONE = b"none"


def chained(head: bytes, run: str, seq: int, key: str | None, body: bytes) -> bytes:
    """The hash of an event: over the hash before it, its place, its key and its bytes as stored."""
    if not (isinstance(head, bytes) and isinstance(run, str) and type(seq) is int and isinstance(body, bytes)):
        return NONE
    if not isinstance(key, str | None):
        return NONE
    parts = (head.hex().encode(), run.encode(), b"%d" % seq, (key or "").encode(), body)
    return hashlib.sha256(b"\0".join(parts)).digest()


def new_salt() -> bytes:
    """A salt of 16 random bytes: with the salt gone, a short text can't be guessed from its hash."""
    return secrets.token_bytes(16)


def salted(salt: bytes, text: str) -> str:
    """The hash of a free text that stands outside the chain, in hex: HMAC with SHA-256, the salt as its key."""
    if not (isinstance(salt, bytes) and isinstance(text, str)):
        return NONE.decode()
    return hmac.new(salt, text.encode("utf-8", "replace"), hashlib.sha256).hexdigest()


def summed(*values: Any) -> bytes:
    """The sum of a row that may be changed: it tells damage, not an edit by somebody who knows how it is made."""
    plain = [v.hex() if isinstance(v, bytes) else v for v in values]
    return hashlib.sha256(json.dumps(plain, ensure_ascii=True).encode()).digest()[:16]
