"""The steps from each schema of the record to the next."""
