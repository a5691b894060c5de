"""The exercises, in the order in which they are best taken. What an expert does is common practice,
no source."""

from fluxbench.base import MisuseError
from fluxbench.deck._exercises import _draws
from fluxbench.deck._exercises._kinds import Exercise

_RECORD_SIDE = ["load", "bias", "record high end", "record level", "azimuth again"]

EXERCISES = (
    Exercise(
        "first-turns", "The first turns", 1,
        "Set what the bench shows you: a level, the angle of the head, one bias.",
        "A line-up is the same move many times: read, turn a little, wait, read again.",
        "Small turns, and hands off while the reading settles. It waits for the tape: what you turn"
        " on the record side is heard one head later.",
        _draws.first_turns,
        sets=("reproduce_level", "reproduce_azimuth", "bias"), begin={"kind": "first turns"},
    ),
    Exercise(
        "one-level", "One level", 1,
        "Track {tracks} does not play back as loud as the others. Set its reproduce level by the"
        " calibration tape, and leave everything else alone.",
        "The calibration tape comes first: a level set by the deck's own recording may be wrong"
        " twice.",
        "Every track safe, the calibration tape threaded, its 1 kHz section found. One trimmer to"
        " the target that the tape's fluxivity gives, not to 0 VU; a second look, and hands off.",
        _draws.one_level, sets=("reproduce_level",),
        begin={"kind": "part", "stages": ["reproduce"], "trimmers": ["reproduce_level"]},
    ),
    Exercise(
        "one-bias", "One bias", 1,
        "Set the bias of track {tracks} to what the stock's sheet asks.",
        "Too little bias falls off as well: only across the peak do you know on which side you"
        " are.",
        "10 kHz at −20 dB, recording, listening to the reproduce head. Up until the level peaks,"
        " rock across the peak once to know its height, then on until it has fallen by the sheet's"
        " over-bias, and wait for the tape to come round before the last hair.",
        _draws.one_bias, sets=("bias",), only_those_tracks=True,
        begin={"kind": "part", "stages": ["load", "bias"], "trimmers": ["bias"]},
    ),
    Exercise(
        "before-any-tape", "Before any tape", 2,
        "Nothing is threaded yet. Is every track where it should be? Say what is wrong, and where.",
        "The input check costs no tape, and saves an hour of trimming the wrong track.",
        "Monitor to input, a tone to one track after the other: each has to come back on its own"
        " return, as loud as it went, and the same way up.",
        _draws.before_any_tape, tracks=8, asks=True,
        begin={"kind": "part", "stages": ["prepare"]},
    ),
    Exercise(
        "still-there", "Still where it was left?", 2,
        "It was lined up last week. Is the reproduce side still there? Turn nothing that is right;"
        " say what has moved, or that nothing has.",
        "Most days the right thing is to touch nothing.",
        "The level section of the calibration tape, all tracks at once, read for some seconds. A"
        " tenth of a dB is no reason to turn; a whole one on one track is.",
        _draws.still_there, asks=True,
        begin={"kind": "part", "stages": ["reproduce"], "trimmers": ["reproduce_level"]},
    ),
    Exercise(
        "relapped-head", "After the head was lapped", 2,
        "The reproduce head came back from relapping. Set its azimuth by the calibration tape.",
        "Far off, short waves fool you: there are lesser peaks beside the true one. Coarse with a"
        " longer wave, then fine with a shorter.",
        "1 kHz between the outer tracks first, brought to one phase; then the azimuth section, all"
        " tracks. After any turn of the angle the high ends are looked at again.",
        _draws.relapped_head, tracks=8, sets=("reproduce_azimuth",),
        begin={"kind": "part", "stages": ["reproduce"], "trimmers": ["reproduce_azimuth"]},
    ),
    Exercise(
        "odd-tape", "A calibration tape that reads oddly", 3,
        "The calibration tape does not read as its sheet says. Why? Turn nothing.",
        "All tracks off alike is the tape or the deck, never eight trimmers.",
        "All sections once through, nothing turned. Off by the same amount everywhere: another"
        " fluxivity. Growing with frequency: another equalisation. Every pitch doubled or halved:"
        " another speed. Sections in the wrong order: it is wound the wrong way round.",
        _draws.odd_tape, tracks=6, asks=True, begin={"kind": "line-up"},
    ),
    Exercise(
        "dull-track", "One dull track", 3,
        "One of eight tracks has lost its high end. Which, and whose fault is it? Turn nothing.",
        "Ask both heads and both tapes: what they have in common is to blame.",
        "The calibration tape first, listened to at both heads. Dull at both: what both go"
        " through, the amplifier card. Dull at the reproduce head alone: its trimmer (or its gap)."
        " The calibration tape is right and only what is recorded here is dull: the record side.",
        _draws.dull_track, tracks=8, asks=True,
        begin={"kind": "part", "stages": ["reproduce", "sync", "load", "verify"], "trimmers": []},
    ),
    Exercise(
        "new-stock", "Another stock", 3,
        "The house has changed its stock; the deck stands for the old one. Set the record side by"
        " the new one's sheet: bias, high end, level.",
        "The order matters: bias moves both of the others, the high end moves the level a little.",
        "Bias of all tracks across the new peak first. Then the record high end to what the"
        " calibration tape reads, then the record level. The reproduce side is not touched: no"
        " stock changes it.",
        _draws.new_stock, sets=("bias", "record_high", "record_level"),
        begin={"kind": "part", "stages": _RECORD_SIDE,
               "trimmers": ["bias", "record_high", "record_level"]},
    ),
    Exercise(
        "dull-all-over", "All tracks are dull", 4,
        "Short waves read low on every track. What is it? Do not trim it away.",
        "Eight trimmers do not drift together: look for the one thing that they share.",
        "Low at both heads and restless: dirt; clean, and read again. Low at the reproduce head"
        " alone and even: its azimuth, which one turn shows (or the phase between outer tracks);"
        " if the angle is right, the gap is worn, and no trimmer mends that for long.",
        _draws.dull_all_over, tracks=8, asks=True,
        begin={"kind": "part", "stages": ["reproduce", "sync"],
               "trimmers": ["record_azimuth"]},
    ),
    Exercise(
        "left-by-somebody", "Somebody left it", 4,
        "The session before ended late. Two things are wrong with this deck before you begin: find"
        " both, on which tracks, and turn nothing.",
        "Do not stop at the first thing that is wrong.",
        "No tape: levels, order and polarity through the input, then 20 dB less, which noise"
        " reduction does not give back as 20. Scrap tape with every track safe: nothing may be"
        " recorded. What still returns with no head's delay is input, not tape.",
        _draws.left_by_somebody, tracks=8, asks=True,
        begin={"kind": "part", "stages": ["prepare", "reproduce"], "trimmers": []},
    ),
    Exercise(
        "by-the-meter", "Without the bench", 4,
        "The bench gives no advice here: you have the deck's keys and the board's meters. Set all"
        " reproduce levels by the calibration tape. Its fluxivity stands on its sheet.",
        "What the bench reckons for you, once by hand: the target is the ratio of two fluxivities"
        " in dB, and a narrow track reads a full-width tape a little high.",
        "20 log of the tape's fluxivity over the operating one, here 250 over 355: −3.0 dB, plus"
        " the fringing at 1 kHz, some tenths. All tracks to that, the steady part of the reading,"
        " not its swings.",
        _draws.by_the_meter, tracks=2, sets=("reproduce_level",),
    ),
    Exercise(
        "whole-line-up", "A whole line-up", 5,
        "As somebody left it: line the deck up, all of it, with as little tape as you can.",
        "Each trimmer once, in the order in which one moves another.",
        "The reproduce side by the calibration tape, the record side by the stock, azimuth twice,"
        " the low end last, then a look at everything with the hands off.",
        _draws.as_found,
        sets=("reproduce_level", "reproduce_high", "reproduce_low", "bias", "record_level",
              "record_high", "sync_level", "sync_high", "reproduce_azimuth", "record_azimuth"),
        begin={"kind": "line-up"},
    ),
)  # fmt: skip


def exercise_named(name: str) -> Exercise:
    """The exercise of that name; MisuseError if there is none."""
    for one in EXERCISES:
        if one.name == name:
            return one
    names = ", ".join(one.name for one in EXERCISES)
    raise MisuseError(f"no exercise is called {name!r}; there are {names}")
