"""numpy, loaded when it is first used: neither a check of files nor the first screen waits for it. It computes
nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from typing import TypeAlias

    import numpy as np
    from numpy.typing import NDArray

    Array: TypeAlias = NDArray[np.float64]
    Places: TypeAlias = NDArray[np.intp]
else:

    class _Numpy:
        """Stands for the library until it is asked for something."""

        def __getattr__(self, name: str) -> Any:
            import numpy

            found = getattr(numpy, name)
            setattr(self, name, found)  # asked for once: the next time it is simply there
            return found

    np = _Numpy()

__all__ = ["np"]
