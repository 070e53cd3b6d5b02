"""The process that does what is due: reviews, sends, finds out what became of what was sent."""

from __future__ import annotations

import os
import secrets
import signal
import socket
import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from bracewatch.services.working import Work


@click.command()
@click.option("--once", is_flag=True, help="Do what is due now, and end.")
@click.option("--every", default=5, show_default=True, type=click.IntRange(1, 3600), help="Seconds between two looks.")
def work(once: bool, every: int) -> None:
    """Review whoever is due, send what is due, and find out what became of what was sent.

    Settings come from environment variables: BRACEWATCH_DATABASE, BRACEWATCH_TWILIO_ACCOUNT,
    BRACEWATCH_TWILIO_TOKEN, and BRACEWATCH_TWILIO_NUMBER or BRACEWATCH_TWILIO_SERVICE. Several of these processes
    may run at once on PostgreSQL. SIGTERM ends it when the message in flight is done.
    """
    from bracewatch import settings, worker
    from bracewatch.messages.twilio_sms import TwilioSms
    from bracewatch.services.working import Work
    from bracewatch.store import Store

    try:
        given = settings.read(os.environ)
    except settings.SettingsError as error:
        raise click.UsageError(str(error)) from error
    ending = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ending.set())
    store = Store(given.database)
    owner = f"{socket.gethostname()}-{os.getpid()}-{secrets.token_hex(4)}"  # no other process has this name
    at_work = Work(store, TwilioSms(given.twilio()), lambda: datetime.now(UTC), owner, given.timing(), ending)
    if once:
        click.echo(at_work.do().line())
    else:
        ticking = worker.start(lambda: _tick(at_work), every_seconds=every)
        click.echo(f"At work, every {every} seconds (Ctrl+C ends it)")
        ending.wait()
        ticking.shutdown(wait=True)
        click.echo("Ended; nothing is in flight.")
    store.close()


def _tick(work: Work) -> None:
    done = work.do()
    if done.changed:
        click.echo(done.line())
