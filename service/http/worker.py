"""How gunicorn's workers take requests in: not for ever, and refused ones as problem details.

What is wrong with a request before the application sees it (its first line, its header fields, how
its body is framed) gunicorn refuses itself.
"""

from __future__ import annotations

import socket
import uuid
from http import HTTPStatus
from typing import Any, Final

from gunicorn.workers.gthread import ThreadWorker

from piecewright.service.http.slow_clients import PatientSocket, TooSlow
from piecewright.service.json_text import write_json
from piecewright.service.problems import (
    BAD_REQUEST,
    INTERNAL_ERROR,
    MEDIA_TYPE,
    Kind,
    sentence,
)
from piecewright.service.responses.problem import problem_body

_OWN_KINDS: Final = {kind.status: kind for kind in (BAD_REQUEST, INTERNAL_ERROR)}
_TIMEOUT: Final = Kind("", 408, HTTPStatus.REQUEST_TIMEOUT.phrase, "")


class Worker(ThreadWorker):  # type: ignore[misc]  # it has no types
    """A worker with threads."""

    def handle(self, conn: Any) -> Any:
        """Answer the next request of a connection."""
        if type(conn.sock) is socket.socket:
            # It is not yet registered anywhere: connections come here first.
            conn.sock = PatientSocket.of(conn.sock)
        if isinstance(conn.sock, PatientSocket):
            conn.sock.expect_request()
        return super().handle(conn)

    def _keepalive_after(self, conn: Any, keepalive: Any) -> Any:
        """Whether the connection goes on: not where the rest of a body that nobody read is late."""
        try:
            return super()._keepalive_after(conn, keepalive)
        except TooSlow:
            return False  # the request was answered by now

    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: Exception) -> None:
        """Refuse a request that the application does not see, or could not answer."""
        if isinstance(exc, TooSlow):
            _Refusal(client, exc).answer(_TIMEOUT)
        else:
            super().handle_error(req, _Refusal(client, exc), addr, exc)


class _Refusal:
    """Stands in for a connection where gunicorn writes its refusals, in HTML: they are written anew
    as problem details (RFC 9457)."""

    def __init__(self, client: socket.socket, cause: Exception) -> None:
        self._client, self._cause = client, cause

    def gettimeout(self) -> float:
        """None at all: gunicorn need not set one."""
        return 0.0

    def sendall(self, refusal: bytes) -> None:
        """Write a refusal, of which the first line says what is meant."""
        _, status, reason = refusal.partition(b"\r\n")[0].decode("latin-1").split(" ", 2)
        self.answer(_OWN_KINDS.get(int(status)) or Kind("", int(status), reason, ""))

    def answer(self, kind: Kind) -> None:
        """Write a problem of a kind."""
        detail = sentence(str(self._cause)) if kind is not INTERNAL_ERROR else kind.title
        type_ = f"/problems/{kind.id}" if kind.id else "about:blank"
        body = write_json(problem_body(kind, detail, type_))
        phrase = HTTPStatus(kind.status).phrase if kind.id else kind.title
        head = (
            f"HTTP/1.1 {kind.status} {phrase}",
            f"Content-Type: {MEDIA_TYPE}",
            f"Content-Length: {len(body)}",
            "Connection: close",
            "X-Content-Type-Options: nosniff",
            f"X-Request-Id: {uuid.uuid4().hex}",
        )
        # Whoever does not even read the answer is not waited for.
        self._client.setblocking(False)
        self._client.sendall("\r\n".join((*head, "", "")).encode("latin-1") + body)
