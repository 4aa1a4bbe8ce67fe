"""Where rafts may lie, where they pay most, and a proof of how good a placement is."""
