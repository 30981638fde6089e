"""Each public function of actions/ is one verb with an acting user; those of calc/ and actions/ are explained."""

import ast
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed


def public_functions(source: str) -> list[ast.FunctionDef]:
    return [
        node
        for node in parsed(source).body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_")
    ]


def undocumented(path: Path, source: str) -> list[str]:
    return [
        f"{node.lineno}: {node.name}() has no docstring"
        for node in public_functions(source)
        if not (ast.get_docstring(node) or "").strip()
    ]


def unsigned(path: Path, source: str) -> list[str]:
    """Verbs that can be called by position, or without saying who acts. A module named _… holds no verbs."""
    if path.name.startswith("_"):
        return []
    return [
        f"{node.lineno}: {node.name}() must be keyword-only with by="
        for node in public_functions(source)
        if node.args.posonlyargs or node.args.args or "by" not in {argument.arg for argument in node.args.kwonlyargs}
    ]


def test_calculations_are_documented():
    assert not breaches(undocumented, files(".py", under="custody/calc"))


def test_actions_are_documented():
    assert not breaches(undocumented, files(".py", under="custody/actions"))


def test_actions_name_who_acts():
    assert not breaches(unsigned, files(".py", under="custody/actions"))


@pytest.mark.parametrize("source", ["def fine(gross, ppm):\n    return 0", 'def fine(gross):\n    "  "'])
def test_a_missing_docstring_is_found(source):
    assert len(undocumented(Path("custody/calc/mass.py"), source)) == 1


def test_a_private_function_needs_no_docstring():
    assert undocumented(Path("custody/calc/mass.py"), "def _share(x):\n    return x") == []


@pytest.mark.parametrize("arguments", ["", "lot, *, by", "*, lot", "by", "lot, /, *, by"])
def test_an_unsigned_action_is_found(arguments):
    assert len(unsigned(Path("custody/actions/hold.py"), f"def hold({arguments}): ...")) == 1


def test_a_signed_action_is_free():
    assert unsigned(Path("custody/actions/hold.py"), "def hold(*, lot, reason, by): ...") == []
    assert unsigned(Path("custody/actions/_post.py"), "def post(operation): ...") == []
