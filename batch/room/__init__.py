"""Room on the disks before a night: what each output is likely to take, on which disk, and whether that fits."""
