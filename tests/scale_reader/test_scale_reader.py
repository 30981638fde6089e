"""The program on the counter's computer: what it makes of a line, and a whole run on a pseudo-terminal."""

import json
import os
import pty
import subprocess
import sys
import threading
from decimal import Decimal
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from custody.actions.tokens import make_token, revoke_token
from custody.models import ScaleReading
from custody.scale_reader import scale_reader
from custody.scale_reader.scale_reader import PATTERN, Book, Reader, Sender, wrong_with
from tests import builders, people

PROGRAM = Path(scale_reader.__file__)


def taken(*lines, pattern=PATTERN, unit="g"):
    reader = Reader(pattern, ["ST"], unit)
    return [f"{shown.weight} {shown.unit}" for shown in map(reader.take, lines) if shown]


@pytest.mark.parametrize(
    ("line", "understood"),
    [
        ("ST,+00012.345 g", ("12.345", "g", True)),
        ("US,+00012.345 g", ("12.345", "g", False)),
        ("ST,GS,+  1.2340kg", ("1.2340", "kg", True)),
        ("   250.1", ("250.1", "g", True)),
        ("ST,-00000.010 g", ("-0.010", "g", True)),
        ("OL", None),
        ("12,345 g", None),
        ("ST,+12.345 lb", None),
        ("", None),
    ],
)
def test_a_line_is_understood_or_passed_over(line, understood):
    shown = Reader(PATTERN, ["ST"], "g").understand(line)
    assert (shown and (str(shown.weight), shown.unit, shown.stable)) == understood


def test_a_line_of_another_scale_by_its_own_pattern():
    pattern = r"^W(?P<weight>\d+\.\d+) (?P<stable>[SD])"
    reader = Reader(pattern, ["S"], "mg")
    assert reader.take("W5.5 D") is None
    assert reader.take("W5.5 S").weight == Decimal("5.5")


def test_a_repeated_line_is_one_reading():
    at_rest, moving = "ST,+00012.345 g", "US,+00007.000 g"
    assert taken("US,+00003.000 g", at_rest, at_rest, at_rest) == ["12.345 g"]
    assert taken(at_rest, moving, at_rest) == ["12.345 g"] * 2
    assert taken(at_rest, "ST,+00000.000 g", at_rest, "ST,+00020.000 g") == ["12.345 g", "12.345 g", "20.000 g"]
    assert taken("ST,+00000.000 g", "ST,-00001.000 g") == []


class Flaky(BaseHTTPRequestHandler):
    """Fails twice, then keeps; it notes the keys that it was sent."""

    keys: list[str] = []

    def do_POST(self):
        self.keys.append(self.headers["Idempotency-Key"])
        said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        if len(self.keys) == 1:
            self.close_connection = True  # no answer at all
            return
        status = 503 if len(self.keys) == 2 else 201
        answer = json.dumps({"id": 7, "scale": said["scale"]}).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


def test_what_the_network_lost_is_sent_again_with_the_same_key(monkeypatch, capsys):
    monkeypatch.setattr(scale_reader.time, "sleep", lambda _: None)
    Flaky.keys = []
    server = HTTPServer(("127.0.0.1", 0), Flaky)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    sender = Sender(Book(f"http://127.0.0.1:{server.server_port}", "secret"), "BENCH-2")
    sender.add(Reader(PATTERN, ["ST"], "g").take("ST,+00012.345 g"))
    sender.start()
    assert sender.drain(20) == 0
    server.shutdown()
    thread.join()
    server.server_close()
    assert len(Flaky.keys) == 3
    assert len(set(Flaky.keys)) == 1
    told = capsys.readouterr().out
    assert "Trying again" in told
    assert "kept as reading 7" in told
    assert "secret" not in told


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--site", "book.example.org"], "--site is an address"),
        (["--site", "http://book.example.org"], "everybody on the way reads the token"),
        (["--site", "https://book.example.org", "--pattern", "("], "no regular expression"),
        (["--site", "https://book.example.org", "--pattern", "x"], "no group named “weight”"),
        (["--site", "https://book.example.org"], ""),
        (["--site", "http://127.0.0.1:8000"], ""),
        (["--site", "http://book.example.org", "--plain-http"], ""),
    ],
)
def test_wrong_settings_are_said(words, sentence):
    said = wrong_with(scale_reader.arguments([*words, "--scale", "BENCH-2", "--stdin"]))
    assert sentence in said if sentence else said == ""


def started(site, token, *words):
    return subprocess.Popen(
        [sys.executable, str(PROGRAM), "--site", site, "--scale", "BENCH-2", *words],
        env={"PATH": os.environ["PATH"], "CUSTODY_TOKEN": token},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def heard(program, words):
    """The next line of the program that has these words."""
    for line in program.stdout:
        if words in line:
            return line
    pytest.fail(f"the program ended without saying “{words}”: {program.stderr.read()}")


def test_a_whole_run_on_a_serial_line(live_site):
    builders.scale()
    token, _ = make_token(user=people.fiona_frontdesk(), by=None)
    scale, line = pty.openpty()
    program = started(live_site, token, "--device", os.ttyname(line))
    try:
        heard(program, "is checked today")
        heard(program, "Reading")
        os.write(scale, b"US,+00003.000 g\r\nST,+00012.345 g\r\nST,+00012.345 g\r\n")
        heard(program, "12.345 g  kept as reading")
        os.write(scale, b"ST,+00000.000 g\r\nST,+000")
        os.write(scale, b"20.500 g\r\n")
        heard(program, "20.500 g  kept as reading")
    finally:
        program.terminate()
        assert program.wait(20) == 0
        os.close(scale)
        os.close(line)
    kept = ScaleReading.objects.values_list("value_ug", "stable", "line", "by__username")
    assert list(kept) == [
        (12_345_000, True, "ST,+00012.345 g", "fiona"),
        (20_500_000, True, "ST,+00020.500 g", "fiona"),
    ]


def test_a_run_from_standard_input(live_site):
    builders.scale()
    token, row = make_token(user=people.fiona_frontdesk(), by=None)
    told, wrong = started(live_site, token, "--stdin").communicate("ST,+5.000 g\nnoise\nST,+0.0000001 g\n", timeout=60)
    assert "5.000 g  kept as reading" in told
    assert "0.0000001 g  REFUSED" in told  # finer than a microgram
    assert token not in told + wrong
    revoke_token(token=row, by=people.mona_manager())
    refused = started(live_site, token, "--stdin")
    assert "token that works" in refused.communicate("ST,+5.000 g\n", timeout=60)[1]
    assert refused.returncode == 2


def test_an_unknown_scale_is_said_at_once(live_site):
    builders.places()
    token, _ = make_token(user=people.fiona_frontdesk(), by=None)
    program = started(live_site, token, "--stdin")
    assert "There is no scale BENCH-2 in use" in program.communicate("", timeout=60)[1]
    assert program.returncode == 2
