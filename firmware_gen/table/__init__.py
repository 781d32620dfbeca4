"""The byte table of a board: layout, records, ops."""
