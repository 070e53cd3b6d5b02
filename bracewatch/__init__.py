"""Bracewatch: the bracing timeline after clubfoot correction, its reminders and replies, and whom to call."""

__version__ = "0.1.0"
