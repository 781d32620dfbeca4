"""The rig: servos, loads, drives, supplies, batteries, fuses, wires, resistors."""
