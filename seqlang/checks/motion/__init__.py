"""Checks of moves: speed, torque, acceleration, heat, interruption."""
