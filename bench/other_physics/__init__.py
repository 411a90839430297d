"""A second, independent simulator of vehicle air conditioning, to try the diagnosis on physics it does not hold."""
