"""make bench: each figure stands beside a raw baseline measured in the same run, with the aim and whether it is met.

    python -m tests.bench [--lots 10000,40000] [--operations 600]

Large plants go through the poster one operation after the other, so their size is what one's patience allows.
"""

import argparse
import os
import shutil
import tempfile
import time


def parser() -> argparse.ArgumentParser:
    options = argparse.ArgumentParser(prog="make bench")
    options.add_argument("--lots", default="2000,10000", help="sizes of the traced plant, ascending")
    options.add_argument("--operations", type=int, default=600, help="operations of the imported history")
    return options


def main() -> None:
    options = parser().parse_args()
    home = tempfile.mkdtemp(prefix="custody-bench-")
    os.environ |= {"CUSTODY_HOME": home, "DJANGO_SETTINGS_MODULE": "refinery.settings"}
    os.environ.pop("DATABASE_URL", None)
    import django
    from django.conf import settings

    from refinery import embedded

    embedded.start(settings.CUSTODY_HOME)
    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0, interactive=False)
    from tests.bench import parts

    started = time.perf_counter()
    try:
        parts.recording()
        parts.importing(options.operations)
        parts.tracing([int(size) for size in options.lots.split(",")])
        parts.certificate()
    finally:
        embedded.leave(settings.CUSTODY_HOME)
        shutil.rmtree(home, ignore_errors=True)
    print(f"\n{time.perf_counter() - started:.0f} s in all")


main()
