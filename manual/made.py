"""The parts of docs/ that are made from the code: `python -m manual.made` writes all of them anew.

In a page a part stands between `<!-- NAME: made from the code -->` and `<!-- end of NAME -->`.
"""

import re
from collections.abc import Callable
from pathlib import Path

from manual import calls, facts, kinds, lines, options, settings

DOCS = Path(__file__).parents[1] / "docs"
MARKED = re.compile(
    r"(<!-- ([\w-]+): made from the code -->\n)(.*?)(<!-- end of \2 -->)", re.DOTALL
)
PARTS: dict[str, Callable[[], str]] = {
    "kinds": kinds.kinds_told,
    "options": options.options_told,
    "calls": calls.calls_told,
    "sockets": calls.sockets_told,
    "bodies": calls.bodies_told,
    "lines": lines.lines_told,
    "variables": settings.variables_told,
    "files": settings.files_told,
    "formats": facts.formats_told,
    "tolerances": facts.tolerances_told,
}


def parts_of(text: str) -> dict[str, str]:
    """What stands between the marks of a page, by name."""
    return {found[2]: found[3].strip() for found in MARKED.finditer(text)}


def with_parts_made(text: str) -> str:
    """The page with its parts made anew."""
    return MARKED.sub(lambda found: f"{found[1]}\n{PARTS[found[2]]().strip()}\n\n{found[4]}", text)


def main() -> None:
    """Write every page that has such parts, and name those that changed."""
    for page in sorted(DOCS.rglob("*.md")):
        before = page.read_text()
        after = with_parts_made(before)
        if after != before:
            page.write_text(after)
            print(page.relative_to(DOCS.parent))


if __name__ == "__main__":
    main()
