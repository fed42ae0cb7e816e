"""Changes of the tables, in order. One that was released is never edited."""
