"""What a boat logged: sentences and GPX, their times and fixes."""
