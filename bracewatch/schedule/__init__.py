"""What should happen, and when: protocols, timelines, clinic days, local time. Pure: no clock, no database."""
