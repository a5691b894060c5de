"""Cautions where the danger is: by stage and by what is asked. Common practice, no source."""

ADVISES = (
    "The bench advises; the deck's own manual, local rules and qualified people decide. "
    "Covers stay on: mains voltage inside is for qualified people only."
)
LOUD = "Tones follow: turn monitors down and take headphones off."
TRIMMERS = "Trimmers: plastic tools; steel scratches and detunes, magnetised steel ruins tapes."

OF_STAGES = {
    "input check": f"{ADVISES} {LOUD}",
    "prepare": (
        "Clean heads and guides with what their maker allows, ventilated, no flames. Demagnetise "
        "with the deck off, tapes away, and nobody with an implant near. Moving reels catch hair, "
        "sleeves and fingers. Prove safe on scrap tape: bias alone wipes a calibration tape."
    ),
    "reproduce": (
        "Calibration tape: every track safe, nothing is sent; never thread it while switching the "
        f"deck on, keep it away from magnets. {LOUD} {TRIMMERS}"
    ),
    "sync": f"Calibration tape: every track safe, nothing is sent. {TRIMMERS}",
    "load": f"Take the calibration tape off the deck first. {LOUD}",
    "azimuth": f"{LOUD} {TRIMMERS}",
    "bias": f"{LOUD} {TRIMMERS}",
    "record high end": LOUD,
    "record level": LOUD,
    "azimuth again": LOUD,
    "low end": f"{LOUD} Low tones move speakers far.",
    "verify": LOUD,
    "five-minute check": f"{ADVISES} {LOUD}",
    "verification": f"{ADVISES} {LOUD}",
    "print tones": f"{ADVISES} {LOUD}",
    "read the calibration tape": f"Every track safe, nothing is sent. {LOUD}",
    "record the copy": f"The calibration tape off the deck and away. {LOUD}",
    "whose fault": (
        f"{ADVISES} Cards and leads change places with the deck switched off and the tape off it, "
        f"as its manual says: who is not qualified leaves it to who is. {LOUD}"
    ),
    "play the copy": "Every track safe, nothing is sent.",
    "tones of the reel": (
        "Somebody's recording: every track safe, nothing is sent. An old tape may shed or stick: "
        f"let somebody who knows look at it before it is played. {LOUD}"
    ),
}


def of_ask(kind: str, values: dict[str, object]) -> str | None:
    """The caution on something that is asked of the person, if there is one."""
    if kind == "load" and values.get("tape") == "calibration":
        return "Every track safe before the calibration tape is threaded."
    if kind == "load" and values.get("tape") == "reel":
        return "Every track safe before somebody's reel is threaded; look at the tape first."
    if kind == "load":
        return "The calibration tape off the deck and away before anything is recorded."
    if kind == "swap":
        return (
            "The tape off the deck first. Switched off and unplugged as the manual says, wait, no "
            "static; only cards that the maker made alike. Qualified hands."
        )
    if kind == "cables":
        return "Monitors down and headphones off: plugs crack. The bench is silent meanwhile."
    if kind == "transport" and values.get("state") == "record" and values.get("ready"):
        return "This records. Is it the stock that is on the deck, not the calibration tape?"
    return None
