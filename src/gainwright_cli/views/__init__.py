"""What a specification looks like in the terminal."""
