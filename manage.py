#!/usr/bin/env python
"""Django's command line; it starts the embedded database when no other is named."""

import os
import signal
import sys

WITHOUT_DATABASE = {"check", "collectstatic", "help", "version", "--help", "-h", "--version"}


def needs_database(arguments: list[str]) -> bool:
    return bool(arguments) and (arguments[0] not in WITHOUT_DATABASE or "--database" in arguments)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "refinery.settings")
    from django.conf import settings
    from django.core.management import execute_from_command_line

    from refinery import embedded

    for ending in (signal.SIGTERM, signal.SIGHUP):  # an ordinary exit, so that the embedded database is stopped
        signal.signal(ending, lambda *_: sys.exit(1))
    try:
        if settings.EMBEDDED_DATABASE and needs_database(sys.argv[1:]):
            embedded.start(settings.CUSTODY_HOME)
    except (embedded.EmbeddedServerError, PermissionError) as error:
        sys.exit(f"The embedded database did not start. {error}")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
