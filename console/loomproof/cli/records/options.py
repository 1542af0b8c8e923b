"""Options that the commands about records share. It loads typer alone, so that help stays quick."""

from typing import Annotated

import typer

Where = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="PLACE",
        help="Path or URL of the record store. Else $LOOMPROOF_RECORDS, else the user's data directory.",
    ),
]
Which = Annotated[
    str, typer.Argument(metavar="RECORD", help="A record's id, the beginning of it, or `last`.")
]
Replace = Annotated[bool, typer.Option("--replace", help="Write over a file that is there already.")]
