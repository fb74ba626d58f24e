"""Makes the sample outings on the invented lake Orrelmere; shares no code with ``survey``."""
