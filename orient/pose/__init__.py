"""Build directions to judge, and the transforms that lay a part along them."""
