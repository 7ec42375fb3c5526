"""What happens to jobs: lists, grades, plans, the queue, the farm, finishing, proof and report."""
