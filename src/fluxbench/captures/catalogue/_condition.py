"""Faults of a transfer that its samples tell: flutter, noise, hum, drop-outs, damage."""

from collections.abc import Iterator, Mapping
from typing import Any

from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._faults import Fault, Kind, Limits
from fluxbench.captures.catalogue._heard import Heard
from fluxbench.trade import spacing_loss_db, wavelength_um

_DAMAGE = {
    "clipped": (Kind.CLIPPED, "clipped", "transfer again with less gain"),
    "gap": (Kind.GAP, "samples are missing", "transfer again"),
    "not_finite": (Kind.NOT_A_NUMBER, "values that are no numbers", "export or transfer again"),
    "dc": (
        Kind.DIRECT_VOLTAGE,
        "a direct voltage",
        "look at the chain; filter it out and measure again: tones with it are not read",
    ),
    "unstable": (Kind.UNSTEADY, "a tone whose level moves", "listen; clean and transfer again"),
}


_CONTACT_UM = 0.6
"""Spacing that a deck in order has for moments: three times 0.2 um rms (from memory)."""


def condition_faults(
    facts: Mapping[str, Any], heard: Heard, declared: Declared, limits: Limits
) -> Iterator[Fault]:
    """Everything that the samples have against a capture."""
    yield from _damage(facts, heard)
    yield from _silent_tracks(facts, heard, limits)
    yield from _flutter(facts, declared, limits)
    yield from _drop_outs(heard, declared)
    yield from _noise(facts, heard, limits)
    yield from _hum(facts, heard, limits)


def _damage(facts: Mapping[str, Any], heard: Heard) -> Iterator[Fault]:
    capture = facts["capture"]
    if capture["validity"] == "cut":
        yield Fault(Kind.CUT, (), "shorter than its header says", "copy or transfer again")
    seen = _validities(facts, heard)
    for validity, (kind, found, remedy) in _DAMAGE.items():
        if validity in seen:
            tracks = tuple(sorted(seen[validity]))
            yield Fault(kind, tracks, f"{found}{_on(tracks, heard.tracks)}", remedy)


def _silent_tracks(facts: Mapping[str, Any], heard: Heard, limits: Limits) -> Iterator[Fault]:
    """Tracks that carry none of the line-up tones that others carry."""
    silent = [
        {track for track, validity in enumerate(tone.validity, 1) if validity == "no_signal"}
        for tone in heard.printed.line_up
        if "ok" in tone.validity
    ]
    found = set.intersection(*silent) if silent else set()
    peaks = dict(enumerate(facts["peak_dbfs"], 1))
    alive = {t for t in found if peaks[t] is not None and peaks[t] > limits.programme_dbfs}
    if dead := tuple(sorted(found - alive)):
        told = f"no tone{_on(dead, heard.tracks)}"
        yield Fault(Kind.DEAD_TRACK, dead, told, "look at cable and head; transfer again")
    if alive:
        tracks = tuple(sorted(alive))
        told = f"programme, but no tone{_on(tracks, heard.tracks)}"
        remedy = "its level, equalisation and azimuth cannot be told; look at the box"
        yield Fault(Kind.NO_TONE, tracks, told, remedy)


def _validities(facts: Mapping[str, Any], heard: Heard) -> dict[str, set[int]]:
    """The tracks that have each validity somewhere."""
    seen: dict[str, set[int]] = {}
    for section in facts["sections"]:
        for track, validity in _rows(section):
            if validity != "unstable":
                seen.setdefault(validity, set()).add(track)
    for tone in heard.printed.line_up:  # a note of music may move as it likes
        for track, validity in enumerate(tone.validity, 1):
            seen.setdefault(validity, set()).add(track)
    clipped = zip(facts["clipped_runs"], facts["flat_tops"], strict=True)
    for track, (at_full_scale, below) in enumerate(clipped, 1):
        if at_full_scale or below:
            seen.setdefault("clipped", set()).add(track)
    if facts["capture"]["validity"] == "not_finite":
        seen.setdefault("not_finite", set())
    return seen


def _rows(section: Mapping[str, Any]) -> Iterator[tuple[int, str]]:
    """Track and validity of a section; of a response the first thing against it that is not ok."""
    rows = section.get("tracks", [])
    for row in rows:
        yield row["track"], row["validity"]
    if not rows and section.get("points"):
        for row in section["points"][0]["tracks"]:
            told = {
                each["validity"]
                for point in section["points"]
                for each in point["tracks"]
                if each["track"] == row["track"]
            }
            if "ok" not in told:
                yield row["track"], row["validity"]


def _flutter(facts: Mapping[str, Any], declared: Declared, limits: Limits) -> Iterator[Fault]:
    limit = limits.flutter_percent(declared.speed_ips)
    for section in facts["sections"]:
        flutter = section.get("flutter")
        if flutter is None or flutter["weighted_2sigma_percent"] is None:
            continue
        read = flutter["weighted_2sigma_percent"]
        if read - 2.0 * (flutter.get("weighted_2sigma_percent_uncertainty") or 0.0) > limit:
            parts = flutter["components"]
            told = f", most at {parts[0]['frequency_hz']:.1f} Hz" if parts else ""
            yield Fault(
                Kind.FLUTTER,
                (),
                f"flutter {read:.2f} % (weighted, 2 sigma){told}",
                "cannot be taken out here; look at the transport, transfer again",
            )
            return


def _drop_outs(heard: Heard, declared: Declared) -> Iterator[Fault]:
    found: dict[int, list[float]] = {}
    for tone in heard.tones.values():
        usual_db = _contact_db(tone.frequency_hz, declared.speed_ips)
        for track in tone.section["tracks"]:
            for drop in track["dropouts"]:
                if drop["depth_db"] > usual_db:
                    found.setdefault(track["track"], []).append(drop["depth_db"])
    if found:
        tracks = tuple(sorted(found))
        count = sum(map(len, found.values()))
        deepest_db = max(max(depths) for depths in found.values())
        yield Fault(
            Kind.DROP_OUTS,
            tracks,
            f"{count} drop-out{'s' * (count > 1)}{_on(tracks, heard.tracks)},"
            f" up to {deepest_db:.0f} dB",
            "cannot be filled; clean tape and heads, transfer again",
        )


def _contact_db(frequency_hz: float, speed_ips: float | None) -> float:
    """What the contact of tape and head takes for moments on a deck in order."""
    if speed_ips is None:
        return 0.0
    return float(spacing_loss_db(_CONTACT_UM, wavelength_um(frequency_hz, speed_ips)))


def _noise(facts: Mapping[str, Any], heard: Heard, limits: Limits) -> Iterator[Fault]:
    noisy: dict[int, float] = {}
    for row, zero_dbfs in _quiet_rows(facts, heard):
        if row["a_weighted_dbfs"] is not None:
            noise_db = row["a_weighted_dbfs"] - zero_dbfs
            noisy[row["track"]] = max(noise_db, noisy.get(row["track"], noise_db))
    loud = {track: db for track, db in noisy.items() if db > limits.noise_db}
    if loud:
        tracks = tuple(sorted(loud))
        told = f"noise up to {max(loud.values()):.1f} dB(A) re the tone{_on(tracks, heard.tracks)}"
        remedy = "listen: tape, erasure or chain; not taken out here"
        yield Fault(Kind.NOISE, tracks, told, remedy)


def _hum(facts: Mapping[str, Any], heard: Heard, limits: Limits) -> Iterator[Fault]:
    humming: dict[int, tuple[float, float]] = {}
    for track, level_db, hz in _hum_lines(facts, heard):
        if level_db > limits.hum_db:
            humming[track] = max((level_db, hz), humming.get(track, (level_db, hz)))
    if humming:
        tracks = tuple(sorted(humming))
        level_db, hz = max(humming.values())
        told = f"hum of {hz:.0f} Hz at {level_db:.1f} dB re the tone{_on(tracks, heard.tracks)}"
        remedy = "listen: on the reel, or of the chain; not taken out here"
        yield Fault(Kind.HUM, tracks, told, remedy)


def _hum_lines(facts: Mapping[str, Any], heard: Heard) -> Iterator[tuple[int, float, float]]:
    """Track, level in dB re its reference tone, and frequency in Hz of what may be hum."""
    for row, zero_dbfs in _quiet_rows(facts, heard):
        for line in row["hum"]:
            yield row["track"], line["level_dbfs"] - zero_dbfs, line["frequency_hz"]
    for tone in heard.printed.hum:
        reference = tone.against or heard.reference or tone
        for track, level_db in enumerate(tone.level_dbfs - reference.level_dbfs, 1):
            yield track, float(level_db), tone.frequency_hz
    if heard.reference is not None:
        levels = zip(facts["hum_beneath"], heard.reference.level_dbfs, strict=True)
        for track, (line, zero_dbfs) in enumerate(levels, 1):
            if line["level_dbfs"] is not None:
                yield track, line["level_dbfs"] - float(zero_dbfs), line["frequency_hz"]


def _quiet_rows(
    facts: Mapping[str, Any], heard: Heard
) -> Iterator[tuple[Mapping[str, Any], float]]:
    """Each track of each noise section, with the level of its reference tone in dBFS."""
    if heard.reference is None:
        return
    for section in facts["sections"]:
        if section["kind"] == "noise":
            for row, zero_dbfs in zip(section["tracks"], heard.reference.level_dbfs, strict=True):
                yield row, float(zero_dbfs)


def _on(tracks: tuple[int, ...], of_tracks: int) -> str:
    if len(tracks) in (0, of_tracks):
        return ""
    if len(tracks) == 1:
        return f" on track {tracks[0]}"
    told = ", ".join(map(str, tracks[:8]))
    return f" on tracks {told}{' and more' if len(tracks) > 8 else ''}"
