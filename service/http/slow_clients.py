"""Requests that come too slowly: a connection whose reads end when a request takes too long.

A request is read by a thread, which waits for the rest of it.  Without an end to that a few dozen
clients that send a byte now and then would hold all threads, and nobody else were answered.
"""

from __future__ import annotations

import socket
import time
from typing import Final

from gunicorn.http.errors import ParseException

GRACE: Final = 10.0
"""Seconds for any request to come in."""

SLOWEST: Final = 32 * 1024
"""Bytes a second; so many of a request give it another second. The largest body comes in time from
a telephone with a poor connection."""


class TooSlow(ParseException):  # type: ignore[misc]  # it has no types
    """A request did not come in time."""

    def __str__(self) -> str:
        return "The request came too slowly; send it in one go."


class PatientSocket(socket.socket):
    """A connection that waits for a request for so long and no longer."""

    _until = float("inf")

    @classmethod
    def of(cls, connection: socket.socket) -> PatientSocket:
        """Takes a connection over."""
        timeout = connection.gettimeout()
        own = cls(connection.family, connection.type, connection.proto, connection.detach())
        own.settimeout(timeout)
        return own

    def expect_request(self) -> None:
        """From now on a request is waited for."""
        self._until = time.monotonic() + GRACE

    def recv(self, size: int, flags: int = 0, /) -> bytes:
        """What has come of it.

        Raises:
            TooSlow: nothing has, and its time is over.
        """
        usual = self.gettimeout()
        if usual == 0.0:
            return super().recv(size, flags)
        left = self._until - time.monotonic()
        if left <= 0:
            raise TooSlow
        wait = left if usual is None else min(left, usual)
        try:
            self.settimeout(wait if wait < float("inf") else None)
            data = super().recv(size, flags)
        except TimeoutError:
            if wait < left:  # it is not the request that was given so little time
                raise
            raise TooSlow from None
        finally:
            self.settimeout(usual)
        self._until += len(data) / SLOWEST
        return data
