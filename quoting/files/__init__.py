"""Reading what people write: rate tables in a folder, a job in a file."""
