"""What everything stands on: errors, units, findings and the ISO 14253-1 decision, atomic files."""
