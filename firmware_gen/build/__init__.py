"""Making and installing the firmware's image."""
