"""Which form of an answer a client would rather have (RFC 9110, section 12.5.1)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from werkzeug.datastructures import MIMEAccept


def preferred(accept: MIMEAccept, offered: Sequence[str]) -> str | None:
    """The media type with the highest quality.

    Among equals one that the client names wins over one that a ``*`` takes in; then the
    first offered.

    Args:
        accept: the request's field; an empty one takes anything.
        offered: media types without parameters.

    Returns:
        None if the client takes none of them.
    """
    ranges = [(range_.partition(";")[0].strip().lower(), quality) for range_, quality in accept]
    if not ranges:
        return offered[0]
    best = max(offered, key=lambda media_type: _quality(media_type, ranges))
    return best if _quality(best, ranges) > (0.0, 0) else None


def _quality(media_type: str, ranges: Iterable[tuple[str, float]]) -> tuple[float, int]:
    """The quality of the most specific range that covers the media type, and how specific it is.

    ``(0, 0)`` if none does, or one that takes it out.
    """
    family = media_type.partition("/")[0] + "/*"
    specific = {"*/*": 1, "*": 1, family: 2, media_type: 3}
    fitting = [(specific[range_], quality) for range_, quality in ranges if range_ in specific]
    specificity, quality = max(fitting, default=(0, 0.0))
    return (quality, specificity) if quality > 0 else (0.0, 0)
