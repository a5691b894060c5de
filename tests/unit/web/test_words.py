"""The words of the trade: complete, with sources, and the same on the page of the reference.

`python -m tests.unit.web.test_words` writes the page anew.
"""

import json
import re
from pathlib import Path

from fluxbench.lineup import COURSE, PER_STACK, PER_TRACK
from fluxbench.session._cautions import OF_STAGES
from fluxbench.web._words import WORDS, words_told

ROOT = Path(__file__).parents[3]
PAGE = ROOT / "docs" / "reference" / "words.md"
HEAD = """# Words of the trade

As the screens explain them when a word with a dotted line is touched; all of them stand in the help
(key `?`). Over HTTP: `GET /api/words`. Made from `web/words.json`.

"""


def page() -> str:
    rows = [f"**{w['word']}**: {w['text']} *{w['source']}*\n" for w in words_told()]
    return HEAD + "\n".join(rows)


def test_the_page_of_the_reference_says_the_same() -> None:
    assert PAGE.read_text() == page()


def test_every_word_is_explained_once_with_a_source() -> None:
    names = [name for one in words_told() for name in (one["name"], *one["also"])]
    assert len(names) == len(set(names))
    for one in words_told():
        assert one.keys() == {"name", "word", "text", "source", "also"}
        assert 1 <= len(re.findall(r"[.:](?= |$)", one["text"])) <= 4, one["name"]
        assert one["source"].strip()
        assert len(one["text"]) <= 320


def test_every_stage_and_trimmer_has_an_entry() -> None:
    """And every word that a screen asks for."""
    names = {name for one in words_told() for name in (one["name"], *one["also"])}
    assert {f"stage {stage}" for stage in (*COURSE, *OF_STAGES)} <= names
    assert {*PER_TRACK, *PER_STACK} <= names
    for file in (ROOT / "ui" / "src").rglob("*.tsx"):
        for asked in re.findall(r'<Word of="([^"]+)"', file.read_text()):
            assert asked in names, f"{file.name} asks for {asked!r}"


def test_what_is_kept_is_plain_json() -> None:
    assert json.loads(WORDS.read_text()).keys() == {"words"}


if __name__ == "__main__":
    PAGE.write_text(page())
