"""What happened: trace, balances, events and risk over weather years."""
