"""`python -m fluxbench`."""

from fluxbench.cli import main

raise SystemExit(main())
