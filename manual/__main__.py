"""Build the site: `python -m manual`, into build/manual; `--to FOLDER` puts it elsewhere."""

import argparse
import sys
from pathlib import Path

from manual.site import TO, NotWholeError, build


def main() -> None:
    """Build it, and say where it is or what is amiss."""
    parser = argparse.ArgumentParser(prog="python -m manual", description=__doc__)
    parser.add_argument("--to", type=Path, default=TO, metavar="FOLDER")
    try:
        page = build(parser.parse_args().to) / "index.html"
    except NotWholeError as error:
        sys.exit(str(error))
    print(f"the manual: {page}")


if __name__ == "__main__":
    main()
