"""The reference player: a table, played in integers."""
