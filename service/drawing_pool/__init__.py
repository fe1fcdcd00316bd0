"""A pool of worker processes that draw, each one answer at a time, under limits.

``pool`` is the service's side, ``worker`` the process, ``tasks`` what one says to the other.
To whoever runs the service, a worker's place is a "desk": that is the word in the settings
(``PIECEWRIGHT_DESKS``), the metrics, the log, and the answers.
"""
