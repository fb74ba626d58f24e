"""A picture of the record: rows to time, columns to slant range."""
