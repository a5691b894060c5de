"""Matrix products that stay on one thread."""

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]

_SMALL = 200_000


def product(rows: F32, matrix: F32) -> F32:
    """`rows @ matrix`, in pieces so small that the linear-algebra library wakes no other thread.

    On a machine with something else to do, waiting for those threads takes 50 times as long as
    the product.
    """
    out = np.empty((len(rows), matrix.shape[1]), np.float32)
    step = max(1, _SMALL // matrix.size)
    for at in range(0, len(rows), step):
        np.matmul(rows[at : at + step], matrix, out=out[at : at + step])
    return out
