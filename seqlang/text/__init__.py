"""Text of a show to its syntax tree, and findings back to text."""
