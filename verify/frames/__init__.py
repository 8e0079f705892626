"""Picture files: a file to a `Frame` with its settings and the linear signal of any region."""
