"""What every room shares: tables, layer schemas, refusals, times, units, constants."""
