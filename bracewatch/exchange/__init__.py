"""Files that go out, for other programs to read."""
