"""A show in real time: what is around the kernel while it is performed."""
