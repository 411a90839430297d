"""The command line: each command calls a use case of `loopwright.api` or the engine and prints what comes back."""
