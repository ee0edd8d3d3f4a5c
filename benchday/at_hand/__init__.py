"""What a face may know of drivers, ports and trials while no day runs: lists and readings, nothing that writes."""
