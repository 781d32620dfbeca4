"""What happens on boards while a show runs: noticed, logged so that it lasts, and summed up."""
