"""The record kept safely: database, images, audit trail.

Importing this package imports SQLAlchemy; callers that start up fast import it where they use it.
"""

from thalweg.store.backup import Backup, backup, restore
from thalweg.store.imagefiles import digest_files
from thalweg.store.rows import CaseSummary, Withdrawal
from thalweg.store.store import Recorded, Store, default_home
from thalweg.store.verify import verify
from thalweg.store.writing import NewSeries, require_same_person

__all__ = [
    "Backup",
    "CaseSummary",
    "NewSeries",
    "Recorded",
    "Store",
    "Withdrawal",
    "backup",
    "default_home",
    "digest_files",
    "require_same_person",
    "restore",
    "verify",
]
