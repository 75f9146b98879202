"""What the user writes: van, route, habits and trip, validated and frozen."""
