"""Shows both sides of what `limits.py` compares when it fails."""

import pytest

pytest.register_assert_rewrite("tests.seqlang.checks.limits")
