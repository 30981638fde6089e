"""Exact origins of a random history, by one sparse triangular solve: nothing of the house's own rule is used here.

A node is a composition: what share of each origin is in a metal that was mixed. Its row is its parents' rows weighted
by the mass that each brought; what came in as an origin of its own is the right-hand side.
"""

from dataclasses import dataclass, field

import numpy
from scipy.sparse import csr_matrix, identity
from scipy.sparse.linalg import spsolve_triangular

COLUMNS = 6


@dataclass
class Graph:
    """Compositions by number; ``parents[n][column]`` are (node, mg), ``sources[n][column]`` are (origin, mg)."""

    parents: list[list[list[tuple[int, int]]]] = field(default_factory=list)
    sources: list[list[list[tuple[str, int]]]] = field(default_factory=list)
    origins: dict[str, int] = field(default_factory=dict)

    def node(self, parents=(), sources=()) -> int:
        """A new composition of ``parents`` (node, amounts by column) and ``sources`` (origin, amounts by column)."""
        by_column = lambda given: [  # noqa: E731
            [(what, amounts[column]) for what, amounts in given if amounts[column]] for column in range(COLUMNS)
        ]
        self.parents.append(by_column(parents))
        self.sources.append(by_column(sources))
        for origin, _ in sources:
            self.origins.setdefault(origin, len(self.origins))
        return len(self.parents) - 1

    def valued_from(self, node: int) -> int:
        """A composition in which every metal is shared as the gross of another one is."""
        self.parents.append([[(node, 1)] for _ in range(COLUMNS)])
        self.sources.append([[] for _ in range(COLUMNS)])
        self._by_gross = getattr(self, "_by_gross", set()) | {len(self.parents) - 1}
        return len(self.parents) - 1

    def solve(self) -> list[numpy.ndarray]:
        """For each column, the shares of all origins (columns) in all nodes (rows)."""
        by_gross = getattr(self, "_by_gross", set())
        gross = self._solved(0, by_gross, None)
        return [gross, *(self._solved(column, by_gross, gross) for column in range(1, COLUMNS))]

    def _solved(self, column: int, by_gross: set[int], gross: numpy.ndarray | None) -> numpy.ndarray:
        rows, columns, weights = [], [], []
        right = numpy.zeros((len(self.parents), len(self.origins)))
        for node, (parents, sources) in enumerate(zip(self.parents, self.sources, strict=True)):
            if node in by_gross and gross is not None:
                right[node] = gross[parents[column][0][0]]
                continue
            total = sum(mg for _, mg in parents[column]) + sum(mg for _, mg in sources[column])
            for parent, mg in parents[column]:
                rows.append(node)
                columns.append(parent)
                weights.append(mg / total)
            for origin, mg in sources[column]:
                right[node, self.origins[origin]] += mg / total
        size = len(self.parents)
        made_of = csr_matrix((weights, (rows, columns)), shape=(size, size))
        return spsolve_triangular((identity(size, format="csr") - made_of).tocsr(), right, lower=True)
