"""The files of this project, read once; every rule of the house is a function of (path, text)."""

import ast
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NOT_OURS = {".git", ".venv", "var", "__pycache__", ".pytest_cache", ".ruff_cache", ".hypothesis", "node_modules"}


def files(*suffixes: str, under: str = "") -> Iterator[Path]:
    """Paths relative to the root, sorted; a suffix of "" stands for files without one."""
    for path in sorted((ROOT / under).rglob("*")):
        relative = path.relative_to(ROOT)
        if path.suffix in suffixes and path.is_file() and not NOT_OURS.intersection(relative.parts):
            yield relative


@cache
def text(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


@cache
def parsed(source: str) -> ast.Module:
    return ast.parse(source)


def breaches(rule: Callable[[Path, str], list[str]], paths: Iterator[Path]) -> list[str]:
    return [f"{path}:{breach}" for path in paths for breach in rule(path, text(path))]


def room(path: Path) -> str:
    """The part of custody/ that a module belongs to: "calc", "models", "roles", …; "" outside custody/."""
    parts = path.with_suffix("").parts
    return parts[1] if parts[0] == "custody" and len(parts) > 1 else ""


def strings(module: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and text of every string of the code; `{}` stands for what an f-string fills in; no docstrings."""
    apart = set()
    for node in ast.walk(module):  # from the outside in: an f-string comes before its pieces
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            apart.add(node.value)
        elif isinstance(node, ast.JoinedStr):
            apart.update(node.values)
            yield (
                node.lineno,
                "".join(piece.value if isinstance(piece, ast.Constant) else "{}" for piece in node.values),
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in apart:
            yield node.lineno, node.value
