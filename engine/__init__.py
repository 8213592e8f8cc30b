"""The performance: a program, inputs and an instant in; orders to outputs and the next due instant out.

Everything here is pure: no sleeping, no sockets, no reading of the time of day.
"""
