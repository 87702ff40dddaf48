"""Features to workingsteps: cutter, cutting data, order, each with its reason."""
