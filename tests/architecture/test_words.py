"""Nothing unfinished and nothing of one machine is left in the tree."""

import re
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files

CODE = (".py", ".sql", ".html", ".css", ".js", ".svg")
TEXT = (*CODE, ".md", ".toml", ".txt", ".in", ".json", ".jsonl", ".csv", ".yaml", "")
# The words are spelled in two parts, so that this file does not find itself.
FORBIDDEN = {
    "unfinished": re.compile(r"\b(TO" + r"DO|FIX" + r"ME|XX" + r"X|HA" + r"CK|TB" + r"D)\b"),
    "left from debugging": re.compile(r"\b(break" + r"point\(\)|pdb\.set_" + r"trace|console\.l" + r"og\()"),
    "an unresolved merge": re.compile(r"^(<{7}|>{7}) ", re.MULTILINE),
    "a folder of one machine": re.compile(r"(?<![\w.~-])/(home|root|Users|wo" + r"rk)/\w"),
    "a package registry": re.compile(
        r"(\bpy" + r"pi\.org|\bpython" + r"hosted|\bregistry\.n" + r"pmjs|--(extra-)?index" + r"-url)"
    ),
}


def forbidden(path: Path, source: str) -> list[str]:
    return [
        f"{source.count(chr(10), 0, hit.start()) + 1}: {what}: {hit[0].strip()}"
        for what, pattern in FORBIDDEN.items()
        for hit in pattern.finditer(source)
    ]


def test_no_forbidden_words():
    assert not breaches(forbidden, files(*TEXT))


@pytest.mark.parametrize(
    "line",
    ["# TO" + "DO later", "FIX" + "ME", "break" + "point()", "<" * 7 + " HEAD", "open('/ho" + "me/me/x')",
     "--index" + "-url https://example.test", "https://py" + "pi.org/simple"],
)  # fmt: skip
def test_a_forbidden_word_is_found(line):
    found = forbidden(Path("custody/terms.py"), f"first\n{line}\n")
    assert len(found) == 1
    assert found[0].startswith("2:")


@pytest.mark.parametrize(
    "line", ["a method", "hacksaw", "/var/lib/custody", "{% url 'work' %}", "templates/work/list.html"]
)
def test_an_innocent_word_is_free(line):
    assert forbidden(Path("custody/terms.py"), line) == []
