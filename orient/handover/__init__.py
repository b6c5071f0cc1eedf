"""What leaves the program: the part in its pose as a file, short test prints, and beds laid out."""
