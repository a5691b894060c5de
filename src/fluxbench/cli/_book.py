"""`fluxbench book`: what is done with a book as a whole."""

import typer

from fluxbench.cli._demo_book import demo

app = typer.Typer(add_completion=False, rich_markup_mode=None, no_args_is_help=True)
app.command("demo")(demo)


@app.callback()
def book() -> None:
    """What is done with a book as a whole."""
