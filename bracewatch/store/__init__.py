"""Facts kept in a database. Knows no rule: it stores what happened and loads it again."""

from bracewatch.store.database import Store

__all__ = ["Store"]
