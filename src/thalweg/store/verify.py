"""Whether the record is what was recorded: audit trail, rows and image files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import and_, func, select

from thalweg.progress import Progress, silent
from thalweg.store import audit, rows
from thalweg.store.convert import fact_of
from thalweg.store.dialect import corruption
from thalweg.store.imagefiles import ImageFiles, digest_files
from thalweg.store.schema import cases, facts, image_files, images, withdrawals

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection

    from thalweg.record.fact import Fact
    from thalweg.store.store import Store

__all__ = ["verify"]


def verify(store: Store, *, head: str | None = None, progress: Progress = silent) -> list[str]:
    """Check the store against its own seals.

    Parameters
    ----------
    store : Store
        To be checked; not changed.
    head : str, optional
        A head hash kept elsewhere: it must still be in the trail, else its end was cut off.
    progress : Progress, optional
        Told after every image file.

    Returns
    -------
    list of str
        One sentence for every problem; empty when all is well.
    """
    with store.reading() as connection:
        problems = corruption(connection)
        trail = list(audit.entries(connection))
        problems += audit.broken_links(trail)
        if head is not None and head not in {audit.GENESIS, *(entry.hash for entry in trail)}:
            problems.append("The audit trail no longer holds the entry whose hash was kept.")
        for entry in trail:
            if "rows" in entry.detail:
                problems += _unsealed(connection, entry)
        problems += _unentered(connection, {entry.seq for entry in trail if "rows" in entry.detail})
        digests = set(connection.execute(select(image_files.c.sha256)).scalars())
    return problems + _bad_files(store.home / "images", digests, progress)


def _unsealed(connection: Connection, entry: audit.Entry) -> list[str]:
    """Return a sentence if the rows of an entry are not those it sealed."""
    case_id, seq = str(entry.detail["case"]), entry.seq
    opened = and_(cases.c.id == case_id, cases.c.entry == seq)
    of_entry = and_(images.c.case_id == case_id, images.c.entry == seq)
    try:
        seal = rows.rows_seal(
            case_id,
            rows.person_where(connection, opened),
            _facts(connection, case_id, seq),
            rows.series_where(connection, of_entry),
            _withdrawn(connection, case_id, seq),
        )
    except (ValueError, ArithmeticError, KeyError, TypeError):
        return [f"What audit entry {entry.seq} recorded can no longer be read."]
    if seal != entry.detail["rows"]:
        return [f"What audit entry {entry.seq} recorded has been altered."]
    return []


def _facts(connection: Connection, case_id: str, seq: int) -> list[Fact]:
    query = select(facts).where(facts.c.case_id == case_id, facts.c.entry == seq)
    own = []
    for row in connection.execute(query).mappings():
        fact = fact_of(row)
        if fact.id != row["id"]:
            msg = "a fact is not the one its id was made of"
            raise ValueError(msg)
        own.append(fact)
    return own


def _withdrawn(connection: Connection, case_id: str, seq: int) -> list[tuple[str, str]]:
    of_entry = and_(withdrawals.c.case_id == case_id, withdrawals.c.entry == seq)
    found = connection.execute(select(withdrawals).where(of_entry))
    return [(row.fact_id, row.reason) for row in found]


def _unentered(connection: Connection, recorded: set[int]) -> list[str]:
    """Return a sentence for rows that no audit entry accounts for."""
    problems = []
    for table in (cases, facts, withdrawals, images):
        query = select(func.count()).select_from(table).where(table.c.entry.not_in(recorded))
        if count := connection.execute(query).scalar_one():
            problems.append(f"{count} row(s) of {table.name} were recorded by no audit entry.")
    return problems


def _bad_files(root: Path, digests: set[str], progress: Progress) -> list[str]:
    kept = ImageFiles(root)
    problems = []
    for done, digest in enumerate(sorted(digests), start=1):
        path = kept.path(digest)
        if not path.is_file():
            problems.append(f"Image file {digest[:12]}… is gone.")
        elif digest_files([path]) != (digest,):
            problems.append(f"Image file {digest[:12]}… has been altered.")
        progress("checking image files", done, len(digests))
    strays = sum(path.name not in digests for path in kept.listed())
    if strays:
        problems.append(
            f"{strays} image file(s) belong to no series: left by an interrupted intake; taking "
            "the folder in again will use or clear them."
        )
    return problems
