"""The embedded server: where it listens, who may reach it, when it stops."""

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from refinery import embedded

JOIN = """
import sys
from pathlib import Path
from refinery import embedded
home = Path(sys.argv[1])
embedded.start(home, "-c", "fsync=off")
with embedded.connect(home, "custody", "custody_app") as connection:
    print(connection.execute("SELECT current_user").fetchone()[0], flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def join():
    """Start a process that uses the server of a home until it is told to end."""
    started = []

    def start(home):
        process = subprocess.Popen(
            [sys.executable, "-c", JOIN, str(home)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        started.append(process)
        assert process.stdout.readline() == "custody_app\n"
        return process

    yield start
    for process in started:
        process.communicate()


def test_a_plain_short_path_holds_its_own_socket():
    assert embedded.socket_folder(Path("/srv/our refinery")) == Path("/srv/our refinery/pg")


@pytest.mark.parametrize("name", ["x" * 120, "é" * 50, "one,two", "a'b", "new\nline"])
def test_a_path_that_no_socket_can_have_gets_a_short_one(name):
    home = Path("/srv", name)
    folder = embedded.socket_folder(home)
    assert folder.parent == embedded.SHORT_SOCKETS
    assert len(os.fsencode(f"{folder}{embedded.SOCKET_FILE}")) <= embedded.SOCKET_PATH_LIMIT
    assert folder == embedded.socket_folder(home) != embedded.socket_folder(home / "other")


def test_the_limit_is_counted_in_bytes():
    room = embedded.SOCKET_PATH_LIMIT - len(f"//pg{embedded.SOCKET_FILE}")
    assert embedded.socket_folder(Path("/" + "x" * room)).name == "pg"
    assert embedded.socket_folder(Path("/" + "x" * (room + 1))).name != "pg"


@pytest.mark.parametrize("name", ["deep" * 25, "two words"])
def test_it_serves_until_the_last_user_leaves_even_if_one_is_killed(tmp_path, join, name):
    home = tmp_path / name
    first, killed, last = join(home), join(home), join(home)
    folder = embedded.socket_folder(home)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(embedded.data_folder(home).stat().st_mode) == 0o700

    first.communicate("\n")
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    with embedded.connect(home) as connection:
        assert connection.execute("SHOW listen_addresses").fetchone() == ("",)

    last.communicate("\n")
    assert not (embedded.data_folder(home) / "postmaster.pid").exists()
    assert folder == embedded.data_folder(home) or not folder.exists()


def test_a_folder_that_somebody_else_laid_there_is_refused(tmp_path, monkeypatch):
    trap = tmp_path / "trap"
    trap.symlink_to(tmp_path)
    monkeypatch.setattr(embedded, "socket_folder", lambda home: trap)
    with pytest.raises(embedded.EmbeddedServerError, match=r"trap does not belong to"):
        embedded.start(tmp_path / "home")


def test_a_server_that_does_not_start_is_quoted(tmp_path):
    with pytest.raises(embedded.EmbeddedServerError, match='unrecognized configuration parameter "grams"'):
        embedded.start(tmp_path, "-c", "grams=1")
