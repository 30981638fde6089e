"""Sizes a reader can hold in the head."""

import ast
from pathlib import Path

from tests.architecture.tree import breaches, files, parsed, text

FUNCTION_LINES = 60
MODULE_LINES = 500
TEMPLATE_LINES = 150
CSS_LINES = 1800
GENERATED = Path("custody/migrations")  # written by makemigrations


def line_count(source: str) -> int:
    return len(source.splitlines())


def long_functions(path: Path, source: str) -> list[str]:
    return [
        f"{node.lineno}: {node.name}() has {node.end_lineno - node.lineno + 1} lines, more than {FUNCTION_LINES}"
        for node in ast.walk(parsed(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno + 1 > FUNCTION_LINES
    ]


def too_long(limit: int):
    def rule(path: Path, source: str) -> list[str]:
        lines = line_count(source)
        return [f"{lines}: {lines} lines, more than {limit}"] if lines > limit else []

    return rule


def css_overrun(sources: list[str]) -> int:
    return max(0, sum(map(line_count, sources)) - CSS_LINES)


def test_functions():
    assert not breaches(long_functions, files(".py"))


def test_modules():
    written = (path for path in files(".py", ".sql", ".js") if GENERATED not in path.parents)
    assert not breaches(too_long(MODULE_LINES), written)


def test_templates():
    assert not breaches(too_long(TEMPLATE_LINES), files(".html", under="templates"))


def test_css():
    assert css_overrun([text(path) for path in files(".css")]) == 0


def function_of(lines: int) -> str:
    return "def long():\n" + "    x = 1\n" * (lines - 1)


def test_each_ceiling_is_felt():
    path = Path("custody/calc/mass.py")
    assert long_functions(path, function_of(60)) == []
    assert len(long_functions(path, function_of(61))) == 1
    assert (
        len(long_functions(path, "class A:\n" + "".join(f"    {line}\n" for line in function_of(61).splitlines()))) == 1
    )
    assert too_long(500)(path, "x = 1\n" * 500) == []
    assert len(too_long(500)(path, "x = 1\n" * 501)) == 1
    assert css_overrun(["a\n" * 1000, "b\n" * 800]) == 0
    assert css_overrun(["a\n" * 1000, "b\n" * 801]) == 1
