"""From picks to places with error ellipses."""
