"""What full scale of an interface's channels is in dBu, each by the newest calibration of it."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.book import Records, Version
from fluxbench.engine import ChannelTrims

UNCALIBRATED_ZERO_DBFS = -18.0
"""Alignment level in digital systems: EBU R 68, from memory."""

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class KnownChannel:
    """A channel, from 1, whose full scale somebody measured."""

    side: str
    """in or out"""
    channel: int
    full_scale_dbu: float
    on: str
    uncertainty_db: float


def calibrations_of(book: Records, interface: str) -> list[Version]:
    """Those of an interface that are not retired, oldest first."""
    found = [v for v in book.things("calibrations") if v.facts["interface"] == interface]
    return sorted(found, key=lambda v: (str(v.facts["on"]), v.row))


def channels_of(calibrations: Sequence[Version]) -> tuple[KnownChannel, ...]:
    """Every channel as its newest calibration says; they come oldest first."""
    newest = {
        (str(one["side"]), int(one["channel"])): KnownChannel(
            str(one["side"]), int(one["channel"]), float(one["full_scale_dbu"]),
            str(of.facts["on"]), float(of.facts["uncertainty_db"]),
        )
        for of in calibrations
        for one in of.facts["channels"]
    }  # fmt: skip
    return tuple(newest[key] for key in sorted(newest))


def electrical_of(
    zero_vu_dbu: float,
    channels: Sequence[KnownChannel],
    inputs: Sequence[int],
    outputs: Sequence[int],
) -> dict[str, Any]:
    """How a plan tells the levels of an interface of which these channels, from 1, are in use.

    Its full scale is the lowest of the calibrated inputs, so that no channel is clipped before
    it reads so; `channels` tells how far each is from it. Where no input is calibrated, 0 VU is
    taken where alignment level is usual. MisuseError for an output that cannot give 0 VU.
    """
    in_use = {"in": inputs, "out": outputs}
    used = [one for one in channels if one.channel in in_use[one.side]]
    for one in used:
        if one.side == "out" and one.full_scale_dbu < zero_vu_dbu:
            raise MisuseError(
                f"interface: output {one.channel} gives {one.full_scale_dbu:+.1f} dBu at most, "
                f"0 VU is {zero_vu_dbu:+.1f} dBu; turn it up and calibrate it again"
            )
    heard = [one for one in used if one.side == "in"]
    known = {(one.side, one.channel) for one in used}
    missing = {
        side: sorted(n for n in numbers if (side, n) not in known)
        for side, numbers in in_use.items()
    }
    told: dict[str, Any] = {
        "zero_vu_dbu": zero_vu_dbu,
        "channels": [asdict(one) for one in used],
        "relative_inputs": missing["in"],
        "relative_outputs": missing["out"],
    }
    if not heard:
        full_dbu = zero_vu_dbu - UNCALIBRATED_ZERO_DBFS
        return told | {"interface_full_scale_dbu": full_dbu, "uncalibrated": True}
    return told | {
        "interface_full_scale_dbu": min(one.full_scale_dbu for one in heard),
        "calibrated_at": min(one.on for one in heard),
        "level_uncertainty_db": max(one.uncertainty_db for one in heard),
    }


def trims_of(plan: Facts) -> ChannelTrims:
    """The factors that make every calibrated channel as the plan's full scale says."""
    electrical = plan["stock"].get("electrical") or {}
    channels = electrical.get("channels") or ()
    if not channels:
        return ChannelTrims()
    full_dbu = float(electrical["interface_full_scale_dbu"])
    factors: dict[str, dict[int, float]] = {"in": {}, "out": {}}
    for one in channels:
        over_db = float(one["full_scale_dbu"]) - full_dbu
        sign = 1.0 if one["side"] == "in" else -1.0
        factors[one["side"]][int(one["channel"])] = 10.0 ** (sign * over_db / 20.0)
    return ChannelTrims(_listed(factors["out"]), _listed(factors["in"]))


def _listed(factors: Mapping[int, float]) -> tuple[float, ...]:
    return tuple(factors.get(n, 1.0) for n in range(1, max(factors, default=0) + 1))
