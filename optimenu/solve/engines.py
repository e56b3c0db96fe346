"""Makes the engines of one search: some columns and rows laid out, with a stream of random numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.solve.engine import Engine
from optimenu.solve.layout import lay_out
from optimenu.solve.likely import likely
from optimenu.solve.tilt import tilted

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from optimenu.program.program import Program


class Maker:
    """Makes engines over parts of one program.

    Parameters
    ----------
    use : float64 (n,)
        Use of every column in the relaxation.
    multiplier : float64 (m,)
    hold : int64 (n_menu,), optional
        A menu to stay near.
    """

    def __init__(
        self,
        program: Program,
        use: NDArray[np.float64],
        multiplier: NDArray[np.float64],
        seed: int,
        hold: NDArray[np.int64] | None,
    ) -> None:
        self.program = program
        self.use, self.multiplier = use, multiplier
        self.seed = seed
        self.hold = hold
        self._likely = likely(program, use, multiplier)

    def engine(
        self,
        columns: NDArray[np.int64],
        rows: NDArray[np.int64],
        low: NDArray[np.int64],
        high: NDArray[np.int64],
        number: int,
    ) -> Engine:
        """Lay out some columns and rows with their tilts; the number tells the random numbers apart."""
        program, use, multiplier = self.program, self.use, self.multiplier
        rows, low, high, tilts = tilted(program, columns, rows, low, high, use, multiplier)
        layout = lay_out(program, columns, rows, low, high, use, multiplier, tilts, self._likely)
        engine = Engine(program, layout, use, multiplier, (self.seed, number))
        if self.hold is not None:
            engine.held[:] = self.hold[columns] > 0
        return engine

    def twin(self, engine: Engine) -> Engine:
        """Return a second engine over the same layout, with other random numbers."""
        other = Engine(self.program, engine.layout, self.use, self.multiplier, (self.seed, 1))
        other.held[:] = engine.held
        other.load(other.draw())
        return other
