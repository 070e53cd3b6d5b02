"""How much the brace is worn: what families report, against what is prescribed. Pure."""
