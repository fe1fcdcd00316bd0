"""A cache of the answers that were drawn last, for whoever asks the same again."""

from __future__ import annotations

from collections import OrderedDict
from hashlib import sha256
from threading import Lock

from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.responses.answer import Answer


class ResponseCache:
    """Answers by the tasks that they came of; the least recently used goes first (LRU).

    The same task always has the same answer, so none grows old. A task that was rejected has no
    answer, and is done again.

    Args:
        capacity: bytes of content that are kept; 0 for none.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity, self._bytes = capacity, 0
        self._answers: OrderedDict[bytes, Answer] = OrderedDict()
        self._lock = Lock()

    def get(self, task: Task) -> Answer | None:
        """The answer to a task that was done before, if it is still kept."""
        key = _key(task)
        with self._lock:
            answer = self._answers.get(key)
            if answer is not None:
                self._answers.move_to_end(key)
        return answer

    def put(self, task: Task, answer: Answer) -> None:
        """Keeps an answer, unless it is larger than all that may be kept."""
        if len(answer.content) > self._capacity:
            return
        key = _key(task)
        with self._lock:
            # Two that asked the same at once have both had it drawn.
            replaced = self._answers.pop(key, None)
            self._answers[key] = answer
            self._bytes += len(answer.content) - (len(replaced.content) if replaced else 0)
            while self._bytes > self._capacity:
                _, oldest = self._answers.popitem(last=False)
                self._bytes -= len(oldest.content)


def _key(task: Task) -> bytes:
    """A digest in place of the request, which may be as large as the answer."""
    asked = f"{task.kind} {task.form} {task.sheet} {task.media_type} {len(task.choices)} "
    return sha256(asked.encode() + task.choices + task.body).digest()
