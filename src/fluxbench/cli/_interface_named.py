"""How commands name a sound interface: by its name, and where that is not enough by host API."""

from typing import Annotated

import typer

Name = Annotated[str, typer.Option(help="Name of the interface.")]
HostApi = Annotated[
    str | None, typer.Option(help="Its host API, or the beginning of it, such as jack.")
]


def host_api_now(name: str) -> str | None:
    """The host API under which an interface is there now; None if that is not just one.

    Opened again under the same one, no namesake is taken for it once it is gone.
    """
    from fluxbench.base import NoServerError
    from fluxbench.links import interfaces

    try:
        apis = {one.host_api for one in interfaces() if one.name == name}
    except NoServerError:
        return None
    return apis.pop() if len(apis) == 1 else None
