"""The check that every link makes of what it is given to send."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError


def check_send(send: NDArray[np.float32], outputs: int) -> None:
    """Refuse anything but a float32 array (frames, outputs), with MisuseError."""
    if send.ndim != 2 or send.shape[1] != outputs or send.dtype != np.float32:
        raise MisuseError(
            f"the send is {send.dtype} of shape {send.shape}; "
            f"this link takes float32 of shape (frames, {outputs})"
        )
