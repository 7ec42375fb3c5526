"""The life of a job: lists, grades, plans, the queue, the farm, finishing, proof and report."""
