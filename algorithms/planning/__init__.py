"""Tools that plan, before the boat leaves."""
