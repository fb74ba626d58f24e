"""The ready-made models, drawn and saved as plugin/models/*.model3."""
