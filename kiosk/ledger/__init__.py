"""What did happen: the only room with a database and a clock."""
