"""Where to cast from a boat at a place known so well."""
