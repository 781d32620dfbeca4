"""The named colours of CSS: 8-bit sRGB values.

Source: CSS Color Module Level 4, section 6.1, https://www.w3.org/TR/css-color-4/#named-colors. The
library knows those of level 3; level 4 added one.
"""

from __future__ import annotations

from typing import Final

import webcolors

COLOURS: Final[dict[str, tuple[int, int, int]]] = {
    **{name: tuple(webcolors.name_to_rgb(name)) for name in webcolors.names("css3")},
    "rebeccapurple": (102, 51, 153),
}
