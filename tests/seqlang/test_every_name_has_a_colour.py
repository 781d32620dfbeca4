"""What the editor's server says of names: no kind of them is without a kind of token."""

from __future__ import annotations

from typing import get_args

from seqlang.editor.server import _TOKENS
from seqlang.text.occurrences import Named


def test_every_kind_of_name_has_a_kind_of_token() -> None:
    """A text that names a channel ended in a mistake of the server's own."""
    assert set(get_args(Named)) <= set(_TOKENS)
