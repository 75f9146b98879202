"""Questions that take many runs to answer."""
