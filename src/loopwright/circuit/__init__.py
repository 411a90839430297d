"""The loop of a vehicle's air conditioning: one file a component, and the solver that closes the balances."""
