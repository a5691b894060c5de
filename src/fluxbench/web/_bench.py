"""How a call finds the session it is about."""

from typing import Annotated

from fastapi import Depends
from starlette.requests import HTTPConnection

from fluxbench.session import Session


def _bench_of(connection: HTTPConnection) -> Session:
    session: Session = connection.app.state.session
    return session


Bench = Annotated[Session, Depends(_bench_of)]
