"""What is wired where, and what each supply has to carry."""
