"""Where a value came from: an opaque integer, kept for who made the value."""

from typing import Final

NO_MARK: Final = -1
