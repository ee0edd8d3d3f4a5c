"""What goes on beside the stations, one talk a file: whom it concerns now, and the talk itself."""
