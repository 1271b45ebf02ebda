"""What a database with one certificate looks like when one stored value of it was altered."""
