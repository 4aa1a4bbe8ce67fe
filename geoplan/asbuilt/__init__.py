"""What was built: surveyed rafts against the plan."""
