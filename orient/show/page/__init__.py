"""One file that holds an evaluation: pictures, numbers, the part to turn, and the brief to run it again."""
