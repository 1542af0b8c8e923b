"""The list of records on a terminal. It loads neither the job nor the bodies of entries."""

from rich.console import Console

from loomproof.cli.records.failures import failures_printed
from loomproof.cli.records.tables import SIGNS, add_row, new_table
from loomproof.records.database import open_engine, store_url
from loomproof.records.index import list_records


def print_list(store: str | None) -> None:
    """Print every record of a store, the latest first."""
    with failures_printed():
        engine = open_engine(store_url(store), create=False)
        summaries = list_records(engine)
        engine.dispose()
    console = Console(highlight=False)
    if not summaries:
        console.print("No record yet.")
        return
    table = new_table("Record", "Begun (UTC)", "Job", "Title", "By", "Verdict")
    for column in (0, 1, 5):
        table.columns[column].no_wrap = True
    for s in summaries:
        verdict = f"{SIGNS.get(s.verdict, '')} {s.verdict}".strip() if s.verdict else "open"
        title = f"SIMULATED  {s.title}" if s.simulated else s.title
        add_row(table, s.record_id, f"{s.begun_at:%Y-%m-%d %H:%M}", s.job_number, title, s.operator, verdict)
    console.print(table)
