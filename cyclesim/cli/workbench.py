"""The command that opens the workbench in a browser."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import OK, cli, show


@cli.command()
@click.argument("place", type=click.Path(path_type=Path), metavar="[FOLDER|FILE]", default=Path())
@click.option("--port", type=click.IntRange(0, 65_535), default=0, metavar="N",
              help="The port of this machine to answer at; a free one unless given.")  # fmt: skip
@click.option("--no-open", is_flag=True, help="Only print the address; open no browser.")
def workbench(place: Path, port: int, no_open: bool) -> int:
    """Draw, try and hand over the plants of a folder in a browser.

    It answers to this machine alone, until Ctrl-C. Who has the printed address may change the files.
    """
    from cyclesim.workbench.serving import serve

    def ready(printed: str, opened: str) -> None:
        show(f"{printed}\n")
        if not no_open:
            import threading
            import webbrowser

            # a browser in a terminal would keep the server waiting
            threading.Thread(target=webbrowser.open, args=(opened,), daemon=True).start()

    serve(place, port, ready)
    return OK
