"""A pool of worker processes that draw, each one answer at a time, under limits.

``pool`` is the service's side, ``worker`` the process, ``tasks`` what one says to the other.
Names that programs rely on call a worker's place a "desk": the setting ``PIECEWRIGHT_DESKS`` and
the metric ``piecewright_desks_ended``.  The answers and the log say worker.
"""
