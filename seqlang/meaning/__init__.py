"""From the syntax tree to Rig and Score, and back to text."""
