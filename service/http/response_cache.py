"""The answers that were given last, for whoever asks the same again."""

from __future__ import annotations

from collections import OrderedDict
from hashlib import sha256
from threading import Lock

from piecewright.service.drawing_pool.tasks import Order
from piecewright.service.responses.answer import Answer


class KeptAnswers:
    """Answers by what was ordered; the one that was not asked for longest goes first.

    Args:
        most: bytes of content that are kept; 0 for none.
    """

    def __init__(self, most: int) -> None:
        self._most, self._bytes = most, 0
        self._answers: OrderedDict[bytes, Answer] = OrderedDict()
        self._lock = Lock()

    def get(self, order: Order) -> Answer | None:
        """The answer to an order that was given before, if it is still kept."""
        key = _key(order)
        with self._lock:
            answer = self._answers.get(key)
            if answer is not None:
                self._answers.move_to_end(key)
        return answer

    def put(self, order: Order, answer: Answer) -> None:
        """Keeps an answer, unless it is larger than all that may be kept."""
        if len(answer.content) > self._most:
            return
        with self._lock:
            replaced = self._answers.pop(_key(order), None)
            self._answers[_key(order)] = answer
            self._bytes += len(answer.content) - (len(replaced.content) if replaced else 0)
            while self._bytes > self._most:
                _, oldest = self._answers.popitem(last=False)
                self._bytes -= len(oldest.content)


def _key(order: Order) -> bytes:
    asked = f"{order.work} {order.form} {order.sheet} "
    return sha256(asked.encode() + order.body).digest()
