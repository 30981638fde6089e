#!/usr/bin/env python
"""Django's command line; it starts the embedded database when no other is named."""

import os
import signal
import sys

WITHOUT_DATABASE = {"check", "collectstatic", "help", "version", "--help", "-h", "--version"}


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "refinery.settings")
    from django.conf import settings
    from django.core.management import execute_from_command_line

    from refinery import embedded

    # An ordinary exit, so that the embedded database is stopped cleanly.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    command = sys.argv[1] if len(sys.argv) > 1 else "help"
    if command not in WITHOUT_DATABASE and settings.EMBEDDED_DATABASE:
        try:
            embedded.start(settings.CUSTODY_HOME)
        except embedded.EmbeddedServerError as error:
            sys.exit(f"The embedded database did not start. {error}")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
