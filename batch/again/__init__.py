"""An output folder made again from what it keeps, whole or in part; parts of requests shared out; what other versions would change."""
