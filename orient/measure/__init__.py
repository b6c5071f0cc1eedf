"""Numbers of each pose, from the mesh and the process alone."""
