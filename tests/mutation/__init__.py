"""Changes a number or a sign of the trade at a time, and sees whether a test says so: `python -m tests.mutation`."""
