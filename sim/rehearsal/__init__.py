"""What a show does when its buttons are pressed: a board's rules in ideal arithmetic."""
