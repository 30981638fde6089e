"""One import direction: terms, errors → calc, roles → models → queries → documents → actions → web → the doors."""

import ast
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed, room

WORDS = {"terms", "errors"}
CORE = WORDS | {"calc", "roles"}
READ = CORE | {"models", "queries"}
WRITE = READ | {"documents", "actions"}
SCREEN = WRITE | {"web", "templatetags"}
MAY_IMPORT = {
    "terms": set(),
    "errors": {"terms"},
    "calc": WORDS,
    "roles": WORDS,
    "models": CORE,
    "queries": CORE | {"models"},
    "documents": READ | {"templatetags"},
    "actions": READ | {"documents"},
    "web": WRITE | {"templatetags"},
    "staff": SCREEN,
    "portal": SCREEN,
    "api": SCREEN,
    "management": SCREEN,
    "scale_reader": set(),  # a program of its own, for another computer
    # what Django itself calls, beside the layers
    "templatetags": CORE,
    "sql": set(),
    "migrations": CORE | {"models", "sql"},
    "grants": set(),
    "apps": {"grants", "actions"},
}
KNOWS_THE_INSTALLATION = {"grants", "management"}  # the only rooms that may import refinery/

# calc computes from its arguments alone: no framework, no database, no clock, no chance, no files.
IMPURE = {
    "django", "psycopg", "time", "random", "secrets", "os", "io", "pathlib", "subprocess", "socket", "threading",
    "asyncio", "logging", "sys",
}  # fmt: skip
CLOCK = {"now", "today", "utcnow"}


def imported(path: Path, module: ast.Module) -> list[tuple[int, str]]:
    """Line and full dotted name of everything imported, at the top or inside a function."""
    found = []
    for node in ast.walk(module):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = list(path.parent.parts)[: len(path.parent.parts) - node.level + 1] if node.level else []
            prefix = ".".join([*base, *filter(None, [node.module])])
            found += [(node.lineno, f"{prefix}.{alias.name}") for alias in node.names]
    return found


def import_direction(path: Path, source: str) -> list[str]:
    here = room(path)
    if here in ("", "__init__"):
        return []
    if here not in MAY_IMPORT:
        return [f"1: custody/{here} has no row in the import table"]
    found = []
    for line, name in imported(path, parsed(source)):
        top, _, rest = name.partition(".")
        there = rest.split(".")[0]
        if top == "tests" or (top == "refinery" and here not in KNOWS_THE_INSTALLATION):
            found.append(f"{line}: {here} must not import {top}")
        if top == "custody" and there not in MAY_IMPORT[here] | {here}:
            found.append(f"{line}: {here} must not import {there or 'custody itself'}")
    return found


def purity(path: Path, source: str) -> list[str]:
    module = parsed(source)
    names = [(line, name) for line, name in imported(path, module) if name.split(".")[0] in IMPURE]
    calls = [
        (node.lineno, node.attr) for node in ast.walk(module) if isinstance(node, ast.Attribute) and node.attr in CLOCK
    ]
    return [f"{line}: calc must not use {name}" for line, name in names + calls]


def star_imports(path: Path, source: str) -> list[str]:
    return [
        f"{node.lineno}: star import"
        for node in ast.walk(parsed(source))
        if isinstance(node, ast.ImportFrom) and any(alias.name == "*" for alias in node.names)
    ]


def test_imports_go_one_way():
    assert not breaches(import_direction, files(".py", under="custody"))


def test_calc_is_pure():
    assert not breaches(purity, files(".py", under="custody/calc"))


def test_no_star_imports():
    assert not breaches(star_imports, files(".py"))


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("custody/terms.py", "from custody import errors"),
        ("custody/calc/mass.py", "from custody.roles import may"),
        ("custody/calc/mass.py", "from custody.models.lots import Lot"),
        ("custody/models/lots.py", "import custody.queries.lots"),
        ("custody/queries/lots.py", "def f():\n    from custody.actions import melt"),
        ("custody/documents/receipt.py", "from ..actions import melt"),
        ("custody/actions/melt.py", "from custody.web import forms"),
        ("custody/staff/lots.py", "from custody.portal.views import page"),
        ("custody/portal/views.py", "from custody import staff"),
        ("custody/api/operations.py", "from custody.staff import views"),
        ("custody/management/commands/demo.py", "from custody.staff import views"),
        ("custody/queries/lots.py", "from refinery import settings"),
        ("custody/actions/melt.py", "from tests.builders import lot"),
        ("custody/helpers.py", ""),
        ("custody/models/lots.py", "from . import lots\nfrom .. import web"),
    ],
)
def test_a_breach_of_direction_is_found(path, source):
    assert len(import_direction(Path(path), source)) == 1


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("custody/models/lots.py", "from custody.terms import Metal\nfrom .fields import Amounts\nimport django"),
        ("custody/actions/melt.py", "from custody.actions._post import post\nfrom custody.documents import receipt"),
        ("custody/staff/lots.py", "from ..web import forms\nfrom . import urls"),
        ("custody/grants.py", "from refinery.roles import APP"),
    ],
)
def test_the_right_direction_is_free(path, source):
    assert import_direction(Path(path), source) == []


@pytest.mark.parametrize("source", ["import time", "from django.db import models", "when = datetime.now()"])
def test_an_impure_calculation_is_found(source):
    assert len(purity(Path("custody/calc/mass.py"), source)) == 1


def test_a_star_import_is_found():
    assert star_imports(Path("custody/models/__init__.py"), "from .lots import *") == ["1: star import"]
