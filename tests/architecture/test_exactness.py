"""No binary float touches a mass, a fineness or a price."""

import ast
import re
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed

EXACT_MATH = {"gcd", "lcm", "isqrt", "comb", "perm", "prod", "factorial"}
INEXACT_MODULES = {"cmath", "statistics", "numpy", "scipy"}
FLOAT_COLUMNS = re.compile(r"\b(double\s+precision|float[48]?|real)\b", re.IGNORECASE)


def inexact(node: ast.AST) -> str:
    """What the node does with floats, or nothing."""
    match node:
        case ast.Constant(value=float() | complex()):
            return f"the float {node.value}"
        case ast.Name(id="float" | "complex"):
            return node.id
        case ast.Attribute(value=ast.Name(id="math"), attr=attr) if attr not in EXACT_MATH:
            return f"math.{attr}"
        case ast.ImportFrom(module="math", names=names) if {name.name for name in names} - EXACT_MATH:
            return "a float function of math"
        case ast.Import(names=names) if {name.name.split(".")[0] for name in names} & INEXACT_MODULES:
            return "a module of floats"
        case ast.ImportFrom(module=str() as module) if module.split(".")[0] in INEXACT_MODULES:
            return "a module of floats"
    return ""


def floats(path: Path, source: str) -> list[str]:
    found = [(node, inexact(node)) for node in ast.walk(parsed(source))]
    return [f"{node.lineno}: {what} in an exact calculation" for node, what in found if what]


def float_columns(path: Path, source: str) -> list[str]:
    if path.suffix == ".py":
        return [
            f"{node.lineno}: FloatField"
            for node in ast.walk(parsed(source))
            if isinstance(node, ast.Attribute | ast.Name)
            and "FloatField" in (getattr(node, "attr", ""), getattr(node, "id", ""))
        ]
    lines = [line.partition("--")[0] for line in source.splitlines()]
    return [f"{number}: a float in SQL" for number, line in enumerate(lines, 1) if FLOAT_COLUMNS.search(line)]


def test_calculations_are_exact():
    assert not breaches(floats, files(".py", under="custody/calc"))


def test_tables_are_exact():
    assert not breaches(float_columns, files(".py", under="custody/models"))
    assert not breaches(float_columns, files(".sql", under="custody/sql"))


@pytest.mark.parametrize(
    "line",
    ["x = gross * 0.5", "x = float(gross)", "x: float = 1", "x = math.sqrt(y)", "from math import sqrt",
     "import statistics", "from numpy import array", "x = 1e6"],
)  # fmt: skip
def test_a_float_is_found(line):
    assert len(floats(Path("custody/calc/mass.py"), line)) == 1


@pytest.mark.parametrize("line", ["x = 1_000_000", "x = Decimal('0.5')", "from math import gcd", "x = math.isqrt(9)"])
def test_exact_arithmetic_is_free(line):
    assert floats(Path("custody/calc/mass.py"), line) == []


def test_a_float_column_is_found():
    assert len(float_columns(Path("custody/models/lots.py"), "mass = models.FloatField()")) == 1
    assert len(float_columns(Path("custody/sql/balance.sql"), "SELECT mg::double precision -- real")) == 1
    assert float_columns(Path("custody/sql/balance.sql"), "SELECT mg -- a real figure") == []
