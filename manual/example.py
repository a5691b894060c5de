"""The example of the library as a page: its text cells as prose, its others as code."""

import re
from pathlib import Path

EXAMPLE = Path(__file__).parents[1] / "docs" / "examples" / "bias_by_its_picture.py"


def example_told() -> str:
    """All cells, in their order."""
    _, *cells = re.split(r"^# %%", EXAMPLE.read_text(), flags=re.M)
    return "\n\n".join(_cell(*cell.split("\n", 1)) for cell in cells)


def _cell(kind: str, body: str) -> str:
    if kind.strip() == "[markdown]":
        return re.sub(r"^# ?", "", body.strip(), flags=re.M)
    return f"```python\n{body.strip()}\n```"
