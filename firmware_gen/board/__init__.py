"""What a board does behind its link, and the virtual board."""
