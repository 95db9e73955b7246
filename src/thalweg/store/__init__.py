"""The record kept safely: database, images, audit trail.

Importing this package imports SQLAlchemy; callers that start up fast import it where they use it.
"""

from thalweg.store.rows import CaseSummary
from thalweg.store.store import Recorded, Store, default_home
from thalweg.store.verify import verify
from thalweg.store.writing import NewSeries

__all__ = ["CaseSummary", "NewSeries", "Recorded", "Store", "default_home", "verify"]
