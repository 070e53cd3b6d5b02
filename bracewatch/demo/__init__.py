"""The practice programme: invented clinics and families, and how each behaves. No real child, no real number."""
