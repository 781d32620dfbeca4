"""What motion and light cost, and whether the rig stands it."""
