"""Plan, prove and live with the energy and water of a self-built home on wheels."""

__version__ = "0.1.0"
