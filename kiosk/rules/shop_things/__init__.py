"""What is asked of a thing that a shop adds or changes, and what the answers make."""
