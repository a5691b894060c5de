"""Pictures of every screen: `python -m manual.pictures`, into build/pictures.

A bench with a practice deck of four tracks is brought into states worth seeing, one with the book
of an invented studio shows its years, and others have an interface or a network of their own; each
screen is drawn dark and day, at 1180x820 and 1280x800. What a rule finds amiss there (it scrolls,
is cut, is small for a finger) is listed in amiss.txt, for a person to judge. `--keep` copies the
few that pages show to docs/pictures. It needs Chromium and the built screens, for the network
Linux, and takes half an hour: most decks run in real time.
"""

import argparse
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from fluxbench.rehearsal import write_demo_book
from manual import scenes_apart as apart
from manual import scenes_deck as deck
from manual.camera import AMISS, Camera, browsing, tablet
from tests.browser.benches import serving

ROOT = Path(__file__).parents[1]
TO = ROOT / "build" / "pictures"
KEPT = {
    "first-turns": "tutorial-first-turns",
    "bench": "tutorial-bench",
    "asked": "tutorial-asked",
    "reproduce": "tutorial-reproduce",
    "bias": "tutorial-bias",
    "exercises": "tutorial-exercises",
    "verified": "tutorial-verified",
    "history": "tutorial-history",
}
"""Which are shown in pages, and as which file: dark ones at 1180x820."""
MOST_BYTES = 150_000
TRACKS = 4
PACE = 2.0
"""Seconds of tape in one of the wall, where nobody's hand is seen to follow."""

Scene = Callable[[Path, Path], None]
"""Draws into the second folder; its bench has its book in the first."""


def at_deck(
    shown: Callable[[Camera], None], *, pace: float = 1.0, first: bool = False, demo: bool = False
) -> Scene:
    """A scene of a bench with a practice deck, and with `demo` the book of the invented studio."""

    def scene(home: Path, to: Path) -> None:
        book = home / "book.db"
        if demo:
            write_demo_book(book)
        with serving(book, TRACKS, pace) as bench, browsing() as browser:
            shown(Camera(tablet(browser, bench.address, first), to))

    return scene


def keep(drawn: Path) -> None:
    """Copy those that pages show to docs/pictures."""
    for name, kept in KEPT.items():
        picture = drawn / f"{name}-dark-1180x820.png"
        assert picture.stat().st_size < MOST_BYTES, f"{name} is too large for a page"
        shutil.copy(picture, ROOT / "docs" / "pictures" / f"{kept}.png")


SCENES: dict[str, Scene] = {
    "first": at_deck(deck.first, first=True),
    "quiet": at_deck(deck.quiet),
    "beside": at_deck(deck.beside),
    "line-up": at_deck(deck.line_up),
    "azimuth": at_deck(deck.azimuth),
    "bias": at_deck(deck.bias),
    "doubt": at_deck(deck.doubt, pace=PACE),
    "cables": at_deck(deck.cables),
    "by-meters": at_deck(deck.by_meters),
    "school": at_deck(deck.school),
    "verified": at_deck(deck.verified, pace=PACE),
    "told": at_deck(apart.told),
    "captures": at_deck(apart.captures),
    "studio": at_deck(apart.studio, demo=True),
    "interfaces": apart.interfaces,
    "network": apart.network,
}


def main() -> None:
    """Draw all scenes, or those that are named."""
    parser = argparse.ArgumentParser(prog="python -m manual.pictures", description=__doc__)
    parser.add_argument("scenes", nargs="*", help=f"of {', '.join(SCENES)}; all if left out")
    parser.add_argument("--to", type=Path, default=TO, metavar="FOLDER")
    parser.add_argument("--keep", action="store_true", help="those of the pages, too")
    given = parser.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    if not given.scenes:
        (given.to / AMISS).unlink(missing_ok=True)
    for name in given.scenes or SCENES:
        with tempfile.TemporaryDirectory() as home:
            SCENES[name](Path(home), given.to)
    if given.keep:
        keep(given.to)
    print(given.to)


if __name__ == "__main__":
    main()
