"""Serving an app until somebody asks it to stop and what is in flight is done."""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from flask import Flask


def listen(app: Flask, *, host: str, port: int, threads: int) -> Any:
    """A waitress server that has the port; its `run()` answers, and comes back after SIGTERM or Ctrl+C.

    A body a little over the app's own limit is refused by the app, in its words; a far longer one is not read.
    Raises click.UsageError when the port cannot be had.
    """
    from waitress.server import create_server

    most = 2 * int(app.config["MAX_CONTENT_LENGTH"])
    try:
        server = create_server(app, host=host, port=port, threads=threads, max_request_body_size=most)
    except OSError as error:
        raise click.UsageError(f"port {port} cannot be used ({error.strerror}): choose another with --port") from error

    def stop(_signal: int, _frame: object) -> None:
        raise SystemExit(0)

    signal.signal(signal.SIGTERM, stop)
    return server
