"""The guide: its drawings, its tutorial's numbers, its pages."""
