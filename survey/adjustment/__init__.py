"""Objects seen more than once: grouped, adjusted, combined."""
