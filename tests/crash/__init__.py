"""What is left on disk when a process dies, the disk is full, or two save at once."""
