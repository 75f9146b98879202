"""From plan to flat numbers, one step of van life, and the loop over steps and runs."""
