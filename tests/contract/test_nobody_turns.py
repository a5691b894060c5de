"""Nobody turns a trimmer: not one change of focus, on samples of decks that drop out and waver.

`./test tests/contract/test_nobody_turns.py --quiet-minutes 30` runs it as long as the line-up
promises; by default it runs for a quarter of a minute of tape.
"""

from collections.abc import Callable

import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._bench import Bench, Procedure
from tests.decks.second_deck import SecondDeck
from tests.decks.standing import Deck, Standing

TRACKS = 16


def wait_for_hands(bench: Bench) -> Procedure:
    """Record on all tracks and wait for hands on the short wave, which wavers most."""
    yield from bench.ask("load", "load the stock", tape="stock")
    yield from bench.record_all()
    bench.send((1000.0, -20.0), (10_000.0, -20.0))
    yield from bench.settle()
    found = (yield from bench.levels(2.0))[1]
    band = bench.plan.tolerances.high_end
    yield from adjust(bench, Job("record_high", band, 3.0, lambda p: p.level_db[1]), found + 1.5)


@pytest.mark.timeout(3600)
@pytest.mark.parametrize(
    "make",
    [
        lambda: PracticeDeck(TRACKS, 15.0, 5, faults=("dropouts", "contact")),
        lambda: SecondDeck(TRACKS, 15.0, 5, 48_000),
    ],
    ids=["practice", "second"],
)
def test_nobody_turns_and_the_focus_stays(
    make: Callable[[], Deck], request: pytest.FixtureRequest
) -> None:
    minutes = float(request.config.getoption("--quiet-minutes"))
    standing = Standing(make(), wait_for_hands).run(60.0 * minutes)
    focus = standing.journal("focus")
    assert [(entry["track"], entry["by"]) for entry in focus] == [(1, "bench")]
    assert standing.lineup.view.advice is not None  # it still waits for the first track

    standing.deck.turn("record_high", -2.0, 9)  # the wrong way; a hand is not overlooked
    focus = standing.run(6.0).journal("focus")
    assert [(entry["track"], entry["by"]) for entry in focus[1:]] == [(9, "hand")]

    standing.lineup.pass_over()  # the person goes on to the next one that is due
    focus = standing.run(1.0).journal("focus")
    assert [(entry["track"], entry["by"]) for entry in focus[2:]] == [(10, "bench")]
