"""The application: ``gunicorn 'piecewright.service.app:create_app()'`` serves it."""

from __future__ import annotations

import re
import time
import uuid
from typing import Final

from flask import Flask, Response, g, request
from werkzeug.middleware.proxy_fix import ProxyFix

from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.http.access import guard
from piecewright.service.http.batches.routes import batches
from piecewright.service.http.docs import pages
from piecewright.service.http.error_handlers import answer_with_problems
from piecewright.service.http.routes import interface
from piecewright.service.monitoring.logs import log_requests
from piecewright.service.monitoring.metrics import measure
from piecewright.service.settings import Settings

REQUEST_ID: Final = "X-Request-Id"

_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    # What a program asked for has nothing to load; the pages name their own policy.
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}

_GIVEN_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")


def create_app(settings: Settings | None = None, pool: DrawingPool | None = None) -> Flask:
    """The service as a WSGI application.

    Args:
        settings: those of the environment if not given.
        pool: where answers are drawn; the service's own, started when needed, if not given.

    Raises:
        ValueError: the environment's settings cannot be used, or the file of keys cannot.
        OSError: the file of keys cannot be read.
    """
    settings = settings or Settings.from_environment()
    # No folder of static files: pages carry their style, and nothing is served that is not meant.
    app = Flask("piecewright.service", template_folder="pages", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = settings.max_request_bytes
    pool = pool or DrawingPool(settings)
    app.register_blueprint(interface(settings, pool))
    app.register_blueprint(batches(settings, pool))
    app.register_blueprint(pages(settings))
    answer_with_problems(app)
    if settings.proxies:
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=settings.proxies)  # type: ignore[method-assign]
    # What is done before a request runs in this order; what is done after it in the reverse one,
    # so that the log and the figures see the answer as it leaves, with all its headers.
    app.before_request(_name_request)
    log_requests(app)
    measure(app)
    guard(app, settings)
    app.after_request(_add_headers)
    app.after_request(_add_etag)
    return app


def _name_request() -> None:
    """Takes over the caller's id for the request, or makes one, and looks at the clock."""
    g.began = time.perf_counter()
    given = request.headers.get(REQUEST_ID, "")
    g.request_id = given if _GIVEN_ID.fullmatch(given) else uuid.uuid4().hex


def _add_etag(response: Response) -> Response:
    """Adds the tag by which an answer is known, and answers 304 to whoever has it (RFC 9110, 13.1).

    On POST, If-None-Match asks for something else (13.1.2); Werkzeug looks at it on GET and HEAD.
    """
    kept = not response.cache_control.no_store
    if response.status_code == 200 and kept and not response.is_streamed:
        response.add_etag()
        response.make_conditional(request)
    response.headers.setdefault("Cache-Control", "no-cache")
    return response


def _add_headers(response: Response) -> Response:
    response.headers[REQUEST_ID] = g.request_id
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    return response
