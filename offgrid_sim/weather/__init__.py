"""Every source of weather, each ending as the same hourly block."""
