"""The sheet: what a hand-written line-up must read like on paper, read back by another library."""

import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from fluxbench.base import MisuseError
from fluxbench.book import Book, Records, Writing
from fluxbench.sheets import Contents, contents_of, file_name, pages_of, sheet_pdf
from fluxbench.sheets._record import record_of
from tests.benches.written_lineup import Step, shown, spread, whole, write_lineup

NAMES = {"deck": "Room B", "stock": "Stock K", "calibration": "Tape 7"}


def contents(tmp_path: Path, plan: dict[str, Any], steps: list[Step], **row: Any) -> Contents:
    write_lineup(tmp_path / "book.db", plan, steps, **row)
    records = Records(tmp_path / "book.db")
    try:
        return contents_of(records, row.get("lineup"))
    finally:
        records.close()


def text_of(pdf: bytes) -> str:
    """All text of all pages on one line, with a plain minus."""
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]
    return " ".join(" ".join(pages).split()).replace("\N{MINUS SIGN}", "-")


def made(tmp_path: Path, plan: dict[str, Any], steps: list[Step]) -> str:
    return text_of(sheet_pdf(contents(tmp_path, plan, steps), "1.2.3"))


def row_of(text: str, track: int, after: str = "fall left") -> list[str]:
    """The numbers of a track's row in the first table."""
    table = text[text.index(after) :]
    found = re.search(rf" {track}(?: ?†)? ((?:(?:[-+]?\d+\.\d\d|not read) ){{16}})", table)
    assert found, (track, table[:400])
    return re.findall(r"[-+]?\d+\.\d\d|not read", found[1])


def test_every_trimmer_of_a_track_as_found_and_as_left(tmp_path: Path) -> None:
    """By hand: level found -2.50 against 20 lg 250/355 = -3.05 is +0.55, and so on."""
    four = {
        "level_found": [-2.5, -3.0, -3.1, -3.2], "level_left": [0.04, -0.01, 0.0, 0.02],
        "high_found": [-4.05, -3.0, -3.0, -3.0], "high_left": [-0.12, 0.0, 0.0, 0.0],
        "sync_found": [-3.55, -3.0, -3.0, -3.0], "sync_left": [0.03, 0.0, 0.0, 0.0],
        "bias_found": [-20.4, -20.0, -20.0, -20.0], "bias_left": [2.91, 2.8, 2.8, 2.8],
        "peak": [-18.25, -18.0, -18.0, -18.0], "record_left": [-0.06, 0.0, 0.0, 0.0],
        "record_high_left": [0.17, 0.0, 0.0, 0.0], "low_left": [0.21, 0.0, 0.0, 0.0],
    }  # fmt: skip
    text = made(tmp_path, shown(4, NAMES), whole(4, **four))
    # record level found: spread() begins with (3 - 5)/5 of 0.7 about 0.1: -0.18 off 0;
    # high end: -20.3 - 0.4 * 1.2 = -20.78 off -20.1: -0.68; low end: 0.2 - 0.4 * 1.3 = -0.32.
    assert row_of(text, 1) == [
        "+0.55", "+0.04", "-1.00", "-0.12", "-0.50", "+0.03", "-1.00", "-0.12",
        "2.15", "+0.11", "-0.18", "-0.06", "-0.68", "+0.17", "-0.32", "+0.21",
    ]  # fmt: skip
    assert "-18.25 0.021 2.91" in text  # peak, its standard error, over-bias
    assert "Every trimmer of every track stands within its set band." in text
    assert "Finished 2026-03-12" in text
    assert "Fluxbench 1.2.3" in text


def test_the_plan_and_its_sheets(tmp_path: Path) -> None:
    text = made(tmp_path, shown(24, NAMES), whole(24))
    for said in (
        "Room B", "Stock K", "Tape 7", "24 tracks, 2-inch", "15 in/s (38.1 cm/s)", "35 µs (IEC1",
        "355 nWb/m", "+4.0 dBu, -16.0 dBFS", "2.80 dB", "10 kHz", "-20 dB re 0 VU",
        "9 µm; deck's 9 µm", "250 nWb/m, reads -3.05 dB", "Reference 1 kHz", "as the tracks",
        "away from magnets", "The deck's own manual", "2026-03-12, 08:15 UTC",
    ):  # fmt: skip
        assert said in text, said


def test_what_is_outside_stands_first(tmp_path: Path) -> None:
    """Bias 7 by +0.62 of 0.5, record level 5 by -0.31 of 0.25, bias 11 within 0.5 only."""
    bias = [2.8] * 24
    bias[6], bias[10] = 3.42, 2.45
    record = [0.0] * 24
    record[4] = -0.31
    text = made(tmp_path, shown(24), whole(24, bias_left=bias, record_left=record))
    assert "Outside what is accepted: tracks 5, 7." in text
    assert "Accepted, not within the set band: track 11." in text
    assert "7 Over-bias +0.62 dB (±0.50) 5 Record level -0.31 dB (±0.25) 11 Over-bias -0.35" in text


def test_a_line_up_stopped_half_way_claims_no_more_than_it_read(tmp_path: Path) -> None:
    steps = whole(4)
    bias = next(
        n for n, (what, f) in enumerate(steps) if (what, f.get("name")) == ("stage", "bias")
    )
    taken = {"trimmer": "bias", "track": 1, "over_bias_db": 2.74, "peak_db": -18.9}
    steps = [
        *steps[: bias + 2],
        ("taken", {**taken, "error_db": 0.02}),
        ("note", {"text": "bias of track 2 is not set: it was passed over"}),
        ("resumed", {"stage": "bias"}),
        ("stopped", {"reason": "musicians are here"}),
    ]
    text = made(tmp_path, shown(4), steps)
    assert "Stopped on the way: musicians are here" in text
    assert "Not read to the end: every track." in text
    found = row_of(text, 1)
    # By hand: found -20.9 - 0.4 * 0.8 = -21.22, which is 2.32 below the peak at -18.9.
    assert found[8:] == ["2.32", "-0.06", *["not read"] * 6]
    assert row_of(text, 2)[8:] == ["not read"] * 8
    assert "bias broken off" in text
    assert "verify not come to" in text
    assert "taken up again" in text
    assert "– bias of track 2 is not set: it was passed over" in text
    assert "Own recording" not in text


def test_stages_left_out_stand_with_their_reason(tmp_path: Path) -> None:
    steps = [s for s in whole(4) if not s[1].get("trimmer", "").startswith("sync")]
    at = next(n for n, s in enumerate(steps) if s[1].get("name") == "sync")
    steps.insert(at + 1, ("skipped", {"stage": "sync", "reason": "nobody overdubs"}))
    text = made(tmp_path, shown(4), steps)
    assert "sync skipped: nobody overdubs" in text
    assert row_of(text, 3)[4:8] == ["not read"] * 4


@pytest.mark.parametrize(
    ("tape", "interface", "said"),
    [
        (None, None, "Not calibrated. Calibration tape: not given; interface: not calibrated."),
        (0.3, None, "Not calibrated. Calibration tape: ±0.30 dB; interface: not calibrated."),
        (0.3, 0.4, "Levels ±0.50 dB, one standard deviation"),  # 3, 4, 5
    ],
)
def test_setting_and_absolute_are_two_statements(
    tmp_path: Path, tape: float | None, interface: float | None, said: str
) -> None:
    plan = json.loads(json.dumps(shown(4)))
    plan["calibration"]["data_sheet"]["level_uncertainty_db"] = tape
    plan["stock"]["electrical"]["level_uncertainty_db"] = interface
    text = made(tmp_path, plan, whole(4))
    assert said in text
    setting = text[text.index("Setting:") : text.index("Absolute:")] + text
    assert "reproduce level 0.011 dB" in setting
    assert "bias peak 0.021 dB" in setting


def test_full_width_tapes_tell_their_fringing(tmp_path: Path) -> None:
    plan = json.loads(json.dumps(shown(24)))
    for tape in plan.values():
        tape["data_sheet"]["width"] = "full"
    assert "worked out, +0." in made(tmp_path, plan, whole(24))
    plan["calibration"]["data_sheet"]["fringing_compensated"] = "for format"
    (tmp_path / "other").mkdir()
    assert "compensation: for format; nothing added" in made(tmp_path / "other", plan, whole(24))


def test_a_track_that_leaves_the_response_band_has_its_number(tmp_path: Path) -> None:
    rows = {"63": [0.5, 0.4, 0.3, 0.2], "1000": [0.0] * 4, "12500": [0.1, -2.7, 0.0, None]}
    told = contents(tmp_path, shown(4), whole(4, response=rows))
    own = told.responses[1]
    assert own.frequencies_hz == (63.0, 1000.0, 12_500.0)
    assert own.off_db[2] == (0.1, -2.7, 0.0, None)
    from fluxbench.sheets._figure import draw

    picture = draw(own, told.plan.tolerances, 80.0, 40.0)
    assert [name for _, _, name in picture.named] == ["2"]
    x, y, _ = picture.named[0]
    # ln(12500/28) / ln(22400/28) = 0.91275; 0.5 + 2.7/3/2 = 0.95 down from the top.
    assert (x, y) == pytest.approx((0.9127, 0.95), abs=2e-4)


def test_the_file_is_pdf_a_of_one_or_two_pages_and_always_the_same(tmp_path: Path) -> None:
    told = contents(tmp_path, shown(24, NAMES), whole(24))
    pdf = sheet_pdf(told, "1.2.3")
    assert pdf == sheet_pdf(told, "1.2.3")
    reader = PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == pages_of(pdf) == 2
    sizes = {
        (round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in reader.pages
    }
    assert sizes == {(595, 842)}  # A4 in points, ISO 216: 210 x 297 mm
    metadata = reader.root_object["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part>2<", metadata)
    assert re.search(r"pdfaid:conformance>B<", metadata)


HOSTILE = {
    '#panic("x") *bold* $1/0$ \\u{0} @cite <a> // `raw` [b] #include "/etc/passwd"': (
        '#panic("x") *bold* $1/0$ \\u{0} @cite <a> // `raw`'
    ),
    "../../x\n<script>alert(1)</script>\x00\x1b[31m": "../../x <script>alert(1)</script> [31m",
    "\u202eevil\u200b \u05d0\u0627 \u6d4b\u8bd5 \U0001f600 e\u0301": "evil ?? ?? ? \xe9",
    "W" * 5000: "WWWWWWWW",
}
"""Names, and what of them must be read on paper."""


@pytest.mark.parametrize(("name", "shown_as"), HOSTILE.items(), ids=range(len(HOSTILE)))
def test_names_from_outside_are_only_text(tmp_path: Path, name: str, shown_as: str) -> None:
    plan = shown(24, dict.fromkeys(("deck", "stock", "calibration"), name))
    steps = whole(24)
    notes: list[Step] = [("note", {"text": f"track {n}: {name}"}) for n in range(1, 40)]
    skipped: Step = ("skipped", {"stage": "sync", "reason": name})
    told = contents(tmp_path, plan, [*steps[:-1], *notes, skipped, ("stopped", {"reason": name})])
    pdf = sheet_pdf(told, "1.2.3")
    assert pages_of(pdf) <= 2
    text = text_of(pdf)
    assert shown_as in text
    assert "more in the journal" in text


def test_a_track_that_was_left_out_has_no_reading_anywhere(tmp_path: Path) -> None:
    """Also no standard error, which a bench writes for a silent track as well."""
    left = [0.0, None, 0.1, 0.0]
    told = contents(tmp_path, shown(4), whole(4, level_left=left))
    column = next(c for c in told.columns if c.trimmer == "reproduce_level")
    assert column.left_db == tuple(left)
    assert column.error_db == (0.011, None, 0.011, 0.011)
    text = text_of(sheet_pdf(told, "1"))
    assert row_of(text, 2)[1] == "not read"
    assert "Not read to the end: track 2." in text


def test_a_line_up_that_runs_is_shown_so_far(tmp_path: Path) -> None:
    steps = whole(4)
    at = next(n for n, s in enumerate(steps) if s[1].get("name") == "sync")
    text = made(tmp_path, shown(4), steps[: at + 1])
    assert "Sheet so far: the line-up still runs (sync)" in text
    assert pages_of(sheet_pdf(contents_of_only(tmp_path), "1")) <= 2


def contents_of_only(tmp_path: Path) -> Contents:
    records = Records(tmp_path / "book.db")
    try:
        return contents_of(records, None)
    finally:
        records.close()


def test_a_deck_with_few_trimmers_and_nothing_read(tmp_path: Path) -> None:
    plan = json.loads(json.dumps(shown(1)))
    for tape in plan.values():
        tape["trimmers"] = {"per_track": ["bias"], "per_stack": [], "turns": 20}
    text = made(tmp_path, plan, [("begun", {"kind": "line-up"})])
    assert "Not read to the end" in text
    assert "Azimuth" not in text


def test_checks_stand_on_the_sheet_of_their_line_up(tmp_path: Path) -> None:
    write_lineup(tmp_path / "book.db", shown(4), whole(4), lineup="first")
    check = {**shown(4), "as_left": {"lineup": "first", "level_db": {}}}
    said = {"words": "leave it alone", "moved": [], "off_db": {}}
    write_lineup(
        tmp_path / "book.db", check, [("check", said), ("closed", {"reason": None})],
        lineup="check", kind="check", begun_at="2026-03-13T07:00:00.000Z",
    )  # fmt: skip
    told = contents_of_only(tmp_path)
    assert told.lineup == "first"
    assert told.checks == (("2026-03-13T07:00:00.000Z", "leave it alone"),)
    assert "leave it alone" in text_of(sheet_pdf(told, "1"))
    records = Records(tmp_path / "book.db")
    with pytest.raises(MisuseError, match="stands on the sheet of the line-up first"):
        contents_of(records, "check")
    records.close()


def test_spread_is_what_the_tests_say() -> None:
    assert spread(3, 1.0) == [-0.4, 1.0, 0.2]


@pytest.mark.parametrize("name", ["../../etc/x", 'a"; b\r\nc', "x" * 300, "ü/\\:*?"])
def test_file_names_are_safe(tmp_path: Path, name: str) -> None:
    told = contents(tmp_path, shown(1), [("begun", {"kind": "line-up"})], lineup=name)
    assert re.fullmatch(r"line-up-[A-Za-z0-9-]{0,64}\.pdf", file_name(told))


# Verifications.


def verification(tracks: int, out: int | None = None) -> list[Step]:
    """One that read everything; track `out` (from 1) has too much noise."""
    noise = [-62.3] * tracks
    if out is not None:
        noise[out - 1] = -47.9

    def row(name: str, unit: str, value: list[Any], limit: float | None, **more: Any) -> Any:
        margin = more.pop("margin_db", [None] * tracks)
        return {"name": name, "unit": unit, "value": value, "error": [0.02] * tracks,
                "limit": limit, "within": False, "margin_db": margin, **more}  # fmt: skip

    rows = {
        "response": [
            row("63 Hz", "dB", [0.8] * tracks, 2.0, within=True, margin_db=[1.2] * tracks),
            row("250 Hz", "dB", [-1.1] * tracks, 2.0, within=True, margin_db=[0.9] * tracks),
            row("20 kHz", "dB", [-3.0] * tracks, None, within=True),
        ],
        "noise": [row("noise, A-weighted", "dB", noise, -50.0,
                      margin_db=[-50.0 - n for n in noise])],
        "distortion": [row("third harmonic", "%", [0.51] * tracks, 1.0,
                           margin_db=[5.8] * tracks)],
        "crosstalk": [row("from its neighbours, 1 kHz", "dB", [None] * tracks, -45.0,
                          hidden_below=[-71.4] * tracks, margin_db=[26.4] * tracks)],
        "flutter": [row("flutter both ways, weighted 2 sigma", "%", [0.087] * tracks, 0.12,
                        margin_db=[2.8] * tracks)],
        "maximum": [row("output at 3 % third harmonic, 1 kHz", "dB", [9.31] * tracks, 4.8,
                        at_least=True, margin_db=[4.51] * tracks)],
    }  # fmt: skip
    words = "all tracks are in" if out is None else f"out: track {out}"
    told = [("verified", {"of": of, "rows": some}) for of, some in rows.items()]
    verdict = ("verification", {"words": words, "tracks": []})
    begun = ("begun", {"kind": "verification"})
    return [begun, *told, verdict, ("closed", {"reason": None})]


def with_verification(tmp_path: Path, tracks: int, **row: Any) -> str:
    plan = shown(tracks, NAMES)
    write_lineup(tmp_path / "book.db", plan, whole(tracks))
    write_lineup(tmp_path / "book.db", {**plan, "verify": ["noise"]}, verification(tracks, 3),
                 lineup="20260313-090000-aaaa", kind="verification",
                 begun_at="2026-03-13T09:00:00.000Z", **row)  # fmt: skip
    records = Records(tmp_path / "book.db")
    try:
        return text_of(sheet_pdf(contents_of(records, "20260312-081500-7c1d"), "1.2.3"))
    finally:
        records.close()


@pytest.mark.parametrize("tracks", [4, 24])
def test_a_verification_since_stands_on_the_sheet(tmp_path: Path, tracks: int) -> None:
    text = with_verification(tmp_path, tracks)
    assert "Verified since: out: track 3" in text
    assert "2026-03-13, 09:00 UTC" in text
    assert "at most -50 dB" in text
    assert "within ±2 dB" in text
    assert text.count("-1.10 at 250 Hz") == tracks  # the worst of the response
    assert text.count("-62.3") == tracks - 1
    assert text.count("-47.9") == 1
    assert text.count("under -71") == tracks
    assert "at most 0.120 %" in text
    assert text.count("0.087") == tracks
    assert "no standard's figure" in text  # recorded and played: it counts twice
    assert "at least +4.8 dB" in text
    assert text.count("+9.31") == tracks


def test_a_verification_of_the_next_line_up_stands_on_that_ones(tmp_path: Path) -> None:
    plan = shown(4, NAMES)
    write_lineup(tmp_path / "book.db", plan, whole(4), lineup="20260312-000000-0001")
    write_lineup(tmp_path / "book.db", plan, whole(4), lineup="20260314-000000-0002",
                 begun_at="2026-03-14T00:00:00.000Z")  # fmt: skip
    write_lineup(tmp_path / "book.db", plan, verification(4), lineup="20260315-000000-0003",
                 kind="verification", begun_at="2026-03-15T00:00:00.000Z")  # fmt: skip
    records = Records(tmp_path / "book.db")
    try:
        assert contents_of(records, "20260312-000000-0001").verified is None
        found = contents_of(records, "20260314-000000-0002").verified
        assert found is not None
        assert found.words == "all tracks are in"
        with pytest.raises(MisuseError, match="is a verification"):
            contents_of(records, "20260315-000000-0003")
    finally:
        records.close()


def test_tones_printed_since_stand_on_the_label(tmp_path: Path) -> None:
    plan = shown(4, NAMES)
    write_lineup(tmp_path / "book.db", plan, whole(4))
    tones = [
        {"number": n, "frequency_hz": f, "level_db": level, "seconds": 30.0, "read_db": [level] * 4}
        for n, (f, level) in enumerate(((1000.0, 0.0), (10_000.0, -10.0)), 1)
    ]
    steps = [("begun", {"kind": "tones"}), ("printed", {"tones": tones}),
             ("closed", {"reason": None})]  # fmt: skip
    write_lineup(tmp_path / "book.db", plan, steps, lineup="20260313-090000-aaaa", kind="tones",
                 begun_at="2026-03-13T09:00:00.000Z")  # fmt: skip
    records = Records(tmp_path / "book.db")
    try:
        text = text_of(sheet_pdf(contents_of(records, "20260312-081500-7c1d"), "1.2.3"))
        assert "1 kHz 0 dB 30 s, 10 kHz -10 dB 30 s" in text
        with pytest.raises(MisuseError, match="is a printing of tones"):
            contents_of(records, "20260313-090000-aaaa")
    finally:
        records.close()


# What is known of heads, instruments and the record.


def test_gap_scatter_and_instruments(tmp_path: Path) -> None:
    plan = json.loads(json.dumps(shown(4, NAMES)))
    plan["stock"]["electrical"] |= {"interface": "Rack 2", "calibrated_at": "2026-02-11"}
    plan["calibration"]["data_sheet"] |= {"uses": 41, "checked_at": "2025-11-30"}
    steps: list[Step] = [
        (what, {**facts, "scatter_us": [0.4, -0.6, None, 1.25]})
        if (what, facts.get("trimmer")) == ("as left", "record_azimuth")
        else (what, facts)
        for what, facts in whole(4)
    ]
    text = made(tmp_path, plan, steps)
    assert "Record head +0.4 -0.6 not read +1.2" in text
    assert "1 µs is 0.38 µm of tape" in text  # 15 x 25.4 mm/s, by hand
    for said in (
        "Interface Rack 2", "Levels calibrated 2026-02-11", "Calibration tape Tape 7",
        "Its level checked 2025-11-30", "Its uses 41", "Flutter not recorded",
        "Line-up tones on the reel not recorded", "Signature",
    ):  # fmt: skip
        assert said in text, said


def test_instruments_that_the_book_knows(tmp_path: Path) -> None:
    tape = {"name": "Tape 7", "speed_ips": 15.0, "fluxivity_nwb_per_m": 250.0, "t2_us": 35.0,
            "uses_before": 40, "level_uncertainty_db": 0.3,
            "checks": [{"on": "2024-01-02", "words": "even"},
                       {"on": "2025-11-30", "words": "as bought"}]}  # fmt: skip
    kept = {
        "tape": {"id": "t1", "facts": tape},
        "interface": {"id": "i1", "facts": {"name": "Rack 2"}},
        "calibration": {"id": "c1", "facts": {"on": "2026-02-11", "uncertainty_db": 0.4}},
    }
    book = Book(tmp_path / "book.db")
    book.keep(Writing("t1", "tapes", None, tape, "2026-03-01T00:00:00.000Z"))
    book.close()
    text = made(tmp_path, {**shown(4), "book": kept}, whole(4))
    for said in (
        "Interface Rack 2", "Levels calibrated 2026-02-11, ±0.40 dB", "Calibration tape Tape 7",
        "Its level checked 2025-11-30, ±0.30 dB", "Its uses 40", "Levels ±0.50 dB",  # 3, 4, 5
    ):  # fmt: skip
        assert said in text, said


def test_channels_that_were_calibrated_apart_and_not_at_all(tmp_path: Path) -> None:
    plan = json.loads(json.dumps(shown(4)))
    of = [
        ("in", 1, "2026-05-02", 0.11),
        ("in", 2, "2026-05-02", 0.11),
        ("in", 4, "2026-06-01", 0.2),
        *(("out", n, "2026-04-30", 0.1) for n in (1, 2, 3, 4)),
    ]
    names = ("side", "channel", "on", "uncertainty_db")
    plan["stock"]["electrical"] |= {
        "channels": [dict(zip(names, one, strict=True)) for one in of],
        "relative_inputs": [3],
        "relative_outputs": [],
        "level_uncertainty_db": 0.2,
    }
    text = made(tmp_path, plan, whole(4))
    for said in (
        "Inputs 1-2 calibrated 2026-05-02, ±0.11 dB", "Input 4 calibrated 2026-06-01, ±0.20 dB",
        "Outputs 1-4 calibrated 2026-04-30, ±0.10 dB", "Input 3 not calibrated: relative",
    ):  # fmt: skip
        assert said in text, said
    plan["stock"]["electrical"] = {**shown(4)["stock"]["electrical"], "uncalibrated": True}
    (tmp_path / "other").mkdir()
    text = made(tmp_path / "other", plan, whole(4))
    assert "Levels calibrated not calibrated: relative" in text


def test_instruments_of_which_nothing_is_known(tmp_path: Path) -> None:
    plan = json.loads(json.dumps(shown(2)))
    plan["stock"]["electrical"] |= {"interface": None, "calibrated_at": ""}
    plan["calibration"]["data_sheet"] |= {"uses": "many"}
    text = made(tmp_path, plan, whole(2))
    for what in (
        "Interface", "Levels calibrated", "Calibration tape", "Its level checked", "Its uses"
    ):  # fmt: skip
        assert f"{what} not recorded" in text, what


@pytest.mark.parametrize(
    ("address", "text"),
    [
        ("", "a b/c"),
        ("http://192.168.1.20:7355", "http://192.168.1.20:7355/api/lineups/a%20b%2Fc/sheet"),
        ("http://10.0.0.7/", "http://10.0.0.7/api/lineups/a%20b%2Fc/sheet"),
        ("http://room-b.local:7355", "http://room-b.local:7355/api/lineups/a%20b%2Fc/sheet"),
        ("http://[fd00::7]:7355", "http://[fd00::7]:7355/api/lineups/a%20b%2Fc/sheet"),
    ],
)
def test_what_the_code_says(address: str, text: str) -> None:
    assert record_of("a b/c", address) == text


@pytest.mark.parametrize(
    "address",
    [
        "http://example.org", "https://192.168.1.20", "http://8.8.8.8", "http://127.0.0.1:7355",
        "http://192.168.1.20@example.org", "http://192.168.1.20/x?y", "192.168.1.20", "http://",
        "http://local", "http://.local", "http://0.0.0.0", "http://ex\u0430mple.local",
        "http://192.168.1.20:x", "http://[::1]", "http://[x]",
    ],
)  # fmt: skip
def test_the_code_leads_to_nobody_else(address: str) -> None:
    """192.168/16 and 10/8 are private by RFC 1918, fc00::/7 by RFC 4193, .local by RFC 6762."""
    with pytest.raises(MisuseError, match="no address of a bench on the local network"):
        record_of("a", address)
