"""The command that listens to the phone network."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

import click

from bracewatch.cli.serving import listen

DATABASE, PUBLIC_URL, AUTH_TOKEN = "BRACEWATCH_DATABASE", "BRACEWATCH_PUBLIC_URL", "BRACEWATCH_TWILIO_TOKEN"
THREADS = 4


@dataclass(frozen=True, slots=True)
class HookSettings:
    """What the hooks need to know. The secrets, and the database's address, which may hold one, stay out of `repr`."""

    database: str = field(repr=False)
    public_url: str
    auth_token: str = field(repr=False)


def settings_from(environment: Mapping[str, str]) -> HookSettings:
    """The settings in those variables. Raises click.UsageError that names every missing one, and no value."""
    missing = [name for name in (DATABASE, PUBLIC_URL, AUTH_TOKEN) if not environment.get(name, "").strip()]
    if missing:
        raise click.UsageError(f"set the environment variable{'s' * (len(missing) > 1)} {', '.join(missing)}")
    return HookSettings(*(environment[name].strip() for name in (DATABASE, PUBLIC_URL, AUTH_TOKEN)))


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option("--port", default=8322, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
def hooks(host: str, port: int) -> None:
    """Listen to the phone network: replies that come in, and what became of messages.

    Reads BRACEWATCH_DATABASE, BRACEWATCH_PUBLIC_URL (https, as the provider calls it) and
    BRACEWATCH_TWILIO_TOKEN from the environment.
    """
    from sqlalchemy.exc import ArgumentError, DBAPIError

    from bracewatch.store import Store
    from bracewatch.web.hooks import create_hooks_app

    settings = settings_from(os.environ)
    try:
        store = Store(settings.database)
        store.migrate()
    except (ArgumentError, ImportError, DBAPIError) as error:
        raise click.UsageError(
            f"the database of {DATABASE} cannot be opened ({type(error).__name__}): "
            "give an address such as sqlite:////srv/families.sqlite3"
        ) from None  # the cause may hold a password
    try:
        app = create_hooks_app(
            store,
            clock=lambda: datetime.now(UTC),
            public_base=settings.public_url,
            auth_token=settings.auth_token,
        )
    except ValueError as error:
        raise click.UsageError(f"{PUBLIC_URL}: {error}") from error
    server = listen(app, host=host, port=port, threads=THREADS)
    click.echo(f"Listening to the phone network at http://{host}:{server.effective_port} (Ctrl+C ends it)")
    server.run()
    server.close()
    store.close()
    click.echo("Closed.")
