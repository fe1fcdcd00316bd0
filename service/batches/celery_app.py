"""Batches by Celery: workers on any machines, with a broker between them and the service.

A task is a token: it does the next print job that the database has, whichever that is, and sends
another token if jobs are left. So a token that is delivered twice does no harm, and one
that is lost is made up for by the sweep, which also gives back the jobs of workers that
have vanished.
"""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable
from threading import Event, Thread
from typing import Any, Final

from celery import Celery, signals

from piecewright.service.batches.backoff import Backoff
from piecewright.service.batches.packet_maker import PacketMaker, Packets
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.work import LEASE, StorageUnavailable, run_next_job
from piecewright.service.processes.memory import limit_memory
from piecewright.service.settings import Settings

TOKEN: Final = "piecewright.do_a_lot"

_MOST_TOKENS: Final = 100
"""Tokens sent at once: as many workers are kept busy by them, each of which sends the next."""

_SWEEP: Final = 10.0
"""Seconds between looks for print jobs whose worker has vanished."""

_LOST: Final = 60.0
"""Seconds that print jobs wait, with nobody claiming any, before new tokens are sent: longer than
most take."""

_MOST_MADE_UP: Final = 10
"""Tokens made up for at once; workers may be busy only, and then there are too many."""

_VISIBILITY: Final = 3600
"""Seconds after which Redis delivers a token again that no worker has acknowledged: longer than a
job takes. Where it is not, a token too many does no harm."""

_log = logging.getLogger(__name__)


def celery_app(
    settings: Settings,
    packet_maker: PacketMaker | None = None,
    *,
    lease: float = LEASE,
    sweep: float = _SWEEP,
) -> Celery:
    """The Celery application for the broker that is set; its workers do batches.

    Args:
        lease: seconds that a job stays a worker's without a word from it.
        sweep: seconds between looks for print jobs whose worker has vanished.
    """
    app = Celery("piecewright", broker=settings.broker, set_as_current=False)
    app.conf.update(
        task_default_queue="piecewright",
        # Acknowledged when it is done, so that one whose worker dies is delivered again.
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        # No token waits at a busy worker while another is idle.
        worker_prefetch_multiplier=1,
        broker_transport_options={"visibility_timeout": _VISIBILITY},
        broker_connection_retry_on_startup=True,
        task_ignore_result=True,
        task_serializer="json",
        accept_content=["json"],
        enable_utc=True,
    )
    made = packet_maker or Packets()
    backoff = Backoff()  # of this process, as each token may come to another

    # Not shared: another application in this process has settings of its own.
    @app.task(name=TOKEN, shared=False)  # type: ignore[untyped-decorator]
    def run_a_job() -> None:
        storage = open_storage(settings)
        worker = secrets.token_hex(16)
        try:
            done = run_next_job(worker, storage, made, settings, lease)
        except StorageUnavailable:
            _log.exception("a batch cannot be kept now; it goes on when it can be")
            backoff.fail()
            time.sleep(backoff.delay)  # this process takes no other token meanwhile
            app.send_task(TOKEN)
            return
        if done:
            backoff.succeed()
        if done and storage.queries.waiting():
            app.send_task(TOKEN)

    def start_sweep(sender: Any, **_: Any) -> None:
        if sender.app is app:
            Thread(target=_sweep, args=(app, settings, sweep), name="sweep", daemon=True).start()

    def limit(**_: Any) -> None:
        # Of the processes that draw; the one that has started them does not.
        limit_memory(settings.desk_memory)

    signals.worker_ready.connect(start_sweep, weak=False)
    signals.worker_process_init.connect(limit, weak=False)
    return app


def send_tokens(app: Celery, jobs: int) -> None:
    """Tells workers that so many print jobs wait.

    Raises:
        kombu.exceptions.OperationalError: the broker cannot be reached.
    """
    with app.producer_or_acquire() as producer:
        for _ in range(min(jobs, _MOST_TOKENS)):
            app.send_task(TOKEN, producer=producer)


def _sweep(app: Celery, settings: Settings, pause: float) -> None:
    ended = Event()
    while not ended.wait(pause):
        try:
            sweep_once(open_storage(settings), lambda jobs: send_tokens(app, jobs))
        except Exception:
            _log.exception("the sweep failed; the next one may not")


def sweep_once(storage: Storage, send: Callable[[int], None]) -> None:
    """Gives back jobs whose worker has vanished, makes up for lost tokens, removes what nobody
    needs."""
    lost = storage.store.requeue_expired()
    if lost:
        _log.warning("%d print jobs of workers that have vanished go to others", lost)
        send(lost)
    waiting_for = storage.queries.waiting_since()
    if waiting_for is not None and waiting_for > _LOST:
        send(min(storage.queries.waiting(), _MOST_MADE_UP))
    storage.sweep()
