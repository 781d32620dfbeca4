"""Light as the eye sees it: lightness, colours, effects, flashes."""
