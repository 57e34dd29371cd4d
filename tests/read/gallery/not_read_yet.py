"""Exports that the reader doesn't read, or refuse, as it should yet: to shrink to nothing."""

NOT_READ_YET: frozenset[str] = frozenset()
NOT_REFUSED_YET: frozenset[str] = frozenset()
