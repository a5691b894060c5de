"""What the facts of every kind are made of: lengths, texts, dates."""

from typing import Annotated

from pydantic import AfterValidator, ConfigDict, Field, StringConstraints

from fluxbench.base import MisuseError
from fluxbench.trade import FORMATS, format_named

CONFIG = ConfigDict(extra="forbid", strict=True, use_attribute_docstrings=True)
"""No field that is not named, no number from a text."""

Name = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"\S")
]
Text = Annotated[str, StringConstraints(max_length=4000)]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9-]{1,64}$")]
Date = Annotated[str, StringConstraints(pattern=r"^\d{4}(-\d\d(-\d\d(T\d\d:\d\d(:\d\d)?Z?)?)?)?$")]
"""A year, month, day or minute, ISO 8601: 2026, 2026-03, 2026-03-09, 2026-03-09T14:30."""
Number = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, le=1e6, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]
Level = Annotated[float, Field(ge=-200.0, le=60.0, allow_inf_nan=False)]
Frequency = Annotated[float, Field(gt=0.0, le=200_000.0, allow_inf_nan=False)]
Speed = Annotated[float, Field(gt=0.0, le=120.0, allow_inf_nan=False)]
Fluxivity = Annotated[float, Field(gt=0.0, le=5000.0, allow_inf_nan=False)]
Track = Annotated[int, Field(ge=1, le=64)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]


def _known_format(name: str) -> str:
    try:
        return format_named(name).name
    except MisuseError as error:
        raise ValueError(str(error)) from None


FormatName = Annotated[
    str, AfterValidator(_known_format), Field(examples=[form.name for form in FORMATS])
]
"""One of the trade's formats, by its name."""
