#!/usr/bin/env python3
r"""Reads a scale's serial line and sends what it shows, at rest, to the book of metal.

One file for the computer at the counter; it needs Python 3.11 and nothing else. Start one for each scale:

    export CUSTODY_TOKEN=...            (or --token-file; never on the command line, where everybody may read it)
    python3 scale_reader.py --site https://book.example.org --scale BENCH-2 --device /dev/ttyUSB0

The token is made by a manager on the page of the person who weighs there. The reading appears in the weight field that
has the focus, as soon as it has come in; a figure that somebody types instead is marked as keyed.

A line counts when --pattern finds it. The pattern is a regular expression with named groups: "weight" (a sign, digits,
a decimal point), and, where the line has them, "unit" (g, mg, kg; --unit without it) and "stable" (at rest if it is one
of --stable-words; a line without that group counts as at rest, for scales that print at rest only). The usual lines
"ST,+00012.345 g" and "   12.345 g" are found without it.

A weight is sent once. The next is sent when the line has shown another weight or nought in between, so that a scale
that repeats its line for as long as the pan is loaded makes one reading. Nought and less are never sent.

What can't be sent because the network is down waits here, in its order, and is sent again with the same
Idempotency-Key: it is kept once. What the book refuses is said and dropped: weigh again. What waits when the program is
stopped is lost after --drain seconds; it says so, and leaves with exit code 1.

Where there is no serial line of the kind that Unix has, give --stdin and let another program fill it.
"""

import argparse
import json
import os
import re
import signal
import stat
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

try:
    import termios
except ImportError:  # not a Unix: --stdin, or a device that is read like a file
    termios = None

PATTERN = (
    r"^\s*(?:(?P<stable>[A-Z]{2})\s*,\s*)?(?:[A-Z]{2}\s*,\s*)?"
    r"(?P<weight>[+-]?\s*\d+(?:\.\d+)?)\s*(?P<unit>kg|mg|g)?\s*$"
)
UNITS = ("g", "mg", "kg")
LONGEST_LINE = 120
LONGEST_WAIT = 30
TIMEOUT = 10
AGAIN = 2
#: Answers after which the same request may well succeed.
PASSING = (408, 425, 429, 500, 502, 503, 504)


def say(sentence: str) -> None:
    """One line on standard output, at once."""
    print(f"{datetime.now().astimezone():%H:%M:%S}  {sentence}", flush=True)


# What the line says


@dataclass(frozen=True)
class Shown:
    """One line of the scale that was understood."""

    weight: Decimal
    unit: str
    stable: bool
    line: str


class Reader:
    """Understands lines, and picks out what is to be sent: each weight at rest once."""

    def __init__(self, pattern: str, stable_words: list[str], unit: str) -> None:
        self.pattern = re.compile(pattern)
        self.stable_words = stable_words
        self.unit = unit
        self.sent: Decimal | None = None

    def understand(self, line: str) -> Shown | None:
        """The line's weight, unit and whether the scale is at rest; None for a line that is something else."""
        found = self.pattern.search(line)
        if not found:
            return None
        groups = found.groupdict()
        weight = Decimal("".join(groups["weight"].split()))
        word = groups.get("stable")
        stable = word is None or word in self.stable_words
        printable = "".join(c if c.isprintable() else " " for c in line).strip()
        return Shown(weight, groups.get("unit") or self.unit, stable, printable[:LONGEST_LINE])

    def take(self, line: str) -> Shown | None:
        """What is to be sent because of this line, or None."""
        shown = self.understand(line)
        if shown is None:
            return None
        if shown.weight != self.sent:
            self.sent = None  # the load changed, or was taken off: the same weight again is a new reading
        if not shown.stable or shown.weight <= 0 or shown.weight == self.sent:
            return None
        self.sent = shown.weight
        return shown


# Sending


class Refused(Exception):
    """The book's answer is no."""


class NotNow(Exception):
    """No answer, or one that says to try again."""


class _StayHere(urllib.request.HTTPRedirectHandler):
    """A token is never carried to another address."""

    def redirect_request(self, *_):
        return None


class Book:
    """The book's API, by one token."""

    def __init__(self, site: str, token: str) -> None:
        self.site = site.rstrip("/")
        self.token = token
        self.opener = urllib.request.build_opener(_StayHere)

    def ask(self, address: str, body: dict | None = None, key: str = "") -> object:
        """The answer's JSON. Raises ``Refused`` and ``NotNow``."""
        headers = {"Authorization": f"Bearer {self.token}", "Accept": "application/json"}
        if body is not None:
            headers |= {"Content-Type": "application/json", "Idempotency-Key": key}
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.site}/api/{address}", data, headers)
        try:
            with self.opener.open(request, timeout=TIMEOUT) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            if error.code in PASSING:
                raise NotNow(f"the book answers {error.code}") from error
            raise Refused(_detail(error)) from error
        except (OSError, ValueError) as error:  # no connection, no answer in time, or an answer that is no JSON
            raise NotNow(str(getattr(error, "reason", error)) or type(error).__name__) from error


def _detail(error: urllib.error.HTTPError) -> str:
    try:
        return str(json.load(error)["detail"])
    except (OSError, ValueError, LookupError, TypeError):
        return f"answer {error.code} {error.reason}. Is the address of the site right?"


class Sender(threading.Thread):
    """Sends readings in their order; one that can't be sent waits, and is sent again with the same key."""

    def __init__(self, book: Book, scale: str) -> None:
        super().__init__(daemon=True)
        self.book = book
        self.scale = scale
        self.waiting: deque[tuple[dict, str]] = deque()
        self.more = threading.Condition()
        self.pause = 1

    def add(self, shown: Shown) -> None:
        """Puts a reading at the end of the queue."""
        body = {
            "scale": self.scale,
            "reading": format(shown.weight, "f"),
            "unit": shown.unit,
            "stable": True,
            "read_at": datetime.now(UTC).isoformat(),
            "line": shown.line,
        }
        with self.more:
            self.waiting.append((body, str(uuid.uuid4())))
            self.more.notify_all()

    def run(self) -> None:
        """Sends what waits, for ever."""
        while True:
            with self.more:
                self.more.wait_for(lambda: self.waiting)
                body, key = self.waiting[0]
            if not self._send(body, key):
                time.sleep(self.pause)
                self.pause = min(self.pause * 2, LONGEST_WAIT)
                continue
            self.pause = 1
            with self.more:
                self.waiting.popleft()
                self.more.notify_all()

    def _send(self, body: dict, key: str) -> bool:
        """Whether this reading is done with."""
        weight = f"{body['reading']} {body['unit']}"
        try:
            kept = self.book.ask("weighings", body, key)
        except NotNow as wrong:
            say(f"{weight}  waits ({len(self.waiting)} in all): {wrong}. Trying again in {self.pause} s.")
            return False
        except Refused as refused:
            say(f"{weight}  REFUSED: {refused}")
            return True
        say(f"{weight}  kept as reading {kept['id']} of {self.scale}.")
        return True

    def drain(self, seconds: int) -> int:
        """Waits until everything is sent, so long at most; gives how many readings are left."""
        with self.more:
            self.more.wait_for(lambda: not self.waiting, timeout=seconds)
            return len(self.waiting)


# The line


def open_line(device: str, baud: int, frame: str) -> int:
    """The device, opened and set to the scale's speed and frame. Raises ``OSError`` and ``ValueError``."""
    line = os.open(device, os.O_RDONLY | getattr(os, "O_NOCTTY", 0))
    if termios is None or not os.isatty(line):
        return line
    speed = getattr(termios, f"B{baud}", None)
    if speed is None:
        raise ValueError(f"{baud} is no speed that this computer knows.")
    bits = {"7": termios.CS7, "8": termios.CS8}[frame[0]]
    parity = {"N": 0, "E": termios.PARENB, "O": termios.PARENB | termios.PARODD}[frame[1]]
    stop = termios.CSTOPB if frame[2] == "2" else 0
    control = termios.tcgetattr(line)[6]
    control[termios.VMIN], control[termios.VTIME] = 1, 0
    as_it_comes = [0, 0, bits | parity | stop | termios.CREAD | termios.CLOCAL, 0, speed, speed, control]
    termios.tcsetattr(line, termios.TCSANOW, as_it_comes)
    return line


def lines_of(line: int) -> Iterator[str]:
    """Lines, whether they end with carriage return, line feed or both; what never ends is thrown away."""
    kept = b""
    while chunk := os.read(line, 256):
        *whole, kept = re.split(rb"[\r\n]+", kept + bytes(byte & 0x7F for byte in chunk))
        kept = kept[-4 * LONGEST_LINE :]
        yield from (one.decode("ascii") for one in whole if one.strip())
    if kept.strip():
        yield kept.decode("ascii")


def read_line_of(asked: argparse.Namespace, reader: Reader, sender: Sender) -> bool:
    """Reads until the line ends; whether it may come back, as a device does that was pulled out. Raises ``OSError``."""
    line = 0 if asked.stdin else open_line(asked.device, asked.baud, asked.frame)
    try:
        device = not asked.stdin and stat.S_ISCHR(os.fstat(line).st_mode)
        if device:
            say(f"Reading {asked.device} for scale {asked.scale}.")
        for text in lines_of(line):
            shown = reader.take(text)
            if shown:
                sender.add(shown)
        return device
    finally:
        if line:
            os.close(line)


def read_for_ever(asked: argparse.Namespace, reader: Reader, sender: Sender) -> None:
    """Reads the line again and again; standard input and a file end."""
    again = True
    while again:
        try:
            again = read_line_of(asked, reader, sender)
        except OSError as error:
            say(f"{asked.device}: {error.strerror}. Trying again.")
        if again:
            time.sleep(AGAIN)


# The program


def arguments(words: list[str] | None) -> argparse.Namespace:
    """What the command line says."""
    about, _, more = __doc__.partition("\n\n")
    parser = argparse.ArgumentParser(
        description=about, epilog=more, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--site", required=True, help="address of the site, like https://book.example.org")
    parser.add_argument("--scale", required=True, help="code of the scale in the register")
    line = parser.add_mutually_exclusive_group(required=True)
    line.add_argument("--device", help="serial line of the scale, like /dev/ttyUSB0")
    line.add_argument("--stdin", action="store_true", help="read lines from standard input instead")
    parser.add_argument("--baud", type=int, default=9600, help="speed of the line (9600)")
    frame = "data bits, parity, stop bits (8N1)"
    parser.add_argument(
        "--frame", default="8N1", choices=[b + p + s for b in "78" for p in "NEO" for s in "12"], help=frame
    )
    parser.add_argument("--pattern", default=PATTERN, help="regular expression of a line; see below")
    parser.add_argument(
        "--stable-words", default="ST", help="words of the group “stable” that mean at rest, by commas (ST)"
    )
    parser.add_argument("--unit", default="g", choices=UNITS, help="unit of a line that names none (g)")
    parser.add_argument("--token-file", help="file with the token, instead of CUSTODY_TOKEN")
    parser.add_argument("--drain", type=int, default=10, help="seconds to wait for the network at the end (10)")
    parser.add_argument(
        "--plain-http", action="store_true", help="allow http:// to another computer, in a closed network"
    )
    return parser.parse_args(words)  # fmt: skip


def wrong_with(asked: argparse.Namespace) -> str:
    """What is wrong with the settings, in a sentence; empty when nothing is."""
    site = urllib.parse.urlsplit(asked.site)
    if site.scheme not in ("http", "https") or not site.hostname:
        return "--site is an address like https://book.example.org."
    here = site.hostname in ("localhost", "127.0.0.1", "::1")
    if site.scheme == "http" and not here and not asked.plain_http:
        return "Over http:// everybody on the way reads the token. Give an https:// address, or --plain-http."
    try:
        groups = re.compile(asked.pattern).groupindex
    except re.error as error:
        return f"--pattern is no regular expression: {error}."
    return "" if "weight" in groups else "--pattern has no group named “weight”."


def token_of(asked: argparse.Namespace) -> str:
    """The token, from its file or the environment. Raises ``OSError``."""
    if asked.token_file:
        with open(asked.token_file, encoding="ascii") as file:
            return file.read().strip()
    return os.environ.get("CUSTODY_TOKEN", "").strip()


def main(words: list[str] | None = None) -> int:
    """Runs until the input ends or somebody stops it; gives the exit code."""
    asked = arguments(words)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # told to stop: say what is lost
    wrong = wrong_with(asked)
    try:
        token = token_of(asked)
    except (OSError, ValueError):
        wrong = wrong or f"The token's file {asked.token_file} cannot be read."
    if not wrong and not re.fullmatch(r"[!-~]+", token):
        wrong = "There is no token: set CUSTODY_TOKEN, or give --token-file."
    if wrong:
        print(wrong, file=sys.stderr)
        return 2
    book = Book(asked.site, token)
    try:
        known = {one["code"]: one["state"] for one in book.ask("scales")}
        if asked.scale not in known:
            print(f"There is no scale {asked.scale} in use. There are: {', '.join(known) or 'none'}.", file=sys.stderr)
            return 2
        say(f"Scale {asked.scale} is {known[asked.scale]}.")
    except Refused as refused:
        print(refused, file=sys.stderr)
        return 2
    except NotNow as wrong:
        say(f"The book does not answer: {wrong}. Readings wait here until it does.")
    sender = Sender(book, asked.scale)
    sender.start()
    try:
        read_for_ever(asked, Reader(asked.pattern, asked.stable_words.split(","), asked.unit), sender)
    except KeyboardInterrupt:
        say("Stopping.")
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    left = sender.drain(asked.drain)
    if left:
        say(f"{left} readings were not sent and are lost. Weigh again.")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
