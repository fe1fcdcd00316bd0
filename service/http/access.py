"""Who asks, and whether they may: API keys (RFC 6750), rates, and other origins (CORS).

``docs/decisions/negotiation-and-origins.md`` says why CORS is written out here.
"""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from flask import Flask, Response, g, request
from limits import RateLimitItemPerMinute
from limits.errors import StorageError
from limits.storage import MemoryStorage, RedisStorage, Storage
from limits.strategies import MovingWindowRateLimiter

from piecewright.service.http.keys import BadKeys, Keys
from piecewright.service.problems import TOO_MANY_REQUESTS, UNAUTHORIZED, UNAVAILABLE, Problem
from piecewright.service.settings import Settings

GUARDED: Final = ("/v1/", "/metrics")
"""Beginnings of the paths that need a key where keys are set; what the service says of itself (its
health, its documents) is for all."""

SETTINGS: Final = "/v1/settings"
"""Guarded but for the key: it tells whether one is needed."""

_EXPOSED: Final = (
    "Content-Disposition, ETag, Location, RateLimit, Retry-After, Sheets, X-Request-Id"
)
_ALLOWED: Final = (
    "Accept, Authorization, Content-Type, Idempotency-Key, If-None-Match, Last-Event-ID, "
    "X-Request-Id"
)
_METHODS: Final = "GET, HEAD, POST, DELETE, OPTIONS"
_PREFLIGHT_KEPT: Final = 600
"""Seconds for which a browser may keep the answer to a preflight; some browsers take no more."""

_log = logging.getLogger(__name__)


def guard(app: Flask, settings: Settings) -> None:
    """Has every request looked at: its origin, its key, and how often its owner asks.

    ``g.owner`` is then the name of whoever asks, empty where no keys are set.

    Raises:
        BadKeys, OSError: the file of keys cannot be used.
    """
    keys = Keys(Path(settings.keys)) if settings.keys else None
    origins = {origin.strip() for origin in settings.origins.split(",")} - {""}
    rate = _rate(settings)

    @app.before_request
    def check() -> Response | None:
        g.owner = ""
        # A preflight comes from the browser itself, without the key (Fetch: CORS protocol).
        if request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers:
            return Response(status=204)
        if not request.path.startswith(GUARDED):
            return None
        if keys is not None and request.path != SETTINGS:
            g.owner = _owner(keys)
        if rate is not None:
            rate(g.owner or f"address {request.remote_addr}")
        return None

    @app.after_request
    def add_headers(response: Response) -> Response:
        if response.status_code == 401:
            response.headers["WWW-Authenticate"] = 'Bearer realm="Piecewright"'
        if "rate" in g:
            response.headers["RateLimit-Policy"], response.headers["RateLimit"] = g.rate
        _allow_origin(response, origins)
        return response


def _owner(keys: Keys) -> str:
    scheme, _, key = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not key.strip():
        raise Problem(UNAUTHORIZED, "This address needs an API key.")
    try:
        owner = keys.owner(key.strip())
    except (BadKeys, OSError) as error:
        _log.error("the file of keys can no longer be used: %s", error)
        raise Problem(UNAVAILABLE, "Keys cannot be looked up now.") from error
    if owner is None:
        raise Problem(UNAUTHORIZED, "This API key is not known here.")
    return owner


def _rate(settings: Settings) -> Callable[[str], None] | None:
    """Counts a request of somebody, and refuses it if there were too many in the last minute."""
    if settings.rate == 0:
        return None
    most = RateLimitItemPerMinute(settings.rate)
    # Processes count together where there is a Redis anyway, and each by itself otherwise.
    shared = settings.broker.startswith(("redis://", "rediss://"))
    storage: Storage = (
        RedisStorage(settings.broker, wrap_exceptions=True) if shared else MemoryStorage()
    )
    counting = MovingWindowRateLimiter(storage)

    def count(who: str) -> None:
        try:
            allowed = counting.hit(most, who)
            until, left = counting.get_window_stats(most, who)
        except StorageError:
            # To refuse everybody would be worse than to let somebody ask too often.
            _log.exception("requests cannot be counted now, and are answered all the same")
            return
        wait = max(1, math.ceil(until - time.time()))
        # As in draft-ietf-httpapi-ratelimit-headers.
        g.rate = f'"minute";q={settings.rate};w=60', f'"minute";r={left};t={wait}'
        if not allowed:
            message = f"At most {settings.rate} requests a minute are answered here."
            raise Problem(TOO_MANY_REQUESTS, message, retry_after=wait)

    return count


def _allow_origin(response: Response, origins: set[str]) -> None:
    """What the Fetch standard asks of an answer that a page of another origin may read."""
    if not origins:
        return
    # Whatever comes of it: a cache must not give an answer for one origin to another.
    response.vary.add("Origin")
    origin = request.headers.get("Origin")
    if origin is None or not ({"*", origin} & origins):
        return
    response.headers["Access-Control-Allow-Origin"] = "*" if "*" in origins else origin
    response.headers["Access-Control-Expose-Headers"] = _EXPOSED
    response.headers["Cross-Origin-Resource-Policy"] = "cross-origin"
    if request.method == "OPTIONS":
        response.headers["Access-Control-Allow-Methods"] = _METHODS
        response.headers["Access-Control-Allow-Headers"] = _ALLOWED
        response.headers["Access-Control-Max-Age"] = str(_PREFLIGHT_KEPT)
