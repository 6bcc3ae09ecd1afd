"""What a profile, a printer, a material and a log say: records, reading, edits that keep comments."""
