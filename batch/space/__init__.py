"""What an output folder holds, what of it may go by policy, and clearing that."""
