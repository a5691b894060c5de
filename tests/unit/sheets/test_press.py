"""Papers asked for by many at once: what Typst keeps for each thread it worked in is kept once."""

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import typst

from fluxbench.sheets import _press


def paper(number: int) -> bytes:
    return _press.typeset(("common.typ",), {"n": number}, "", 0)


def test_all_papers_are_set_in_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    worked_in = set()

    class Watched:
        def __init__(self, whole: bytes, **told: Any) -> None:
            worked_in.add(threading.get_ident())
            self._made = bytes(reversed(whole)) + str(told["sys_inputs"]).encode()

        def compile(self, **_told: Any) -> bytes:
            return self._made

    monkeypatch.setattr(typst, "Compiler", Watched)
    with ThreadPoolExecutor(6) as askers:
        made = list(
            askers.map(lambda n: _press.typeset(("common.typ",), {"n": n}, "", 0), range(24))
        )
    assert len(worked_in) == 1
    assert [f'{{"n": {n}}}'.encode() in pdf for n, pdf in enumerate(made)] == [True] * 24
