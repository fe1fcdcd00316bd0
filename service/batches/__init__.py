"""Batches: many packets asked for at once, such as a guild's kits, one for each member.

A request (``parse``, ``schemas``) becomes items, and items whose packet is the same but for the
name become a print job (``print_jobs``). What is to be done and what has been done stands in a
database: its ``tables``, the changes of state (``store``, a state machine), what is read
(``queries``), all in terms of ``model``. The documents are ``files``; ``storage`` opens both, and
sweeps up what nobody needs. How much is kept for one owner is a matter of ``quotas``.

A worker claims a print job on a lease, draws its master once and stamps it for each item
(``work``, ``packet_maker``); a watchdog ends it when a step takes too long. Workers are processes
that the service starts (``supervisor``, ``worker``) or Celery's (``celery_app``), whichever
``dispatch`` chooses; ``run_workers`` runs them apart from the service. When all items have ended,
one job more has their documents put into one. What cannot be stored is tried again, with a
``backoff``.
"""
