"""Pure functions, one module per thing in the van."""
